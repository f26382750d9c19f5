"""The headstock, which carries the spindle. It may slide or rock sideways, and pump endways (along the spindle)."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from lobework.errors import require, together
from lobework.quantities.fields import Length, require_numbers

__all__ = ["Headstock"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Headstock:
    """The headstock and its possible movements.

    Parameters
    ----------
    sideways : "rocks", "slides" or "fixed"
        Movement of the headstock that an edge cam causes.
    endways : "pumps" or "fixed"
        Whether a face cam moves the headstock along the spindle.
    pivot_height : float, mm
        Height of the spindle above the pivot of a rocking headstock; above zero if the headstock rocks.
    followers : tuple of "front" or "back"
        Sides on which a follower can be mounted; the front is the side of the cutter.

    Examples
    --------
    >>> Headstock(sideways="rocks", pivot_height=250.0).endways
    'fixed'
    """

    sideways: Literal["rocks", "slides", "fixed"]
    endways: Literal["pumps", "fixed"] = "fixed"
    pivot_height: Length = 0.0
    followers: tuple[Literal["front", "back"], ...] = ("front", "back")

    if TYPE_CHECKING:

        def __init__(
            self,
            *,
            sideways: Literal["rocks", "slides", "fixed"],
            endways: Literal["pumps", "fixed"] = ...,
            pivot_height: float = ...,
            followers: Iterable[Literal["front", "back"]] = ...,
        ) -> None: ...

    def __post_init__(self) -> None:
        with together():
            listed = isinstance(self.followers, tuple | list)
            require(listed, "followers", repr(self.followers), "a list, such as ['front', 'back']")
            object.__setattr__(self, "followers", tuple(self.followers))
            require_numbers(self)
            require(self.sideways in ("rocks", "slides", "fixed"), "sideways", self.sideways, "'rocks', 'slides' or 'fixed'")
            require(self.endways in ("pumps", "fixed"), "endways", self.endways, "'pumps' or 'fixed'")
            if self.sideways == "rocks":
                require(
                    0 < self.pivot_height < math.inf,
                    "pivot_height",
                    self.pivot_height,
                    "above zero",
                    "measure from the pivot up to the spindle",
                )
            known = self.followers in (("front",), ("back",), ("front", "back"), ("back", "front"))
            require(known, "followers", list(self.followers), "'front', 'back' or both, each once")
