"""Samples for the test kit: one item that a plugin offers, and known answers about it."""

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
"""Kind of item by the name of an attribute that only this kind has."""


@dataclass(frozen=True, slots=True, eq=False)
class ExpectedValue:
    """A function of an item, with its known result.

    Parameters
    ----------
    asks : callable
        Function of the item that returns a number or an array of numbers.
    gives : number or array of them
        The expected result, in the same shape.
    source : str
        Publication or derivation of the expected result.
    within : float
        Largest error of each number, in the unit of the number.

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
        Functions of the item with their known results.
    reads : callable, optional
        For a target: function that takes the bytes of its file and returns the lines in it, each (n, 2) or (n, 3) mm, so that
        the kit can compare their size.

    Raises
    ------
    SettingError
        If ``part`` is none of these, or is a class instead of an instance.

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
