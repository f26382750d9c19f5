"""The drop-cutter's library has no wheel for a Python after 3.11: its test is not there to be run where it cannot be."""

from __future__ import annotations

import sys

collect_ignore = ["test_drop_cutter.py"] if sys.version_info >= (3, 12) else []
