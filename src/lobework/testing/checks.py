"""What every check promises."""

from __future__ import annotations
