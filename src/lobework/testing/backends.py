"""What every backend promises."""

from __future__ import annotations
