"""Chucks with known answers."""

from __future__ import annotations

from typing import Final

from lobework.chuck import EccentricChuck, Oval, Plain
from lobework.sample import Sample

__all__ = ["CHUCKS"]

CHUCKS: Final = (Sample(Plain()), Sample(EccentricChuck(shift=16.0)), Sample(Oval(throw=5.0)))
"""Samples of the chucks that ship inside."""
