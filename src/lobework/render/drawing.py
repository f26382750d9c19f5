"""The sheet: the pattern in true millimetres with its outline, scale bar and text, independent of any file format."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from lobework.errors import require
from lobework.lathe.hand_settings import plain_name, settings_of, wrapped
from lobework.parts.abilities import seen_on, surface_of
from lobework.parts.holder import CuttingFrame, DrillingSpindle, EccentricFrame
from lobework.quantities.tolerances import JOIN_MM
from lobework.quantities.units import LengthUnit
from lobework.text.brief import Brief
from lobework.text.shown import Shown

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.kinematics.trace import Trace
    from lobework.parts.protocols import Cutter, Piece

__all__ = ["Drawing", "Figure", "Ink", "Layer", "Stroke", "TextLine", "draw"]

Ink = Literal["cut", "air", "outline", "rule", "accent"]
"""Meaning of a stroke: a cut, a path through air, the outline of the work, a thin rule, or an accent (centre mark, scale bar)."""

_ROLLED: Final = ("barrel", "turned")
_FACE: Final = "face seen from the cutter, X to the right, Y up"
_LEAST_WIDTH_MM: Final = 0.1
_WIDTH_STEP_MM: Final = 0.05
_MARGIN_MM: Final = 9.0
_NARROW_MARGIN_MM: Final = 0.5
"""Margin of a drawing without a legend."""
_NARROWEST_MM: Final = 66.0
_EM: Final = 0.56
"""Upper estimate of the mean width of a letter, as a fraction of the text size."""
_JOINED: Final = "\N{NO-BREAK SPACE}"
_BARS: Final[dict[LengthUnit, tuple[float, int, str]]] = {"mm": (50.0, 5, "50 mm"), "inch": (50.8, 4, "2 in")}
"""For each unit: length of the scale bar, mm, number of its divisions, and its label. The bar fits on the narrowest sheet."""


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Stroke(Brief):
    """A line of constant width with round joins and ends.

    Parameters
    ----------
    points : (n, 2) float64, mm
        Points on the face as seen from the cutter: X to the right, Y up, the middle of the work at zero.
    width : float, mm
        Width of the cut; at least 0.1, so that it is visible.
    ink : Ink
        Meaning of the stroke.
    closed : bool
        Whether the last point is joined to the first, which is then not repeated.
    """

    points: Array
    width: float
    ink: Ink = "cut"
    closed: bool = False


@dataclass(frozen=True, slots=True)
class TextLine:
    """One line of text: its baseline is at (x, y) mm, and its font size is ``size`` mm."""

    text: str
    x: float
    y: float
    size: float
    anchor: Literal["start", "middle", "end"] = "start"
    manner: Literal["title", "plain", "note"] = "plain"


@dataclass(frozen=True, slots=True, repr=False)
class Figure(Brief):
    """One cut: its title, and a stroke for each part of constant width."""

    title: str
    strokes: tuple[Stroke, ...]


@dataclass(frozen=True, slots=True, repr=False)
class Layer(Brief):
    """One pass of the job, with all cuts of its series."""

    name: str
    title: str
    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Drawing(Shown):
    """A sheet in true millimetres, without a file format.

    Parameters
    ----------
    title, description : str
        Title of the sheet, and its contents in one sentence.
    left, top : float, mm
        Coordinates of the sheet's upper left corner; Y points up, and the middle of the work is at zero.
    width, height : float, mm
        Dimensions of the sheet, in whole millimetres.
    layers : tuple of Layer
        The cuts.
    lines : tuple of Stroke
        Outline, centre mark and scale bar.
    words : tuple of TextLine
        Title and notes.
    bar : float, mm
        Length of the scale bar.
    """

    title: str
    description: str
    left: float
    top: float
    width: float
    height: float
    layers: tuple[Layer, ...]
    lines: tuple[Stroke, ...]
    words: tuple[TextLine, ...]
    bar: float

    def __repr__(self) -> str:
        return f"<drawing of {len(self.layers)} layers, {self.width:g} x {self.height:g} mm: {self.title or 'untitled'}>"

    @property
    def strokes(self) -> Iterator[Stroke]:
        """The strokes of all cuts, in order."""
        return (stroke for layer in self.layers for figure in layer.figures for stroke in figure.strokes)

    def dots(self, size: int) -> NDArray[np.uint8]:
        """Return the lines as a picture of grey dots, (rows, columns); see `lobework.render.raster.dots_of`."""
        from lobework.render.raster import dots_of

        return dots_of(self, size)

    def without_legend(self) -> Drawing:
        """Return the cuts and the outline of the work alone, without text, scale bar and centre mark, on a smaller sheet."""
        lines = tuple(stroke for stroke in self.lines if stroke.ink == "outline")
        shown = [*lines, *self.strokes]
        half = max(stroke.width for stroke in shown) / 2 + _NARROW_MARGIN_MM
        low = np.min([stroke.points.min(axis=0) for stroke in shown], axis=0) - half
        high = np.max([stroke.points.max(axis=0) for stroke in shown], axis=0) + half
        width, height = (float(each) for each in high - low)
        return replace(self, left=float(low[0]), top=float(high[1]), width=width, height=height, lines=lines, words=())


def _quantised_widths(widths: Array) -> Array:
    """Return the width of the cut at each point, (n,) mm; a width that varies is rounded to steps."""
    if np.ptp(widths) <= _WIDTH_STEP_MM:
        return np.full_like(widths, (widths.max() + widths.min()) / 2)
    stepped: Array = np.round(widths / _WIDTH_STEP_MM) * _WIDTH_STEP_MM
    return stepped


def _strokes(points: Array, depth: Array, cutter: Cutter) -> tuple[Stroke, ...]:
    """Return the strokes of one cut from its (n, 2) points, mm on the face, and (n,) depths, mm: one for each width."""
    reached = np.full_like(depth, depth.max()) if np.ptp(depth) <= JOIN_MM else depth
    known = {d: cutter.width_at(d) for d in set(reached.tolist())}
    widths = np.maximum(_quantised_widths(np.array([known[d] for d in reached.tolist()])), _LEAST_WIDTH_MM)
    widths[depth < -JOIN_MM] = 0.0
    closed = len(points) > 2 and bool(np.all(np.abs(points[0] - points[-1]) <= JOIN_MM))
    of_move = np.maximum(widths[:-1], widths[1:]) if len(widths) > 1 else widths
    if len(points) == 1:
        return (_stroke(np.repeat(points, 2, axis=0), float(of_move[0])),)
    starts = np.concatenate(([0], np.flatnonzero(np.diff(of_move)) + 1))
    if len(starts) == 1 and closed:
        return (_stroke(points[:-1], float(of_move[0]), closed=True),)
    ends = np.append(starts[1:], len(of_move))
    return tuple(_stroke(points[a : b + 1], float(of_move[a])) for a, b in zip(starts.tolist(), ends.tolist(), strict=True))


def _stroke(points: Array, width: float, *, closed: bool = False) -> Stroke:
    if width == 0:
        return Stroke(points, _LEAST_WIDTH_MM, "air", closed)
    return Stroke(points, width, "cut", closed)


def _figure(trace: Trace, piece: Piece, cutter: Cutter) -> Figure:
    """Return the figure of one cut: the path of the tip or the mark of a plunge, divided at the seam of a rolled-out side."""
    path = np.stack([trace.x, trace.y, trace.z], axis=-1)
    if len(path) == 1:
        path = _mark(trace, piece, cutter)
    seen = _seen(trace, piece, path)
    depth = np.full(len(path), seen[0, 2]) if trace.x.size == 1 and trace.x.size < len(path) else seen[:, 2]
    around = float(np.ptp(piece.outline[:, 0])) if getattr(piece, "form", "") in _ROLLED else math.inf
    runs = _runs(np.column_stack([seen[:, :2], depth]), around)
    return Figure(trace.cut.title, tuple(stroke for run in runs for stroke in _strokes(run[:, :2], run[:, 2], cutter)))


def _seen(trace: Trace, piece: Piece, path: Array) -> Array:
    """Return the path of the tip, or of the contact point of a template's rubber, on the sheet, and its depth: (n, 3) mm."""
    template = trace.cut.passed.template
    if template is None or not template.rubber:
        return seen_on(piece, path)
    outward = trace.pose.rotation[:, :, "xyz".index(trace.cut.approach.axis)]
    seen = seen_on(piece, path + template.rubber * outward)
    seen[:, 2] += template.rubber
    return seen


def _mark(trace: Trace, piece: Piece, cutter: Cutter) -> Array:
    """Return the mark of a cutter that only plunges: a ring, a stroke or a point, (n, 3) mm on the work."""
    from lobework.carve.sweep import has_edge, sweep_of

    tip = np.array([[trace.x[0], trace.y[0], trace.z[0]]])
    surface = surface_of(piece)
    if surface is None or not has_edge(cutter) or isinstance(cutter.holder, DrillingSpindle):
        return tip
    holder = cutter.holder
    sweep = sweep_of(trace, cutter, surface)
    level, outward = sweep.level[0], sweep.outward[0]
    aside = np.cross(outward, level)
    if isinstance(holder, EccentricFrame):
        turn = np.linspace(0, 2 * math.pi, 181)[:, None]
        ring: Array = tip + holder.radius * (np.cos(turn) * level + np.sin(turn) * aside)
        return ring
    depth = max(float(seen_on(piece, tip)[0, 2]), 0.0)
    if isinstance(holder, CuttingFrame):
        angle = math.radians(holder.angle_deg)
        direction = math.cos(angle) * level + math.sin(angle) * aside
        reach = math.sqrt(max(depth * (2 * holder.radius - depth), 0.0))
    else:
        direction, reach = level, cutter.width_at(depth) / 2
    stroke: Array = tip + np.array([[-reach], [reach]]) * direction
    return stroke


def _runs(seen: Array, around: float) -> list[Array]:
    """Return a path, (n, 3), divided at the seam of a rolled-out side that is ``around`` mm wide."""
    if not math.isfinite(around):
        return [seen]
    turn = np.floor(seen[:, 0] / around + 0.5)
    runs, begun = [], 0
    lead = np.zeros((0, 3))
    for k in np.flatnonzero(np.diff(turn)).tolist():
        seam = (max(turn[k], turn[k + 1]) - 0.5) * around
        part = (seam - seen[k, 0]) / (seen[k + 1, 0] - seen[k, 0])
        met = seen[k] + part * (seen[k + 1] - seen[k])
        runs.append(np.concatenate([lead, seen[begun : k + 1], [met]]) - [turn[k] * around, 0, 0])
        lead, begun = met[None], k + 1
    return [*runs, np.concatenate([lead, seen[begun:]]) - [turn[-1] * around, 0, 0]]


def _layers(traces: Sequence[Trace], piece: Piece, cutter: Cutter) -> tuple[Layer, ...]:
    layers = []
    for group, of_group in itertools.groupby(traces, key=lambda each: each.cut.group):
        figures = tuple(_figure(each, piece, cutter) for each in of_group)
        layers.append((group, figures))
    named = {each.cut.group: each.cut.passed.name or f"pass {each.cut.group}" for each in traces}
    return tuple(Layer(f"pass-{group}", named[group], figures) for group, figures in layers)


def _line(*points: tuple[float, float], width: float, ink: Ink, closed: bool = False) -> Stroke:
    return Stroke(np.array(points), width, ink, closed)


def _centre_mark() -> list[Stroke]:
    arms = (((-2.5, 0.0), (-0.6, 0.0)), ((0.6, 0.0), (2.5, 0.0)), ((0.0, -2.5), (0.0, -0.6)), ((0.0, 0.6), (0.0, 2.5)))
    dot = _line((0.0, 0.0), (0.0, 0.0), width=0.3, ink="accent")
    return [dot, *(_line(*arm, width=0.15, ink="accent") for arm in arms)]


def _bar_marks(x: float, y: float, length: float, parts: int) -> list[Stroke]:
    """Return a scale bar that begins at (x, y): a rule, long ticks at its ends, and short ticks between its parts."""
    marks = [_line((x, y), (x + length, y), width=0.2, ink="accent")]
    for k in range(parts + 1):
        across = x + length * k / parts
        marks.append(_line((across, y), (across, y + (2.2 if k in (0, parts) else 1.2)), width=0.2, ink="accent"))
    return marks


def _about(piece: Piece, cutter: Cutter, count: int, passes: int, units: LengthUnit) -> list[str]:
    """Return the lines of text about a job: the piece, the cutter, the number of cuts."""

    def phrase(kind: str, part: object) -> str:
        settings = (f"{name} {value}".replace(" ", _JOINED) for name, value in settings_of(part, units))
        return ", ".join([plain_name(kind), *settings])

    cuts = f"{count} cut" + ("s" if count != 1 else "")
    return [phrase(piece.form, piece), phrase(cutter.kind, cutter), cuts + (f" in {passes} passes" if passes > 1 else "")]


@dataclass(frozen=True, slots=True)
class _Content:
    """The content of a sheet before its layout; ``low`` and ``high`` are the bounds of the work and the cuts, (2,) mm."""

    title: str
    description: str
    about: list[str]
    notes: tuple[str, ...]
    layers: tuple[Layer, ...]
    lines: tuple[Stroke, ...]
    low: Array
    high: Array


def _content(title: str, piece: Piece, cutter: Cutter, traces: Sequence[Trace], units: LengthUnit) -> _Content:
    """Return the content of the sheet of a job."""
    layers = _layers(traces, piece, cutter)
    strokes = [stroke for layer in layers for figure in layer.figures for stroke in figure.strokes]
    widest = max(stroke.width for stroke in strokes) / 2
    ends = [(stroke.points.min(axis=0), stroke.points.max(axis=0)) for stroke in strokes]
    low = np.minimum(piece.outline.min(axis=0), np.min([end[0] for end in ends], axis=0) - widest)
    high = np.maximum(piece.outline.max(axis=0), np.max([end[1] for end in ends], axis=0) + widest)
    require(bool(np.all(np.isfinite([low, high]))), "traces", "a point that is not finite", "finite everywhere")
    about = _about(piece, cutter, len(traces), len(layers), units)
    rolled = piece.form in _ROLLED
    view = (
        "Side of the work in true millimetres, rolled out"
        if rolled
        else "Face of the work in true millimetres, seen from the cutter"
    )
    return _Content(
        title=title or "untitled",
        description=f"{view}: {'; '.join(about)}.",
        about=about,
        notes=("print at 100 %, check the scale bar", getattr(piece, "view", _FACE)),
        layers=layers,
        lines=(Stroke(piece.outline[:-1], 0.18, "outline", closed=True), *([] if rolled else _centre_mark())),
        low=low,
        high=high,
    )


class _Column:
    """A column of text on a page, filled from the top: ``left`` edge, ``width``, and the top ``y`` of its next line, mm."""

    def __init__(self, left: float, width: float, y: float) -> None:
        self.left, self.width, self.y = left, width, y
        self.words: list[TextLine] = []

    def space(self, height: float) -> None:
        """Leave a space, mm."""
        self.y -= height

    def write(self, text: str, size: float, manner: Literal["title", "plain", "note"], most: int) -> None:
        """Write a text on at most ``most`` lines; a longer text is truncated."""
        columns = max(int(self.width / (size * _EM)), 8)
        for line in wrapped(text, columns, max_lines=most, placeholder=" ...") or [text]:
            self.space(size * 1.35)
            self.words.append(TextLine(line, self.left, self.y, size, "start", manner))

    def scale_bar(self, length: float, parts: int, label: str) -> list[Stroke]:
        """Write the label of a scale bar, and return the strokes of the bar."""
        self.words.append(TextLine(label, self.left + length + 1.5, self.y, 2.3, "start", "plain"))
        return _bar_marks(self.left, self.y, length, parts)


def _page(content: _Content, units: LengthUnit) -> Drawing:
    """Return the content arranged on a page: the work between the margins, with the text and the scale bar below it."""
    low, high = content.low, content.high
    middle = (low[0] + high[0]) / 2
    width = math.ceil(max(high[0] - low[0], _NARROWEST_MM) + 2 * _MARGIN_MM)
    left, top = middle - width / 2, float(high[1]) + _MARGIN_MM
    text = _Column(left + _MARGIN_MM, width - 2 * _MARGIN_MM, float(low[1]) - _MARGIN_MM * 0.8)
    text.write(content.title, 4.2, "title", 3)
    text.space(1.2)
    for line in content.about:
        text.write(line, 2.3, "plain", 3)
    text.space(7.0)
    bar, parts, label = _BARS[units]
    scale = text.scale_bar(bar, parts, label)
    text.space(1.4)
    for note in content.notes:
        text.write(note, 2.1, "note", 1)
    return Drawing(
        title=content.title,
        description=content.description,
        left=float(left),
        top=top,
        width=float(width),
        height=float(math.ceil(top - text.y + _MARGIN_MM * 0.8)),
        layers=content.layers,
        lines=(*content.lines, *scale),
        words=tuple(text.words),
        bar=bar,
    )


def draw(title: str, piece: Piece, cutter: Cutter, traces: Sequence[Trace], units: LengthUnit = "mm") -> Drawing:
    """Return the sheet of a job.

    Parameters
    ----------
    title : str
        Title of the job.
    piece : Piece
        The piece, for its outline.
    cutter : Cutter
        The cutter, which determines the width of each line: the width of the cut at its depth.
    traces : sequence of Trace
        The traces of the cuts, at least one; each pass of the job becomes a layer.
    units : "mm" or "inch"
        Unit of the text and the scale bar; the sheet itself is in true millimetres in both cases.

    Returns
    -------
    Drawing
        The smallest sheet with margins round the work and space for the text.

    Raises
    ------
    SettingError
        If there is nothing to draw, or a trace is not finite.

    Examples
    --------
    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.parts.cutter import Pen
    >>> from lobework.lathe.lathe import Lathe
    >>> from lobework.lathe.passes import Cut, Pass
    >>> from lobework.parts.piece import Disc
    >>> from lobework.parts.slide import At
    >>> from lobework.kinematics.trace import trace
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed"))
    >>> ring = trace(Cut(number=1, passed=Pass(name="ring", at=At(x=24.0)), lathe=lathe))
    >>> sheet = draw("Lid", Disc(diameter=70.0, thickness=8.0), Pen(), [ring])
    >>> [layer.title for layer in sheet.layers], sheet.bar, sheet.width
    (['ring'], 50.0, 88.0)
    """
    require(len(traces) > 0, "traces", len(traces), "one or more", "add a pass to the job")
    return _page(_content(title, piece, cutter, traces, units), units)
