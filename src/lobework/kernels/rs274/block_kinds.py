"""The kinds of blocks of a program, as numbers in the arrays of the interpreter and of the proof.

The module does not import the compiler.
"""

from __future__ import annotations

from typing import Final

__all__ = ["ARC", "DWELL", "END", "FEED", "RAPID", "STOP", "SWITCHED"]

RAPID: Final = 0
FEED: Final = 1
ARC: Final = 2
DWELL: Final = 3
STOP: Final = 4
END: Final = 5
SWITCHED: Final = 6
"""An optional stop (M1), which a switch on the controller turns on."""
