"""Verification of programs: a program is read back, and compared with its job and with the lathe's limits.

This package shares no code with the packages that write programs.
"""

from __future__ import annotations

from lobework.proof.prove import SHARE, prove
from lobework.proof.reader import Reading, Remark, load, read
from lobework.proof.report import Deviation, Proof

__all__ = ["SHARE", "Deviation", "Proof", "Reading", "Remark", "load", "prove", "read"]
