"""What every target promises."""

from __future__ import annotations
