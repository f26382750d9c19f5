"""Samples for the test kit: a sample is one item that a plugin offers, with known answers of the item."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from lobework.errors import require

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["ExpectedValue", "Sample"]

_KIND_OF_ATTRIBUTE: Final = {
    "render": "target",
    "carve": "backend",
    "motions": "chuck",
    "rise_at": "cam",
    "nose_at": "follower",
    "width_at": "cutter",
    "outline": "piece",
}
"""The kind of an item, by the name of an attribute that only items of this kind have."""


@dataclass(frozen=True, slots=True, eq=False)
class ExpectedValue:
    """A known answer: a function of an item, with the expected result of the function.

    Parameters
    ----------
    asks : callable
        Function of the item that returns a number or an array of numbers.
    gives : number or array of them
        The expected result, in the same shape.
    source : str
        Publication or derivation from which the expected result comes.
    within : float
        Largest allowed error of each number, in the unit of the number.

    Examples
    --------
    >>> from lobework.parts.chuck import Oval
    >>> ExpectedValue(lambda oval: oval.throw, 5.0, "its own setting").asks(Oval(throw=5.0))
    5.0
    """

    asks: Callable[[Any], Any]
    gives: Any
    source: str
    within: float = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """One item that a plugin offers, for the kit to test.

    Parameters
    ----------
    part : part, backend, target or check
        A chuck, cam, follower, cutter or piece with its settings; or the backend, target or check itself.
    known : sequence of ExpectedValue
        Known answers: functions of the item with their expected results.
    reads : callable, optional
        For a target only: function that takes the bytes of the file and returns the lines that the file contains, each (n, 2) or
        (n, 3) mm, so that the kit can compare the lines with the job.

    Raises
    ------
    SettingError
        If ``part`` is no such item, or is a class instead of an instance.

    Examples
    --------
    >>> from lobework.parts.chuck import Oval
    >>> sample = Sample(Oval(throw=5.0))
    >>> sample.kind, sample.name
    ('chuck', 'oval')
    """

    part: Any
    known: Sequence[ExpectedValue] = ()
    reads: Callable[[bytes], Sequence[Array]] | None = None

    def __post_init__(self) -> None:
        must_be = "a part with its settings, a target, a backend or a check"
        is_item = not isinstance(self.part, type) and (
            callable(self.part) or any(hasattr(self.part, each) for each in _KIND_OF_ATTRIBUTE)
        )
        if not is_item:
            require(False, "part", repr(self.part), must_be)

    @property
    def kind(self) -> str:
        """The kind of the item: "chuck", "cam", "follower", "cutter", "piece", "target", "backend" or "check"."""
        return next((kind for attribute, kind in _KIND_OF_ATTRIBUTE.items() if hasattr(self.part, attribute)), "check")

    @property
    def name(self) -> str:
        """The name of the item."""
        attribute = {"piece": "form", "target": "name", "backend": "name", "check": "__name__"}.get(self.kind, "kind")
        return str(getattr(self.part, attribute))
