"""Templates: curves in the bench's plane of X and Z along which the slides guide the tip during a pass."""

from __future__ import annotations

import bisect
import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final, Literal, NamedTuple

import numpy as np

from lobework.errors import InputError, SettingError, require, together
from lobework.geometry.outline import read_outline
from lobework.geometry.profile import Chain, Meridian
from lobework.geometry.surface import Round
from lobework.parts.abilities import surface_of
from lobework.parts.slide import At
from lobework.quantities.fields import Length, Pairs, as_pairs, pairs_measure, require_numbers, show_pairs
from lobework.quantities.units import format_length, is_real

if TYPE_CHECKING:
    from fractions import Fraction

    from lobework.geometry.rigid import Array
    from lobework.parts.protocols import Piece
    from lobework.quantities.units import LengthUnit

__all__ = ["Feeding", "Spanned", "Template", "read_template", "template_of"]

_MOST_POINTS: Final = 20_000
_FURTHEST_MM: Final = 1e6
_FLAT_MM: Final = 2e-4
"""Maximum deviation of a polyline from the curve that it approximates: a tenth of the deviation that is allowed for a trace."""

Feeding = Literal["z", "x"]
"""The slide that moves in one direction along the whole template: "z" on the side of the work, "x" on a face."""

WayPoints = Annotated[
    Pairs, pairs_measure("a list of [z, x] pairs from where the pass begins, such as [[0, 20], [-30, 25], [-60, 18]]")
]
"""A field of (z, x) points, mm."""


@dataclass(frozen=True, kw_only=True)
class Template:
    """A curve that the tip follows at constant speed, as if a template on the slide rest guided it.

    The template guides the slides, and the depth is set on the slide that feeds the cutter into the work: on the side of the work
    each point of the path is shifted by ``depth`` along x, not along the normal of the curve. The cutter keeps its direction on
    the bench, parallel to the slide on which the depth is set.

    Parameters
    ----------
    points : tuple of (z, x) pairs, mm
        Points of the curve, from the beginning of the pass, in the same form as the profile of a turned piece. The curve must
        progress in one direction along the spindle, or on a face in one direction across it.
    smooth : bool
        True: the curve is a smooth spline through the points, as for the profile of a turned piece. False: it is a polyline.
    rubber : float, mm
        Radius of the rubber: the round follower that bears on the template. If this radius is that of the cutting frame or of
        the ball cutter, the depth of cut is the same on slopes as elsewhere. If it is zero, the tip follows the curve itself.
    start, end : float, mm, optional
        Positions on the curve, in z (on a face in x), at which the tip begins and ends. Default: the whole curve in the order of
        the points.
    source : str
        File and curve from which the points were read, printed on the settings sheet.
    note : str
        Assumption about the unit that was made when the file was read.

    Examples
    --------
    >>> ogee = Template(points=((0.0, 20.0), (-30.0, 20.0), (-60.0, 60.0)), end=-45.0)
    >>> ogee.tip(At(depth=0.5), np.array([0.0, 1.0])).round(9).tolist()
    [[19.5, 0.0, 0.0], [39.5, 0.0, -45.0]]
    """

    points: WayPoints
    smooth: bool = False
    rubber: Length = 0.0
    start: Length | None = None
    end: Length | None = None
    source: str = ""
    note: str = ""

    if TYPE_CHECKING:

        def __init__(
            self,
            *,
            points: Iterable[Iterable[float]],
            smooth: bool = ...,
            rubber: float = ...,
            start: float | None = ...,
            end: float | None = ...,
            source: str = ...,
            note: str = ...,
        ) -> None: ...

    def __post_init__(self) -> None:
        with together():
            require_numbers(self)
            require(0 <= self.rubber <= _FURTHEST_MM, "rubber", self.rubber, "zero or more")
            ends: dict[str, float | None] = {"from": self.start, "to": self.end}
            for name, given in ends.items():
                plain = given is None or (is_real(given) and math.isfinite(given))
                require(plain, name, given, "a plain number, in mm")
            object.__setattr__(self, "points", as_pairs("points", self.points))
            require(len(self.points) >= 2, "points", self.points, "two points or more")
            require(len(self.points) <= _MOST_POINTS, "points", f"{len(self.points)} points", f"{_MOST_POINTS} points or fewer")
        for number, point in enumerate(self.points, 1):
            near = all(abs(each) <= _FURTHEST_MM for each in point)
            require(near, f"points[{number}]", point, "finite numbers, within a kilometre")
        for number, (before, after) in enumerate(itertools.pairwise(self.points), 2):
            require(after != before, f"points[{number}]", after, "different from the point before it", "leave one out")

    @cached_property
    def curve(self) -> Chain | Meridian:
        """The whole curve, (x, z), parametrised by arc length."""
        places = np.array(self.points)[:, ::-1]
        return Meridian(places) if self.smooth else Chain(places)

    def _path(self, feeds: Feeding) -> Chain | Meridian:
        """Return the path of the tip at zero depth: the curve itself, or the path of a rubber that follows the curve."""
        return self.curve if not self.rubber else self._rubber_path_z if feeds == "z" else self._rubber_path_x

    @cached_property
    def _rubber_path_z(self) -> Chain:
        return Chain(_rubber_path(self._line[:, ::-1], self.rubber).path[:, ::-1])

    @cached_property
    def _rubber_path_x(self) -> Chain:
        return Chain(_rubber_path(self._line, self.rubber).path)

    def spans(self, feeds: Feeding = "z") -> list[Spanned]:
        """Return the hollows whose bottom the rubber cannot reach."""
        return _rubber_path(self._line[:, ::-1] if feeds == "z" else self._line, self.rubber).spans if self.rubber else []

    @property
    def _line(self) -> Array:
        """(n, 2) mm: x and z of the curve as a polyline."""
        return self.curve.polyline(_FLAT_MM) if isinstance(self.curve, Meridian) else self.curve.points

    def require_one_way(self, feeds: Feeding = "z", units: LengthUnit = "mm") -> None:
        """Refuse a template that folds back, or whose ``start`` or ``end`` is outside the curve.

        Lengths in messages are in ``units``.

        Raises
        ------
        SettingError
            If the template is invalid; the message contains the number of the point at which the slide would have to reverse.
        """
        column = "zx".index(feeds)
        direction = math.copysign(1.0, self.points[-1][column] - self.points[0][column])
        for number, (before, after) in enumerate(itertools.pairwise(self.points), 2):
            goes_on = (after[column] - before[column]) * direction > 0
            where = f"{feeds} {format_length(before[column], units, 4)}"
            further = f"{'above' if direction > 0 else 'below'} {where}, the position of the previous point"
            require(goes_on, f"points[{number}]", show_pairs((after,), units), further, "the template folds back there")
        if self.smooth:
            self._require_smooth(feeds, direction)
        places = self._path(feeds).points[:, "xz".index(feeds)]
        require(len(places) > 1, "rubber", format_length(self.rubber, units, 4), "small enough to roll along the template")
        low, high = sorted((float(places[0]), float(places[-1])))
        for name, given in (("from", self.start), ("to", self.end)):
            on_it = given is None or low <= given <= high
            ends = f"from {format_length(low, units, 4)} to {format_length(high, units, 4)}"
            require(on_it, name, given, f"{ends}, the range of the template along {feeds}")
        first, last = self._range(feeds)
        require(first != last, "to", self.end, "a position other than that of from")

    def _require_smooth(self, feeds: Feeding, direction: float) -> None:
        """Refuse points between which the smooth curve folds back."""
        progress = Meridian(np.array(self.points)).least_progress("zx".index(feeds), direction)
        number = int(progress.argmin()) + 1
        between = f"smooth curve between points {number} and {number + 1}"
        require(progress.min() > 0, "points", between, f"monotonic along {feeds}", "the curve folds back there; add points")

    def _range(self, feeds: Feeding) -> tuple[float, float]:
        """Return the arc lengths at which the path of the tip begins and ends, mm."""
        return self._by_z if feeds == "z" else self._by_x

    @cached_property
    def _by_z(self) -> tuple[float, float]:
        return self._along(self.start, "z", 0.0), self._along(self.end, "z", self._path("z").length)

    @cached_property
    def _by_x(self) -> tuple[float, float]:
        return self._along(self.start, "x", 0.0), self._along(self.end, "x", self._path("x").length)

    def _along(self, place: float | None, feeds: Feeding, default: float) -> float:
        """Return the arc length, mm, at which the feeding slide is at the position ``place``.

        If ``place`` is None, return ``default``.
        """
        if place is None:
            return default
        path = self._path(feeds)
        column, low, high = "xz".index(feeds), 0.0, path.length
        rises = path.points[-1, column] > path.points[0, column]
        for _ in range(64):
            middle = 0.5 * (low + high)
            beyond = (path.at(np.array([middle]))[0, column] > place) == rises
            low, high = (low, middle) if beyond else (middle, high)
        return 0.5 * (low + high)

    def tip(self, at: At, part: Array, into: Literal["z", "x"] = "x") -> Array:
        """Return the position of the tip on the bench, (n, 3) mm, at (n,) fractions of the pass, 0 to 1.

        The position ``at`` is added to the curve; its depth is subtracted on the slide ``into``, which feeds the cutter into the
        work.
        """
        feeds: Feeding = "x" if into == "z" else "z"
        first, last = self._range(feeds)
        x, z = self._path(feeds).at(first + part * (last - first))[:, :2].T
        by_x, by_y, by_z = at.tip(into)
        return np.stack([x + by_x, np.full_like(x, by_y), z + by_z], axis=-1)

    def corners(self, into: Literal["z", "x"] = "x") -> Array:
        """Return the fractions of the pass, (k,), between 0 and 1, at which the curve may have a corner."""
        feeds: Feeding = "x" if into == "z" else "z"
        first, last = self._range(feeds)
        parts = (self._path(feeds).lengths - first) / (last - first)
        return np.sort(parts[(parts > 0) & (parts < 1)])


def _rubber_path(line: Array, rubber: float) -> _RubberPath:
    """Return the path of the foremost point of a round rubber that rolls over a polyline.

    Points of the polyline and of the path are (n, 2) mm: position along the feeding slide, and height. The centre of the rubber
    moves parallel to each straight segment and in an arc round each convex corner. In a hollow these pieces of its path cross; at
    the crossing the rubber touches both sides of the hollow, and then continues along the later side.
    """
    direction = math.copysign(1.0, line[-1, 0] - line[0, 0])
    line = line * [direction, 1.0]
    steps = np.diff(line, axis=0)
    square = np.stack([-steps[:, 1], steps[:, 0]], axis=-1) / np.hypot(*steps.T)[:, None]
    envelope, last = _Envelope(), len(square)
    for corner, (before, out) in enumerate(itertools.pairwise([np.array([-1.0, 0.0]), *square, np.array([1.0, 0.0])])):
        turn = math.atan2(before[0] * out[1] - before[1] * out[0], float(before @ out))
        if turn < 0:
            parts = np.linspace(0.0, turn, 2 + int(abs(turn) / math.sqrt(8 * _FLAT_MM / rubber)))
            stands = np.stack([np.cos(parts), np.sin(parts)], axis=-1) @ np.array([before, [-before[1], before[0]]])
            for start, end in itertools.pairwise(line[corner] + rubber * stands):
                envelope.add(start, end, corner - 0.5)
        if corner < last:
            envelope.add(line[corner] + rubber * out, line[corner + 1] + rubber * out, corner)
    spans = []
    for middle, first, then in envelope.crossings:
        if first >= 0 and then < last - 0.5 and (hollow := line[math.floor(first) + 1 : math.ceil(then) + 1]).size:
            gap = float(np.hypot(*(hollow - middle).T).max() - rubber)
            spans.append(Spanned(direction * float(hollow[:, 0].mean()), gap))
    vertices, element = (np.array(each) for each in zip(*envelope.vertices, strict=True))
    kept = (np.append(element[1:], element[-1]) >= 0) & (element < last - 0.5)
    return _RubberPath((vertices[kept] - [0.0, rubber]) * [direction, 1.0], spans)


class Spanned(NamedTuple):
    """A hollow of a template whose bottom the rubber does not reach.

    Parameters
    ----------
    place : float, mm
        Approximate position of the hollow on the feeding slide.
    gap : float, mm
        Distance of the rubber from the bottom of the hollow.

    Examples
    --------
    >>> notch = Template(points=((0.0, 20.0), (-10.0, 10.0), (-20.0, 20.0)), rubber=2.0)
    >>> [(each.place, round(each.gap, 3)) for each in notch.spans()]
    [(-10.0, 0.828)]
    """

    place: float
    gap: float


class _RubberPath(NamedTuple):
    path: Array
    spans: list[Spanned]


class _Envelope:
    """The upper envelope of straight segments, which are added in the order in which the rubber reaches them.

    Each piece of the envelope belongs to one element of the polyline: to segment k, with the element number k, or to the corner
    before segment k, with the element number k - 1/2. Each of the ``vertices`` holds a point and the element of the piece that
    ends at this point. Each of the ``crossings`` holds a point and the elements of the two pieces that cross at this point.
    """

    def __init__(self) -> None:
        self.vertices: list[tuple[tuple[float, float], float]] = []
        self.crossings: list[tuple[tuple[float, float], float, float]] = []

    def add(self, start: Array, end: Array, element: float) -> None:
        """Add a piece, unless it lies below the envelope.

        The new piece replaces the pieces that it covers and all later pieces.
        """
        (a, low), (b, high) = start.tolist(), end.tolist()
        if b <= a or (self.vertices and b <= self.vertices[-1][0][0] and self._at(b) >= high):
            return
        slope = (high - low) / (b - a)
        dropped = None
        while self.vertices and ((at := self.vertices[-1][0])[0] >= b or (at[0] > a and low + slope * (at[0] - a) > at[1])):
            dropped = self.vertices.pop()
        if not self.vertices:
            self.vertices.append(((a, low), element))
        elif dropped is not None:
            ((c, before), _), ((d, after), other) = self.vertices[-1], dropped
            envelope_slope = (after - before) / (d - c)
            here = (before - envelope_slope * c - low + slope * a) / (slope - envelope_slope) if slope != envelope_slope else a
            here = min(max(here, a, c), b)
            cross = here, low + slope * (here - a)
            while self.crossings and self.crossings[-1][0][0] >= here:
                self.crossings.pop()
            self.crossings.append((cross, other, element))
            if here > c:
                self.vertices.append((cross, other))
        if self.vertices[-1][0][0] < b:
            self.vertices.append(((b, high), element))

    def _at(self, along: float) -> float:
        """Return the height of the envelope at the position ``along``, which the envelope already covers."""
        k = max(bisect.bisect_left(self.vertices, ((along, -math.inf), -math.inf)), 1)
        ((c, before), _), ((d, after), _) = self.vertices[k - 1 : k + 1]
        out: float = before + (after - before) * (along - c) / (d - c)
        return out


def read_template(
    path: Path | str,
    curve: str = "",
    *,
    unit: Fraction | None = None,
    axis: Literal["up", "right"] = "up",
    start: float | None = None,
    end: float | None = None,
    bare: LengthUnit = "mm",
) -> Template:
    """Return a template from a curve of a DXF or SVG file.

    The origin of the drawing is on the spindle axis at z = 0. If ``start`` and ``end`` are given and the curve folds back, as the
    section of a whole vase does, the outermost branch that covers the whole range from ``start`` to ``end`` is used.

    Parameters
    ----------
    path : path
        A file whose name ends in .dxf or .svg.
    curve : str
        Name of the curve in the drawing; required if the file contains several curves.
    unit : Fraction, mm, optional
        Size of one unit of the drawing. Default: as specified in the file.
    axis : "up" or "right"
        Direction of the axis of the work in the drawing, away from the headstock; radii are then to the right, or upwards.
    start, end : float, mm, optional
        Positions on the curve at which the tip begins and ends; see `Template`.
    bare : "mm" or "inch"
        Unit to assume for a DXF file that specifies no unit.

    Raises
    ------
    InputError
        If the file cannot be read, or its curve cannot be used as a template.
    """
    outline = read_outline(path, curve, unit=unit, bare=bare)
    points = outline.points if axis == "right" else tuple((y, x) for x, y in outline.points)
    if start is not None and end is not None:
        points = _outermost(points, *sorted((start, end)))
    source = f"{Path(path).name}, {outline.name}"
    try:
        return Template(points=points, start=start, end=end, source=source, note=outline.note)
    except InputError as error:
        raise error.at(source) from None


def _outermost(points: Pairs, low: float, high: float) -> Pairs:
    """Return the outermost branch that is monotonic in z and covers the range from ``low`` to ``high``.

    If no branch covers the range, return all points.
    """
    places = np.array(points)
    directions = np.sign(np.diff(places[:, 0]))
    bounds = [0, *(np.nonzero(np.diff(directions))[0] + 1).tolist(), len(points) - 1]
    branches = [places[a : b + 1] for a, b in itertools.pairwise(bounds)]
    fits = [each for each in branches if each[:, 0].min() <= low and each[:, 0].max() >= high and each[0, 0] != each[-1, 0]]
    best = max(fits, key=lambda each: np.interp([low, high], *each[each[:, 0].argsort()].T).sum(), default=places)
    return tuple((float(z), float(x)) for z, x in best)


def template_of(piece: Piece, start: float | None = None, end: float | None = None, rubber: float = 0.0) -> Template:
    """Return a template that follows the side of the work: the whole side, or the part from z = ``start`` to z = ``end``.

    Parameters
    ----------
    piece : Piece
        The work.
    start, end, rubber : float, mm
        See `Template`.

    Raises
    ------
    SettingError
        If the work has no side.

    Examples
    --------
    >>> from lobework.parts.piece import Barrel
    >>> template_of(Barrel(diameter=50.0, length=60.0), end=-20.0).points
    ((0.0, 25.0), (-60.0, 25.0))
    """
    surface = surface_of(piece)
    if not isinstance(surface, Round):
        raise SettingError(
            f"work of the form {piece.form!r} has no side that a template can follow", remedy="write points, or name a file"
        )
    profile = getattr(piece, "profile", None)
    if profile is None:
        places = surface.profile(np.linspace(0.0, surface.length, 2 if surface.straight else _MOST_POINTS // 10))
        profile = tuple((float(z) + 0.0, float(radius)) for radius, z in places[:, :2])
    source = "the side of the work"
    return Template(points=profile, smooth=not surface.straight, rubber=rubber, start=start, end=end, source=source)
