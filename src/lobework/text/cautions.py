"""Safety cautions for work at the lathe; all outputs use the texts of this module."""

from __future__ import annotations

from typing import Final

__all__ = ["AFTER_HANDS", "BEFORE_HANDS", "CAUTIONS", "IN_SHORT", "READY", "SILENT"]

CAUTIONS: Final = (
    "Wear eye protection, and breathing protection against dust; some woods, blackwood among them, irritate skin and lungs.",
    "Keep every guard in place. Nothing loose near the spindle: hair, sleeves, gloves, jewellery.",
    "Try the whole job in air first, one hand on the stop.",
    "Stop the machine, cutter and spindle, before you measure, set or touch anything.",
    "What the machine's maker says, your local codes and a licensed practitioner's advice come before anything written here.",
)
"""Cautions that are printed on every sheet, in every program, and on every page that is used at the lathe."""

IN_SHORT: Final = (
    "at the lathe: eye and breathing protection on, guards in place, nothing loose near the spindle; try the whole job in air "
    "first, one hand on the stop; stop cutter and spindle before you touch anything; the maker's instructions, local codes and a "
    "licensed practitioner's advice come first"
)
"""The same cautions on one line, printed as the last line of the output of a command."""

SILENT: Final = (
    "this controller takes no comments, so the program contains neither the settings for its stops nor the cautions: keep the "
    "settings (lobework settings) beside it"
)
"""Note that is printed for a program whose controller accepts no comments."""

READY: Final = (
    "set up the lathe and its zeros as the settings say",
    "protection on, guards in place, nothing loose near the spindle",
    "cutter running, its tip clear of the work, hands away",
)
"""Steps that the operator must complete before the program moves anything."""

BEFORE_HANDS: Final = "stop the cutter"
AFTER_HANDS: Final = "start the cutter, then hands away"
"""The first and the last instruction at a stop for manual settings."""
