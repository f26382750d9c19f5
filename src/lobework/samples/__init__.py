"""What the parts that ship inside are tried with: settings of each, and published answers."""

from __future__ import annotations

from lobework.samples.chucks import CHUCKS

__all__ = ["EVERY"]

EVERY = CHUCKS
"""Samples of every part that ships inside."""
