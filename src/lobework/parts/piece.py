"""The work: discs, barrels and turned pieces."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Annotated, ClassVar, Final

import numpy as np

from lobework.errors import require, together
from lobework.geometry.profile import Meridian
from lobework.geometry.surface import Face, Round
from lobework.quantities.fields import Length, Pairs, as_pairs, pairs_measure, require_numbers

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["Barrel", "Disc", "Turned"]

_MOST_POINTS: Final = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A flat disc; its face lies in the plane z = 0, with its centre at the origin.

    Parameters
    ----------
    diameter, thickness : float, mm
        Dimensions, above zero.
    material : str
        The material, printed on the settings sheet; it does not affect any computation.

    Examples
    --------
    >>> Disc(diameter=70.0, thickness=8.0).outline.shape
    (361, 2)
    """

    form: ClassVar[str] = "disc"
    view: ClassVar[str] = "face seen from the cutter, X to the right, Y up"
    diameter: Length
    thickness: Length
    material: str = ""

    def __post_init__(self) -> None:
        with together():
            require_numbers(self)
            require(0 < self.diameter < math.inf, "diameter", self.diameter, "above zero")
            require(0 < self.thickness < math.inf, "thickness", self.thickness, "above zero")

    @property
    def outline(self) -> Array:
        """(361, 2) mm: the circumference of the face, a closed polyline."""
        around = np.linspace(0, 2 * math.pi, 361)
        edge: Array = self.diameter / 2 * np.stack([np.cos(around), np.sin(around)], axis=-1)
        return edge

    def seen(self, points: Array) -> Array:
        """Return X, Y and depth, (n, 3) mm, of (n, 3) points in the frame of the work."""
        seen: Array = points * np.array([1.0, 1.0, -1.0])
        return seen

    @property
    def surface(self) -> Face:
        """The face and the thickness."""
        return Face(radius=self.diameter / 2, thickness=self.thickness)


@dataclass(frozen=True, slots=True, kw_only=True)
class Barrel:
    """A cylinder that is cut on its side. The end away from the headstock is at z = 0, the other end at z = -``length``.

    Parameters
    ----------
    diameter, length : float, mm
        Dimensions, above zero.
    bore : float, mm
        Diameter of the through hole; zero if the barrel is solid.
    material : str
        The material, printed on the settings sheet; it does not affect any computation.

    Examples
    --------
    >>> Barrel(diameter=50.0, length=60.0, bore=42.0).surface.wall(np.array([10.0])).tolist()
    [4.0]
    """

    form: ClassVar[str] = "barrel"
    view: ClassVar[str] = "side rolled out, seen from outside, Z up, X in the middle"
    diameter: Length
    length: Length
    bore: Length = 0.0
    material: str = ""

    def __post_init__(self) -> None:
        with together():
            require_numbers(self)
            require(0 < self.diameter < math.inf, "diameter", self.diameter, "above zero")
            require(0 < self.length < math.inf, "length", self.length, "above zero")
            within = 0 <= self.bore < self.diameter or self.diameter <= 0
            require(within, "bore", self.bore, f"zero or more and below the diameter, {self.diameter:g} mm")

    @property
    def outline(self) -> Array:
        """(5, 2) mm: the developed side, a closed rectangle."""
        return _developed_outline(self.diameter / 2, 0.0, -self.length)

    def seen(self, points: Array) -> Array:
        """Return circumferential position, z and depth, (n, 3) mm, of (n, 3) points; the angle is continuous over full turns."""
        out = np.hypot(points[:, 0], points[:, 1])
        return np.stack([self.diameter / 2 * _angles(points), points[:, 2], self.diameter / 2 - out], axis=-1)

    @property
    def surface(self) -> Round:
        """The side and the wall thickness."""
        radius, wall = self.diameter / 2, (self.diameter - self.bore) / 2

        def profile(s: Array) -> Array:
            still = np.ones_like(s)
            return np.stack([radius * still, -s, still, 0 * still], axis=-1)

        return Round(length=self.length, profile=profile, wall=lambda s: np.full_like(s, wall), straight=True)


Profile = Annotated[
    Pairs,
    pairs_measure("a list of [z, radius] pairs, from the end away from the headstock, such as [[0, 20], [-30, 25], [-60, 18]]"),
]
"""A field of (z, radius) points, mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Turned:
    """A piece that is turned to a profile and then cut on its side.

    Parameters
    ----------
    profile : tuple of (z, radius) pairs, mm
        Points of the profile, from the end away from the headstock towards -Z; the surface is a smooth curve through them.
    hollow : tuple of (z, radius) pairs, mm
        Points of the inner profile. An end of this profile inside the work is closed by a flat bottom. Empty if the piece is
        solid.
    material : str
        The material, printed on the settings sheet; it does not affect any computation.

    Examples
    --------
    >>> goblet = Turned(profile=((0.0, 20.0), (-20.0, 25.0), (-40.0, 15.0)))
    >>> goblet.surface.profile(np.array([0.0]))[:, :2].round(9).tolist()
    [[20.0, 0.0]]
    """

    form: ClassVar[str] = "turned"
    view: ClassVar[str] = "side rolled out, seen from outside, Z up, X in the middle"
    profile: Profile
    hollow: Profile = ()
    material: str = ""

    if TYPE_CHECKING:

        def __init__(
            self,
            *,
            profile: Iterable[Iterable[float]],
            hollow: Iterable[Iterable[float]] = ...,
            material: str = ...,
        ) -> None: ...

    def __post_init__(self) -> None:
        with together():
            for name in ("profile", "hollow"):
                object.__setattr__(self, name, as_pairs(name, getattr(self, name)))
        _require_profile("profile", self.profile)
        require(
            all(r > 0 for _, r in self.profile), "profile", self.profile, "radii above zero", "end the profile at a small radius"
        )
        _require_smooth("profile", self.profile)
        if self.hollow:
            _require_profile("hollow", self.hollow)
            require(all(r >= 0 for _, r in self.hollow), "hollow", self.hollow, "radii of zero or more")
            _require_smooth("hollow", self.hollow)
            _require_inside(self.hollow, self.profile)

    @property
    def outline(self) -> Array:
        """(5, 2) mm: the side developed at its maximum radius, a closed rectangle whose height is the profile's arc length."""
        return _developed_outline(self.widest, self.profile[0][0], self.profile[0][0] - self.surface.length)

    def seen(self, points: Array) -> Array:
        """Return circumferential position at the maximum radius, arc length and depth, (n, 3) mm, of (n, 3) points."""
        surface, out = self.surface, np.hypot(points[:, 0], points[:, 1])
        s = np.interp(-points[:, 2], *_arc_length_by_z(self.profile))
        for _ in range(8):
            radius, z, across, along = surface.profile(s).T
            s = np.clip(s + (out - radius) * along - (points[:, 2] - z) * across, 0.0, surface.length)
        radius, z, across, along = surface.profile(s).T
        beyond = (out - radius) * along - (points[:, 2] - z) * across
        depth = (radius - out) * across + (z - points[:, 2]) * along
        return np.stack([self.widest * _angles(points), self.profile[0][0] - s - beyond, depth], axis=-1)

    @property
    def widest(self) -> float:
        """Maximum radius, mm."""
        return float(_meridian(self.profile).polyline(0.001)[:, 0].max())

    @property
    def surface(self) -> Round:
        """The side and the wall thickness."""
        return _turned_surface(self.profile, self.hollow)


def _require_profile(name: str, points: Pairs) -> None:
    """Refuse points that are too few, too many, not finite or not in order."""
    require(len(points) >= 2, name, points, "two points or more")
    require(len(points) <= _MOST_POINTS, name, f"{len(points)} points", f"{_MOST_POINTS} points or fewer")
    require(all(math.isfinite(each) for point in points for each in point), name, points, "finite numbers")
    for number, (before, after) in enumerate(itertools.pairwise(points), 2):
        further = f"further towards the headstock than z {before[0]:g}"
        require(after[0] < before[0], f"{name}[{number}]", after, further, "the profile folds back there")


def _require_smooth(name: str, points: Pairs) -> None:
    """Refuse points between which the smooth curve folds back or crosses the axis."""
    curve = _meridian(points)
    sound = (curve.least_progress(1, -1.0) > 0).all() and (curve.polyline(0.01)[1:-1, 0] > 0).all()
    require(sound, name, "smooth curve through the points", "a curve that neither folds back nor crosses the axis", "add points")


def _require_inside(hollow: Pairs, profile: Pairs) -> None:
    """Refuse an inner profile that crosses the outer one."""
    inner, outer = _meridian(hollow).polyline(0.001), _meridian(profile).polyline(0.001)
    within = inner[(inner[:, 1] <= outer[0, 1]) & (inner[:, 1] >= outer[-1, 1])]
    require(len(within) > 0, "hollow", f"z {inner[0, 1]:g} to {inner[-1, 1]:g}", "inside the work")
    room = np.interp(-within[:, 1], -outer[:, 1], outer[:, 0]) - within[:, 0]
    radius, z = within[room.argmin()]
    require(
        room.min() > 0, "hollow", f"radius {radius:.6g}",
        f"below the work's outer radius, {radius + room.min():.6g} mm at z {z:.6g} mm", "make the hollow smaller",
    )  # fmt: skip


@lru_cache(maxsize=64)
def _meridian(points: tuple[tuple[float, float], ...]) -> Meridian:
    return Meridian(np.array(points)[:, ::-1])


@lru_cache(maxsize=64)
def _turned_surface(profile: tuple[tuple[float, float], ...], hollow: tuple[tuple[float, float], ...]) -> Round:
    outside = _meridian(profile)
    inside = np.zeros((0, 2))
    if hollow:
        line = _meridian(hollow).polyline(0.0001)
        inside = np.concatenate([line[:1] * [0.0, 1.0], line, line[-1:] * [0.0, 1.0]])

    def wall(s: Array) -> Array:
        radius, z, across, along = outside.at(s).T
        axis = np.where(across > 0, radius / np.where(across > 0, across, 1.0), np.inf)
        return np.minimum(axis, _ray_lengths(inside, np.stack([radius, z], axis=-1), -np.stack([across, along], axis=-1)))

    return Round(length=outside.length, profile=outside.at, wall=wall, straight=False)


def _ray_lengths(line: Array, starts: Array, directions: Array) -> Array:
    """Return the distance from the start of each ray to a polyline in the same plane.

    For a ray that misses the polyline the distance is infinite.
    """
    found = np.full(len(starts), np.inf)
    if len(line) < 2:
        return found
    low, step = line[:-1], np.diff(line, axis=0)
    for k, (start, (x, y)) in enumerate(zip(starts, directions, strict=True)):
        off = low - start
        det = y * step[:, 0] - x * step[:, 1]
        with np.errstate(divide="ignore", invalid="ignore"):
            far = (off[:, 1] * step[:, 0] - off[:, 0] * step[:, 1]) / det
            part = (x * off[:, 1] - y * off[:, 0]) / det
        meets = (far > 0) & (part >= -1e-9) & (part <= 1 + 1e-9)
        found[k] = far[meets].min(initial=np.inf)
    return found


@lru_cache(maxsize=64)
def _arc_length_by_z(profile: tuple[tuple[float, float], ...]) -> tuple[Array, Array]:
    """Return -z and the arc length at points of a profile."""
    s = np.linspace(0.0, _meridian(profile).length, 513)
    return -_meridian(profile).at(s)[:, 1], s


def _angles(points: Array) -> Array:
    """Return the unwrapped angle of each point about Z, rad."""
    return np.unwrap(np.arctan2(points[:, 1], points[:, 0]))


def _developed_outline(radius: float, top: float, bottom: float) -> Array:
    half = math.pi * radius
    return np.array([[-half, top], [half, top], [half, bottom], [-half, bottom], [-half, top]])
