"""What a thing is tried with: one of its kind, and what is known of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from lobework.errors import require

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["ExpectedValue", "Sample"]

_OFFERS: Final = {
    "render": "target",
    "carve": "backend",
    "motions": "chuck",
    "rise_at": "cam",
    "nose_at": "follower",
    "width_at": "cutter",
    "outline": "piece",
}
"""What only a thing of each kind has."""


@dataclass(frozen=True, slots=True, eq=False)
class ExpectedValue:
    """A question to which the answer is known.

    Parameters
    ----------
    asks : callable
        From the thing to a number or an array of them.
    gives : number or array of them
        What it must come to, in the same shape.
    source : str
        Where that was published, or what it follows from.
    within : float
        How far off each number may be, in the unit that it is in.

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
    """One thing that a plugin offers, for the kit to try.

    Parameters
    ----------
    part : part, backend, target or check
        A chuck, cam, follower, cutter or piece with its settings; or the backend, target or check itself.
    known : sequence of ExpectedValue
        Questions to which the answers are known.
    reads : callable, optional
        Of a target: from the bytes of its file to the lines that are in it, each (n, 2) or (n, 3) mm, so that their true
        size can be judged.

    Raises
    ------
    SettingError
        Where ``part`` is none of these, or a class of parts rather than one of them.

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
        made = not isinstance(self.part, type) and (callable(self.part) or any(hasattr(self.part, each) for each in _OFFERS))
        if not made:
            require(False, "part", repr(self.part), must_be)

    @property
    def kind(self) -> str:
        """What it is: "chuck", "cam", "follower", "cutter", "piece", "target", "backend" or "check"."""
        return next((kind for offers, kind in _OFFERS.items() if hasattr(self.part, offers)), "check")

    @property
    def name(self) -> str:
        """What the thing goes by."""
        called = {"piece": "form", "target": "name", "backend": "name", "check": "__name__"}.get(self.kind, "kind")
        return str(getattr(self.part, called))
