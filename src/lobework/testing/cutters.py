"""What every cutter promises."""

from __future__ import annotations
