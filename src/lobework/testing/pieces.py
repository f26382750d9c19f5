"""What every piece promises."""

from __future__ import annotations
