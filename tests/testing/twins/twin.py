"""A faulty twin, which promise must catch it, and faults that a part of any kind can have."""

from __future__ import annotations

from typing import Annotated, Any, NamedTuple

from lobework.kinds import Measure


class Twin(NamedTuple):
    """What is wrong with it, the promise that must be found broken, a sample of it, and words of the message."""

    fault: str
    breaks: str
    sample: Any
    says: str


class Forgetful:
    """Is equal to any other."""

    def __eq__(self, other):
        return True

    def __hash__(self):
        return 1


class Trusting:
    """Takes whatever it is given."""

    def __post_init__(self):
        pass


Shifted = Annotated[float, Measure("a number", lambda given: 1 + float(given), str)]
"""A setting that is read as one more than it is written."""
