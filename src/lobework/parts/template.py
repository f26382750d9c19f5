"""A template: a curve in the bench's plane of X and Z along which the slides lead the tip while a pass goes on."""

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
"""How far a bent way may be from the straight lines that stand for it: a tenth of what a trace may stray."""

Feeding = Literal["z", "x"]
"""The slide that goes one way all along a template: along the spindle at the side of the work, across it on a face."""

WayPoints = Annotated[
    Pairs, pairs_measure("a list of [z, x] pairs from where the pass begins, such as [[0, 20], [-30, 25], [-60, 18]]")
]
"""A field of (z, x) points, mm."""


@dataclass(frozen=True, kw_only=True)
class Template:
    """A way of the tip along a curve, evenly by its length, as a template on the slide rest leads it.

    The template leads the slides, and depth is cut in by the slide that goes into the work: at the side of the work every
    place stands ``depth`` further in along x, not along the curve's normal. The cutter keeps its direction on the bench, straight
    along that slide.

    Parameters
    ----------
    points : tuple of (z, x) pairs, mm
        Through which it goes, from where the pass begins, as a turned piece's profile is written. It goes one way along the
        spindle, and on a face one way across.
    smooth : bool
        It bends smoothly through the points, as a turned profile does; otherwise it is straight from one to the next.
    rubber : float, mm
        Radius of the round rubber that follows the template, as large as the sweep of a frame or the end of a ball: then that
        bears on the curve as the rubber does, and cuts as deep on its slopes. At zero the tip itself follows it.
    start, end : float, mm, optional
        The part of it that is followed, by z (on a face by x), and which way; all of it, as the points are given, unless said.
    source : str
        What it was taken from, for the sheet.
    note : str
        What was taken for granted when it was read.

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
            require(after != before, f"points[{number}]", after, "another place than the point before it", "leave one out")

    @cached_property
    def curve(self) -> Chain | Meridian:
        """The whole of it, along its own length: (x, z) at each."""
        places = np.array(self.points)[:, ::-1]
        return Meridian(places) if self.smooth else Chain(places)

    def _way(self, feeds: Feeding) -> Chain | Meridian:
        """Return the way of the tip at no depth: the curve, or what a rubber that follows it leads the tip along."""
        return self.curve if not self.rubber else self._beside_z if feeds == "z" else self._beside_x

    @cached_property
    def _beside_z(self) -> Chain:
        return Chain(_followed(self._line[:, ::-1], self.rubber).way[:, ::-1])

    @cached_property
    def _beside_x(self) -> Chain:
        return Chain(_followed(self._line, self.rubber).way)

    def spans(self, feeds: Feeding = "z") -> list[Spanned]:
        """Return the hollows into which the rubber does not reach."""
        return _followed(self._line[:, ::-1] if feeds == "z" else self._line, self.rubber).spans if self.rubber else []

    @property
    def _line(self) -> Array:
        """(n, 2) mm: x and z of the curve as straight lines."""
        return self.curve.polyline(_FLAT_MM) if isinstance(self.curve, Meridian) else self.curve.points

    def require_one_way(self, feeds: Feeding = "z", units: LengthUnit = "mm") -> None:
        """Refuse a template that folds back, or whose part to be followed is not on it; lengths are told in ``units``.

        Raises
        ------
        SettingError
            With the number of the point at which the slide would have to turn back.
        """
        column = "zx".index(feeds)
        way = math.copysign(1.0, self.points[-1][column] - self.points[0][column])
        for number, (before, after) in enumerate(itertools.pairwise(self.points), 2):
            goes_on = (after[column] - before[column]) * way > 0
            where = f"{feeds} {format_length(before[column], units, 4)}"
            further = f"{'above' if way > 0 else 'below'} {where}, where the point before it is"
            require(goes_on, f"points[{number}]", show_pairs((after,), units), further, "the template folds back there")
        if self.smooth:
            self._require_smooth(feeds, way)
        places = self._way(feeds).points[:, "xz".index(feeds)]
        require(len(places) > 1, "rubber", format_length(self.rubber, units, 4), "small enough to roll along the template")
        low, high = sorted((float(places[0]), float(places[-1])))
        for name, given in (("from", self.start), ("to", self.end)):
            on_it = given is None or low <= given <= high
            ends = f"from {format_length(low, units, 4)} to {format_length(high, units, 4)}"
            require(on_it, name, given, f"{ends}, where the template runs along {feeds}")
        first, last = self._part(feeds)
        require(first != last, "to", self.end, "another place than from")

    def _require_smooth(self, feeds: Feeding, way: float) -> None:
        """Refuse points between which the smooth curve turns back."""
        progress = Meridian(np.array(self.points)).least_progress("zx".index(feeds), way)
        number = int(progress.argmin()) + 1
        between = f"its smooth curve between points {number} and {number + 1}"
        require(progress.min() > 0, "points", between, f"one way along {feeds}", "it folds back there; add points")

    def _part(self, feeds: Feeding) -> tuple[float, float]:
        """Return from where to where along the curve the tip goes, mm."""
        return self._by_z if feeds == "z" else self._by_x

    @cached_property
    def _by_z(self) -> tuple[float, float]:
        return self._along(self.start, "z", 0.0), self._along(self.end, "z", self._way("z").length)

    @cached_property
    def _by_x(self) -> tuple[float, float]:
        return self._along(self.start, "x", 0.0), self._along(self.end, "x", self._way("x").length)

    def _along(self, place: float | None, feeds: Feeding, usual: float) -> float:
        """Return how far along its way the tip comes to a place of the slide that feeds, mm."""
        if place is None:
            return usual
        way = self._way(feeds)
        column, low, high = "xz".index(feeds), 0.0, way.length
        rises = way.points[-1, column] > way.points[0, column]
        for _ in range(64):
            middle = 0.5 * (low + high)
            beyond = (way.at(np.array([middle]))[0, column] > place) == rises
            low, high = (low, middle) if beyond else (middle, high)
        return 0.5 * (low + high)

    def tip(self, at: At, part: Array, into: Literal["z", "x"] = "x") -> Array:
        """Return where the tip stands on the bench with (n,) parts of the pass done, 0 to 1: (n, 3) mm.

        ``at`` is added, and its depth goes in along ``into``, the slide that takes the cutter to the work.
        """
        feeds: Feeding = "x" if into == "z" else "z"
        first, last = self._part(feeds)
        x, z = self._way(feeds).at(first + part * (last - first))[:, :2].T
        by_x, by_y, by_z = at.tip(into)
        return np.stack([x + by_x, np.full_like(x, by_y), z + by_z], axis=-1)

    def corners(self, into: Literal["z", "x"] = "x") -> Array:
        """Return the parts of the pass, between 0 and 1, at which the curve may have a corner: (k,)."""
        feeds: Feeding = "x" if into == "z" else "z"
        first, last = self._part(feeds)
        parts = (self._way(feeds).lengths - first) / (last - first)
        return np.sort(parts[(parts > 0) & (parts < 1)])


def _followed(line: Array, rubber: float) -> _Followed:
    """Return where the foremost place of a round rubber goes that rolls over a line: (n, 2) mm along and out.

    Its middle goes beside each straight part and round each outer corner. Where those ways cross, in a hollow, it bears on
    both sides at once, and goes on beside the further one.
    """
    on_way = math.copysign(1.0, line[-1, 0] - line[0, 0])
    line = line * [on_way, 1.0]
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
            missed = float(np.hypot(*(hollow - middle).T).max() - rubber)
            spans.append(Spanned(on_way * float(hollow[:, 0].mean()), missed))
    places, on = (np.array(each) for each in zip(*envelope.places, strict=True))
    kept = (np.append(on[1:], on[-1]) >= 0) & (on < last - 0.5)
    return _Followed((places[kept] - [0.0, rubber]) * [on_way, 1.0], spans)


class Spanned(NamedTuple):
    """A hollow of a template that its rubber spans.

    Parameters
    ----------
    place : float, mm
        About where it is, along the way that the template goes.
    missed : float, mm
        How far the rubber stays off its bottom.

    Examples
    --------
    >>> notch = Template(points=((0.0, 20.0), (-10.0, 10.0), (-20.0, 20.0)), rubber=2.0)
    >>> [(each.place, round(each.missed, 3)) for each in notch.spans()]
    [(-10.0, 0.828)]
    """

    place: float
    missed: float


class _Followed(NamedTuple):
    way: Array
    spans: list[Spanned]


class _Envelope:
    """The outermost of straight pieces that are added in the order in which they are borne on.

    Its places are with what the piece up to each bears on, a part of the line by its number, or a corner, half a number less;
    its crossings, with the two on which both pieces bear.
    """

    def __init__(self) -> None:
        self.places: list[tuple[tuple[float, float], float]] = []
        self.crossings: list[tuple[tuple[float, float], float, float]] = []

    def add(self, start: Array, end: Array, on: float) -> None:
        """Add a piece, where it is not below; it hides what it is above, and all that comes after that."""
        (a, low), (b, high) = start.tolist(), end.tolist()
        if b <= a or (self.places and b <= self.places[-1][0][0] and self._at(b) >= high):
            return
        own = (high - low) / (b - a)
        dropped = None
        while self.places and ((at := self.places[-1][0])[0] >= b or (at[0] > a and low + own * (at[0] - a) > at[1])):
            dropped = self.places.pop()
        if not self.places:
            self.places.append(((a, low), on))
        elif dropped is not None:
            ((c, before), _), ((d, after), other) = self.places[-1], dropped
            slope = (after - before) / (d - c)
            here = (before - slope * c - low + own * a) / (own - slope) if own != slope else a
            here = min(max(here, a, c), b)
            cross = here, low + own * (here - a)
            while self.crossings and self.crossings[-1][0][0] >= here:
                self.crossings.pop()
            self.crossings.append((cross, other, on))
            if here > c:
                self.places.append((cross, other))
        if self.places[-1][0][0] < b:
            self.places.append(((b, high), on))

    def _at(self, along: float) -> float:
        """Return how far out it is at a place that it has come to."""
        k = max(bisect.bisect_left(self.places, ((along, -math.inf), -math.inf)), 1)
        ((c, before), _), ((d, after), _) = self.places[k - 1 : k + 1]
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
    """Return the template that a curve of a DXF or SVG file is.

    The drawing's own zero is the spindle's axis and z = 0. Of a curve that folds back, as the section of a whole vase does, the
    outermost stretch that goes all the way from ``start`` to ``end`` is taken, where both are given.

    Parameters
    ----------
    path : path
        Ends in .dxf or .svg.
    curve : str
        Its name in the drawing; needed where that holds several.
    unit : Fraction, mm, optional
        What one unit of the drawing is, in place of what the file says.
    axis : "up" or "right"
        Where the axis of the work points in the drawing, away from the headstock; radii then go to the right, or up.
    start, end : float, mm, optional
        As a template takes them.
    bare : "mm" or "inch"
        The unit of a DXF that says none.

    Raises
    ------
    InputError
        If the file cannot be read, or the curve cannot be a template.
    """
    outline = read_outline(path, curve, unit=unit, bare=bare)
    points = outline.points if axis == "right" else tuple((y, x) for x, y in outline.points)
    if start is not None and end is not None:
        points = _outermost(points, *sorted((start, end)))
    called = f"{Path(path).name}, {outline.name}"
    try:
        return Template(points=points, start=start, end=end, source=called, note=outline.note)
    except InputError as error:
        raise error.at(called) from None


def _outermost(points: Pairs, low: float, high: float) -> Pairs:
    """Return the stretch of one way along z that covers a part of z and lies furthest out; all, where none covers it."""
    places = np.array(points)
    way = np.sign(np.diff(places[:, 0]))
    bounds = [0, *(np.nonzero(np.diff(way))[0] + 1).tolist(), len(points) - 1]
    stretches = [places[a : b + 1] for a, b in itertools.pairwise(bounds)]
    fits = [each for each in stretches if each[:, 0].min() <= low and each[:, 0].max() >= high and each[0, 0] != each[-1, 0]]
    best = max(fits, key=lambda each: np.interp([low, high], *each[each[:, 0].argsort()].T).sum(), default=places)
    return tuple((float(z), float(x)) for z, x in best)


def template_of(piece: Piece, start: float | None = None, end: float | None = None, rubber: float = 0.0) -> Template:
    """Return the template that follows the side of the work itself, all of it or from ``start`` to ``end`` mm along z.

    Parameters
    ----------
    piece : Piece
        The work.
    start, end, rubber : float, mm
        As a template takes them.

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
        raise SettingError(f"work of the form {piece.form!r} has no side to follow; give points, or a file")
    profile = getattr(piece, "profile", None)
    if profile is None:
        places = surface.profile(np.linspace(0.0, surface.length, 2 if surface.straight else _MOST_POINTS // 10))
        profile = tuple((float(z) + 0.0, float(radius)) for radius, z in places[:, :2])
    source = "the side of the work"
    return Template(points=profile, smooth=not surface.straight, rubber=rubber, start=start, end=end, source=source)
