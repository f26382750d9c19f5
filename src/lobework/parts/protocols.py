"""What each kind of part must offer, to be used like a built-in one.

Parts are frozen dataclasses; `lobework.quantities.fields` says how their settings are written.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import fields
from typing import TYPE_CHECKING, Any, ClassVar, Final, Literal, NamedTuple, Protocol, runtime_checkable

import numpy as np

from lobework.errors import PartError, SettingError
from lobework.quantities.fields import measures

if TYPE_CHECKING:
    from collections.abc import Callable

    from lobework.geometry.rigid import Array, Rigid

__all__ = [
    "Cam",
    "Chuck",
    "ChuckSlide",
    "Cutter",
    "Follower",
    "Piece",
    "not_continuous",
    "not_finite",
    "require_rests",
    "smooth_slope",
]


_LONGEST_SHOWN: Final = 40


@runtime_checkable
class Cam(Hashable, Protocol):
    """A disc with a waved edge or a waved face.

    `lobes` equal lobes stand round it; the top of one stands at angle zero.
    """

    kind: ClassVar[str]

    @property
    def lobes(self) -> int:
        """Equal lobes in one turn."""

    @property
    def base_radius(self) -> float:
        """Edge cam: radius under the lobes, mm. Face cam: radius of the track that the follower runs on, mm."""

    @property
    def on(self) -> Literal["edge", "face"]:
        """Where the wave is cut."""

    @property
    def corners(self) -> Sequence[float]:
        """Angles in [0, 2 pi / lobes), rad, where slope or curvature jumps."""

    def rise_at(self, psi: Array) -> Array:
        """Return the height above the base, mm, at angles ``psi``: (n,) rad round the cam, counterclockwise."""

    def slope_at(self, psi: Array) -> Array:
        """Return the slope of `rise_at`, mm/rad, at (n,) rad; at a corner, either side's."""


@runtime_checkable
class Follower(Hashable, Protocol):
    """What bears on the cam: a nose, symmetrical or not, moved along a line through the cam's centre."""

    kind: ClassVar[str]

    @property
    def form(self) -> Literal["round", "flat", "shaped"]:
        """The same from every side (a roller, a knife), an endless flat, or neither."""

    @property
    def half_width(self) -> float:
        """How far the nose reaches to either side of the line of action, mm; zero a knife, infinite a flat."""

    @property
    def rest(self) -> float:
        """From the nose's tip to the point whose travel counts (a roller's centre), mm."""

    def nose_at(self, q: Array) -> Array:
        """Return how far that point stands outside the touching point when it touches at ``q``: (n,) mm across."""

    def nose_slope_at(self, q: Array) -> Array:
        """Return the slope of `nose_at`; infinite at a vertical side."""


class ChuckSlide(NamedTuple):
    """Where a slide of a chuck stands as the spindle turns, and the ends of its travel.

    Parameters
    ----------
    name : str
        What the chuck's maker calls it: "slide", "ring".
    at : (n or 1,) float64, mm
        Where it stands at each angle of the spindle.
    low, high : float, mm
        The ends of its travel; infinite where it has none.
    """

    name: str
    at: Array
    low: float
    high: float


@runtime_checkable
class Chuck(Protocol):
    """Where the work stands on the spindle, at each angle of the spindle.

    Its motions are finite at every angle, and continuous: a path that jumps is a problem to the check, and is never proved.

    A chuck may say more, and what it says is used:

    - ``period_turns: int``: whole turns of the spindle after which it stands as it did; 0, never. Where it does not say,
      it is found out by number.
    - ``needs: tuple[str, ...]``: fittings that the lathe must have for it, in the trade's words: "ring". They may hang on
      its settings.
    - ``slides(theta) -> tuple[ChuckSlide, ...]``: where each of its slides stands at (n,) rad. A pass that drives one past
      its end is refused.
    - a field ``screw: Screw | None = None``: its lengths are shown in turns and divisions too, and may be written so.
    - a field ``wheel: Wheel | None = None``: its field ``index`` is shown in holes too, may be written so, and must fall on
      a hole.

    A field ``screw`` or ``wheel`` of another type is whatever its author meant.
    """

    kind: ClassVar[str]

    @property
    def is_dynamic(self) -> bool:
        """Whether the chuck moves as the spindle turns; if not, `motions` may return a batch of one."""

    def motions(self, theta: Array) -> Rigid:
        """Return the outgoing frame in the incoming one: (n,) rad in, n rigid motions out."""


@runtime_checkable
class Cutter(Protocol):
    """What leaves a line or a groove; its tip is the point that the slides place."""

    kind: ClassVar[str]

    def width_at(self, depth: float) -> float:
        """Return how wide a line, mm, it leaves at ``depth`` mm below the surface."""


@runtime_checkable
class Piece(Protocol):
    """The work in the chuck."""

    form: ClassVar[str]

    @property
    def outline(self) -> Array:
        """(m, 2) mm: the closed edge of the face, as seen from the cutter."""


def smooth_slope(rise_at: Callable[[Array], Array], psi: Array, step: float) -> Array:
    """Return a slope from six neighbours, its error of the sixth order in ``step``: for cams that state none."""
    weights = ((1, 45 / 60), (2, -9 / 60), (3, 1 / 60))
    slope: Array = np.zeros_like(psi)
    for k, weight in weights:
        slope += weight * (rise_at(psi + k * step) - rise_at(psi - k * step))
    return slope / step


def not_finite(kind: str, name: str, part: Any, message: str) -> PartError:
    """Return the error for a part that gives a number that is not finite; it names the part, its class and its settings.

    Parameters
    ----------
    kind, name : str
        What it is, and what it is called.
    part : part
        At fault.
    message : str
        What is not finite, and where.

    Examples
    --------
    >>> from lobework.parts.follower import Roller
    >>> print(not_finite("follower", "roller", Roller(3.0), "nose_at is not finite at 1 mm across"))
    follower 'roller' (lobework.parts.follower.Roller): nose_at is not finite at 1 mm across, with radius 3 mm; it must be \
    finite everywhere: change its settings, or mend it
    """
    return _part_error(kind, name, part, message, "it must be finite everywhere")


def not_continuous(kind: str, name: str, part: Any, message: str) -> PartError:
    """Return the error for a part whose shape jumps where that cannot be traced; it names what `not_finite` does."""
    return _part_error(kind, name, part, message, "it must be continuous")


def _part_error(kind: str, name: str, part: Any, message: str, must_be: str) -> PartError:
    marks = measures(type(part))
    shown = []
    for each in fields(part):
        value = getattr(part, each.name)
        mark = marks.get(each.name)
        said = " ".join((mark.show(value) if mark is not None and value is not None else str(value)).split())
        shown.append(
            f"{each.name.removesuffix('_deg')} {said if len(said) <= _LONGEST_SHOWN else said[: _LONGEST_SHOWN - 1] + '…'}"
        )
    settings = f", with {', '.join(shown)}" if shown else ""
    where = f"{type(part).__module__}.{type(part).__qualname__}"
    problem = f"{kind} {name!r} ({where}): {message}{settings}"
    error = PartError(problem, remedy=f"{must_be}: change its settings, or mend it")
    error.part = type(part)
    return error


def require_rests(cam: Cam, follower: Follower) -> None:
    """Refuse a follower that spans the whole track of a face cam: it rests on the tops of the waves, and nothing moves.

    Raises
    ------
    SettingError
        If the follower is wider than the radius of the track.
    """
    if cam.on == "face" and follower.half_width > cam.base_radius:
        raise SettingError(
            f"follower: a {follower.kind} as wide as this cannot rest in the waves of a face cam; "
            f"use a knife, or a roller smaller than the track's radius, {cam.base_radius:g} mm"
        )
