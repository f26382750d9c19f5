"""What every cam promises."""

from __future__ import annotations
