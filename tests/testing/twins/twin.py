"""A faulty twin, which promise must catch it, and faults that a part of any kind can have."""

from __future__ import annotations

from typing import Annotated, Any, NamedTuple

import numpy as np

from lobework.quantities.fields import Measure


class Twin(NamedTuple):
    """What is wrong with it, the promise that must be found broken, a sample of it, and words of the message."""

    fault: str
    breaks: str
    sample: Any
    message: str


class Forgetful:
    """Is equal to any other."""

    def __eq__(self, other):
        return True

    def __hash__(self):
        return 1


class Proud:
    """Is equal to itself alone, not to a copy."""

    def __eq__(self, other):
        return self is other

    def __hash__(self):
        return 1


class Restless:
    """Has another hash than its equals."""

    def __hash__(self):
        return id(self)


class Trusting:
    """Takes whatever it is given."""

    def __post_init__(self):
        pass


Shifted = Annotated[float, Measure("a number", lambda given: 1 + float(given), str)]
"""A setting that is read as one more than it is written."""


def ends_of(array):
    """What an array has in common with others of its length and its ends."""
    return array.size, *array[:1].ravel().tolist(), *array[-1:].ravel().tolist()


class Reused:
    """A method that answers again what it answered before, wherever ``key`` of what it is asked is the same."""

    def __init__(self, method, key):
        self.method, self.key, self.kept = method, key, {}

    def __get__(self, part, owner=None):
        def asked(array):
            key = self.key(part, array)
            if key not in self.kept:
                self.kept[key] = self.method(part, array), array
            return self.kept[key][0]

        return asked if part is not None else self


def by_ends(method):
    """Keep answers by the length and the ends of the array, and by the settings."""
    return Reused(method, lambda part, array: (repr(part), ends_of(array)))


def by_places(method):
    """Keep answers by all of the array, whatever the settings."""
    return Reused(method, lambda part, array: array.tobytes())


def by_address(method):
    """Keep answers by where the array lies in memory, and by the settings."""
    return Reused(method, lambda part, array: (repr(part), array.ctypes.data, array.size))


def printing(method):
    """Print what is asked."""

    def asked(self, given):
        print("asked for", np.size(given), "at once")
        return method(self, given)

    return asked


def in_steps(method):
    """Read an array as if it lay in one piece."""

    def asked(self, array):
        whole = array if array.base is None else array.base
        return method(self, whole.ravel()[: array.size] if isinstance(whole, np.ndarray) else array)

    return asked
