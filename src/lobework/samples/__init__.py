"""What the parts that ship inside are tried with: some settings of each, and published answers."""

from __future__ import annotations

from typing import Final

from lobework.samples.backends import BACKENDS
from lobework.samples.cams import CAMS
from lobework.samples.checks import CHECKS
from lobework.samples.chucks import CHUCKS
from lobework.samples.cutters import CUTTERS
from lobework.samples.followers import FOLLOWERS
from lobework.samples.pieces import PIECES
from lobework.samples.targets import TARGETS

__all__ = ["EVERY"]

EVERY: Final = (*CHUCKS, *CAMS, *FOLLOWERS, *CUTTERS, *PIECES, *BACKENDS, *TARGETS, *CHECKS)
"""Samples of everything that ships inside."""
