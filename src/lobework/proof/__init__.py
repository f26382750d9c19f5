"""Reads a program back and proves it: the path that it cuts on the work against the job's, and the lathe's limits.

Nothing here is shared with what writes programs.
"""

from __future__ import annotations

from lobework.proof.prove import SHARE, prove
from lobework.proof.reader import Reading, Remark, load, read
from lobework.proof.report import Deviation, Proof

__all__ = ["SHARE", "Deviation", "Proof", "Reading", "Remark", "load", "prove", "read"]
