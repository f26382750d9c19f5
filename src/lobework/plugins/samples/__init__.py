"""Samples of the built-in items, with published answers."""

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
"""Samples of every built-in item."""
