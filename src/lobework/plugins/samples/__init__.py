"""What the parts that ship inside are tried with: some settings of each, and published answers."""

from __future__ import annotations

from typing import Final

from lobework.plugins.samples.backends import BACKENDS
from lobework.plugins.samples.cams import CAMS
from lobework.plugins.samples.checks import CHECKS
from lobework.plugins.samples.chucks import CHUCKS
from lobework.plugins.samples.cutters import CUTTERS
from lobework.plugins.samples.followers import FOLLOWERS
from lobework.plugins.samples.pieces import PIECES
from lobework.plugins.samples.targets import TARGETS

__all__ = ["EVERY"]

EVERY: Final = (*CHUCKS, *CAMS, *FOLLOWERS, *CUTTERS, *PIECES, *BACKENDS, *TARGETS, *CHECKS)
"""Samples of everything that ships inside."""
