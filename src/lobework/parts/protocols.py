"""The interfaces of the parts. A part that a user writes must implement the interface of its kind.

Parts are frozen dataclasses; the written form of their settings is defined by `lobework.quantities.fields`.
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

    A cam has `lobes` equal lobes; the top of one lobe is at angle zero.
    """

    kind: ClassVar[str]

    @property
    def lobes(self) -> int:
        """Number of equal lobes."""

    @property
    def base_radius(self) -> float:
        """Edge cam: radius at the lowest point, mm. Face cam: radius of the follower's track, mm."""

    @property
    def on(self) -> Literal["edge", "face"]:
        """Whether the wave is cut on the edge or on the face."""

    @property
    def corners(self) -> Sequence[float]:
        """Angles in [0, 2 pi / lobes), rad, at which the slope or curvature jumps."""

    def rise_at(self, psi: Array) -> Array:
        """Return the height above the base, mm, at (n,) angles ``psi`` round the cam, rad counterclockwise."""

    def slope_at(self, psi: Array) -> Array:
        """Return the slope of `rise_at`, mm/rad, at (n,) angles, rad.

        At a corner, return the slope on either side of the corner.
        """


@runtime_checkable
class Follower(Hashable, Protocol):
    """A follower, whose nose bears on the cam and which moves along a line through the cam's centre.

    The nose may be asymmetrical.
    """

    kind: ClassVar[str]

    @property
    def form(self) -> Literal["round", "flat", "shaped"]:
        """Form of the nose: a circle or point ("round"), an infinite straight line ("flat"), or any other form ("shaped")."""

    @property
    def half_width(self) -> float:
        """Extent of the nose to either side of the line of action, mm; zero for a knife, infinite for a flat follower."""

    @property
    def rest(self) -> float:
        """Distance from the tip of the nose to the reference point of the travel, such as a roller's centre, mm."""

    def nose_at(self, q: Array) -> Array:
        """Return the distance, (n,) mm, from the point of contact outwards to the reference point, along the line of action.

        The point of contact is at ``q``, (n,) mm across the line of action.
        """

    def nose_slope_at(self, q: Array) -> Array:
        """Return the slope of `nose_at`; infinite where the side of the nose is parallel to the line of action."""


class ChuckSlide(NamedTuple):
    """The positions of a chuck's slide as the spindle turns, and the ends of its travel.

    Parameters
    ----------
    name : str
        Name of the slide, such as "slide" or "ring".
    at : (n or 1,) float64, mm
        Position of the slide at each angle of the spindle.
    low, high : float, mm
        The ends of the travel; infinite if the travel is unlimited.
    """

    name: str
    at: Array
    low: float
    high: float


@runtime_checkable
class Chuck(Protocol):
    """A chuck: the position of the work on the spindle as a function of the spindle's angle.

    The motions must be finite at every angle and should be continuous: the check reports a path that jumps as a problem, and
    a program with such a path is never accepted by the proof.

    A chuck may also have these optional attributes:

    - ``period_turns: int``: period of its motion in whole turns of the spindle; 0 if it is not periodic. If the attribute is
      missing, the period is determined numerically.
    - ``needs: tuple[str, ...]``: fittings that the lathe must have for the chuck, such as "ring". They may depend on the
      settings of the chuck.
    - ``slides(theta) -> tuple[ChuckSlide, ...]``: the positions of its slides at (n,) spindle angles, rad. A pass that moves a
      slide beyond the end of its travel is refused.
    - a field ``screw: Screw | None = None``: with this field, lengths may also be written in turns and divisions of the
      screw, and are also shown in turns and divisions.
    - a field ``wheel: Wheel | None = None``: with this field, the field ``index`` may also be written in holes, is also shown in
      holes, and must coincide with a hole of the wheel.

    A field ``screw`` or ``wheel`` of another type has no special meaning.
    """

    kind: ClassVar[str]

    @property
    def is_dynamic(self) -> bool:
        """Whether the chuck moves the work as the spindle turns; if not, `motions` may return a batch of one."""

    def motions(self, theta: Array) -> Rigid:
        """Return n rigid motions, at (n,) spindle angles ``theta``, rad.

        Each motion is the position of the frame on the side of the work, in the frame on the side of the spindle.
        """


@runtime_checkable
class Cutter(Protocol):
    """A cutter, which leaves a groove, or a pen, which leaves a line. The slides position its tip."""

    kind: ClassVar[str]

    def width_at(self, depth: float) -> float:
        """Return the width, mm, of the groove or line at the depth ``depth``, mm."""


@runtime_checkable
class Piece(Protocol):
    """The work."""

    form: ClassVar[str]

    @property
    def outline(self) -> Array:
        """(m, 2) mm: the outline of the face, seen from the cutter, as a closed polyline."""


def smooth_slope(rise_at: Callable[[Array], Array], psi: Array, step: float) -> Array:
    """Return the slope of a cam by a six-point central difference, whose error is of sixth order in ``step``."""
    weights = ((1, 45 / 60), (2, -9 / 60), (3, 1 / 60))
    slope: Array = np.zeros_like(psi)
    for k, weight in weights:
        slope += weight * (rise_at(psi + k * step) - rise_at(psi - k * step))
    return slope / step


def not_finite(kind: str, name: str, part: Any, message: str) -> PartError:
    """Return the error for a part that returned a number that is not finite; the message names the part's class and settings.

    Parameters
    ----------
    kind, name : str
        Kind and name of the part.
    part : part
        The faulty part.
    message : str
        Description of the value that is not finite, and of the position at which it occurs.

    Examples
    --------
    >>> from lobework.parts.follower import Roller
    >>> print(not_finite("follower", "roller", Roller(3.0), "nose_at is not finite at 1 mm across"))
    follower 'roller' (lobework.parts.follower.Roller): nose_at is not finite at 1 mm across, with radius 3 mm; the values \
    must be finite everywhere: change its settings, or correct the part
    """
    return _part_error(kind, name, part, message, "the values must be finite everywhere")


def not_continuous(kind: str, name: str, part: Any, message: str) -> PartError:
    """Return the error for a part whose shape jumps so that it cannot be traced; the parameters are those of `not_finite`."""
    return _part_error(kind, name, part, message, "the shape must be continuous")


def _part_error(kind: str, name: str, part: Any, message: str, must_be: str) -> PartError:
    marks = measures(type(part))
    shown = []
    for each in fields(part):
        value = getattr(part, each.name)
        mark = marks.get(each.name)
        text = " ".join((mark.show(value) if mark is not None and value is not None else str(value)).split())
        short = text if len(text) <= _LONGEST_SHOWN else f"{text[: _LONGEST_SHOWN - 1]}…"
        shown.append(f"{each.name.removesuffix('_deg')} {short}")
    settings = f", with {', '.join(shown)}" if shown else ""
    where = f"{type(part).__module__}.{type(part).__qualname__}"
    problem = f"{kind} {name!r} ({where}): {message}{settings}"
    error = PartError(problem, remedy=f"{must_be}: change its settings, or correct the part")
    error.part = type(part)
    return error


def require_rests(cam: Cam, follower: Follower) -> None:
    """Refuse a follower that is so wide that it always rests on the tops of a face cam's waves, and the headstock never moves.

    Raises
    ------
    SettingError
        If the half width of the follower is larger than the radius of the track on the cam.
    """
    if cam.on == "face" and follower.half_width > cam.base_radius:
        remedy = f"use a knife, or a roller smaller than the track's radius, {cam.base_radius:g} mm"
        raise SettingError(f"follower: this {follower.kind} is too wide for the waves of a face cam", remedy=remedy)
