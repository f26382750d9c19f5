"""A faulty twin, and which promise must catch it."""

from __future__ import annotations

from typing import Any, NamedTuple


class Twin(NamedTuple):
    """What is wrong with it, the promise that must be found broken, a sample of it, and words of the message."""

    fault: str
    breaks: str
    sample: Any
    says: str
