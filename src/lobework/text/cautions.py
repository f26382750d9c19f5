"""What to mind at the lathe: the one place where the sentences stand."""

from __future__ import annotations

from typing import Final

__all__ = ["AFTER_HANDS", "BEFORE_HANDS", "CAUTIONS", "IN_SHORT", "READY", "SILENT"]

CAUTIONS: Final = (
    "Wear eye protection, and breathing protection against dust; some woods, blackwood among them, trouble skin and lungs.",
    "Keep every guard in place. Nothing loose near the spindle: hair, sleeves, gloves, jewellery.",
    "Try the whole job in air first, one hand on the stop.",
    "Stop the machine, cutter and spindle, before you measure, set or touch anything.",
    "What the machine's maker says, your local codes and a licensed practitioner's advice come before anything written here.",
)
"""On every sheet, in every program, and on every page from which somebody goes to the lathe."""

IN_SHORT: Final = (
    "at the lathe: eye and breathing protection on, guards in place, nothing loose near the spindle; try the whole job in air "
    "first, one hand on the stop; stop cutter and spindle before you touch anything; the maker's instructions, local codes and a "
    "licensed practitioner's advice come first"
)
"""The same in one line, for the last line of a command."""

SILENT: Final = (
    "this controller takes no remarks, so the program does not say what to set where it stops, nor what to mind: keep the "
    "settings (lobework settings) beside it"
)
"""Of a program without remarks."""

READY: Final = (
    "set up the lathe and its zeros as the settings say",
    "protection on, guards in place, nothing loose near the spindle",
    "cutter running, its tip clear of the work, hands away",
)
"""Before anything moves."""

BEFORE_HANDS: Final = "stop the cutter"
AFTER_HANDS: Final = "start the cutter, then hands away"
"""What a stop for settings begins with, and ends with."""
