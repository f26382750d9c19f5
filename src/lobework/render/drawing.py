"""The sheet: the pattern in true millimetres with its outline, scale bar and words, as marks that any format can write."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from lobework.errors import require
from lobework.lathe.hand_settings import plain_name, settings_of, wrapped
from lobework.parts.abilities import seen_on, surface_of
from lobework.parts.holder import CuttingFrame, DrillingSpindle, EccentricFrame
from lobework.quantities.tolerances import JOIN_MM
from lobework.quantities.units import LengthUnit
from lobework.text.brief import Brief

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kinematics.trace import Trace
    from lobework.parts.protocols import Cutter, Piece

__all__ = ["Drawing", "Figure", "Ink", "Layer", "Stroke", "Words", "draw"]

Ink = Literal["cut", "air", "outline", "rule", "accent"]
"""What a mark stands for: the cut itself, the cutter's way through air, the work's edge, a thin rule, the quiet accent."""

_ROLLED: Final = ("barrel", "turned")
_FACE: Final = "face seen from the cutter, X to the right, Y up"
_LEAST_WIDTH_MM: Final = 0.1
_WIDTH_STEP_MM: Final = 0.05
_MARGIN_MM: Final = 9.0
_NARROWEST_MM: Final = 66.0
_EM: Final = 0.56
"""Mean width of a letter over its size, on the wide side."""
_JOINED: Final = "\N{NO-BREAK SPACE}"
_BARS: Final[dict[LengthUnit, tuple[float, int, str]]] = {"mm": (50.0, 5, "50 mm"), "inch": (50.8, 4, "2 in")}
"""The scale bar's length, mm, its parts, and what it says; the narrowest sheet has room for it."""


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Stroke(Brief):
    """A line of one width, its joins and ends round.

    Parameters
    ----------
    points : (n, 2) float64, mm
        On the face as seen from the cutter: X right, Y up, the middle of the work at zero.
    width : float, mm
        As wide as the cut; at least 0.1, to be seen.
    ink : Ink
        What it stands for.
    closed : bool
        Whether the last point joins the first, which is then not repeated.
    """

    points: Array
    width: float
    ink: Ink = "cut"
    closed: bool = False


@dataclass(frozen=True, slots=True)
class Words:
    """One line of text, its baseline at (x, y) mm, ``size`` mm high from line to line."""

    text: str
    x: float
    y: float
    size: float
    anchor: Literal["start", "middle", "end"] = "start"
    manner: Literal["title", "plain", "note"] = "plain"


@dataclass(frozen=True, slots=True, repr=False)
class Figure(Brief):
    """One cut: its title, and a stroke for each part of it that has one width."""

    title: str
    strokes: tuple[Stroke, ...]


@dataclass(frozen=True, slots=True, repr=False)
class Layer(Brief):
    """One pass of the job with every cut of its series."""

    name: str
    title: str
    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Drawing:
    """A sheet of marks in true millimetres, in no format yet.

    Parameters
    ----------
    title, description : str
        What it is called, and what it shows in one sentence.
    left, top : float, mm
        Where the sheet's upper left corner is; Y goes up, the middle of the work is at zero.
    width, height : float, mm
        Of the sheet, in whole millimetres.
    layers : tuple of Layer
        The cuts.
    lines : tuple of Stroke
        Outline, centre mark and scale bar.
    words : tuple of Words
        Title and notes.
    bar : float, mm
        How long the scale bar is.
    """

    title: str
    description: str
    left: float
    top: float
    width: float
    height: float
    layers: tuple[Layer, ...]
    lines: tuple[Stroke, ...]
    words: tuple[Words, ...]
    bar: float

    def __repr__(self) -> str:
        return f"<drawing of {len(self.layers)} layers, {self.width:g} x {self.height:g} mm: {self.title or 'untitled'}>"

    @property
    def strokes(self) -> Iterator[Stroke]:
        """Every stroke of every cut, in order."""
        return (stroke for layer in self.layers for figure in layer.figures for stroke in figure.strokes)


def _bands(widths: Array) -> Array:
    """Return each point's width, in steps where it varies along the cut; (n,) mm."""
    if np.ptp(widths) <= _WIDTH_STEP_MM:
        return np.full_like(widths, (widths.max() + widths.min()) / 2)
    stepped: Array = np.round(widths / _WIDTH_STEP_MM) * _WIDTH_STEP_MM
    return stepped


def _strokes(points: Array, depth: Array, cutter: Cutter) -> tuple[Stroke, ...]:
    """Return one cut's strokes: (n, 2) mm on the face, (n,) mm deep; one stroke unless the width changes on the way."""
    reached = np.full_like(depth, depth.max()) if np.ptp(depth) <= JOIN_MM else depth
    known = {d: cutter.width_at(d) for d in set(reached.tolist())}
    widths = np.maximum(_bands(np.array([known[d] for d in reached.tolist()])), _LEAST_WIDTH_MM)
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
    """Return one cut: the way of the tip, on a rolled-out side cut where it goes round the back; of a plunge, its mark."""
    path = np.stack([trace.x, trace.y, trace.z], axis=-1)
    if len(path) == 1:
        path = _mark(trace, piece, cutter)
    seen = _seen(trace, piece, path)
    depth = np.full(len(path), seen[0, 2]) if trace.x.size == 1 and trace.x.size < len(path) else seen[:, 2]
    around = float(np.ptp(piece.outline[:, 0])) if getattr(piece, "form", "") in _ROLLED else math.inf
    runs = _runs(np.column_stack([seen[:, :2], depth]), around)
    return Figure(trace.cut.title, tuple(stroke for run in runs for stroke in _strokes(run[:, :2], run[:, 2], cutter)))


def _seen(trace: Trace, piece: Piece, path: Array) -> Array:
    """Return where on the sheet a cut is deepest, and how deep: at the tip, or where a rubber bears that rides on a template."""
    template = trace.cut.passed.template
    if template is None or not template.rubber:
        return seen_on(piece, path)
    outward = trace.pose.rotation[:, :, "xyz".index(trace.cut.approach.axis)]
    seen = seen_on(piece, path + template.rubber * outward)
    seen[:, 2] += template.rubber
    return seen


def _mark(trace: Trace, piece: Piece, cutter: Cutter) -> Array:
    """Return what a cutter that only goes in and out again marks: a ring, a stroke, or a point; (n, 3) mm on the work."""
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
        way, reach = math.cos(angle) * level + math.sin(angle) * aside, math.sqrt(max(depth * (2 * holder.radius - depth), 0.0))
    else:
        way, reach = level, cutter.width_at(depth) / 2
    stroke: Array = tip + np.array([[-reach], [reach]]) * way
    return stroke


def _runs(seen: Array, around: float) -> list[Array]:
    """Return a path, (n, 3), in the pieces that lie on a sheet ``around`` mm wide that joins up at the back."""
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
    """Return a scale bar from (x, y): a rule, long ticks at its ends, short ones between its parts."""
    marks = [_line((x, y), (x + length, y), width=0.2, ink="accent")]
    for k in range(parts + 1):
        across = x + length * k / parts
        marks.append(_line((across, y), (across, y + (2.2 if k in (0, parts) else 1.2)), width=0.2, ink="accent"))
    return marks


def _about(piece: Piece, cutter: Cutter, count: int, passes: int, units: LengthUnit) -> list[str]:
    def phrase(kind: str, part: object) -> str:
        set_so = (f"{name} {value}".replace(" ", _JOINED) for name, value in settings_of(part, units))
        return ", ".join([plain_name(kind), *set_so])

    cuts = f"{count} cut" + ("s" if count != 1 else "")
    return [phrase(piece.form, piece), phrase(cutter.kind, cutter), cuts + (f" in {passes} passes" if passes > 1 else "")]


def _fill(text: str, size: float, width: float, most: int) -> list[str]:
    room = max(int(width / (size * _EM)), 8)
    return wrapped(text, room, max_lines=most, placeholder=" ...") or [text]


def draw(title: str, piece: Piece, cutter: Cutter, traces: Sequence[Trace], units: LengthUnit = "mm") -> Drawing:
    """Return the sheet of a job.

    Parameters
    ----------
    title : str
        Of the job.
    piece : Piece
        For its outline.
    cutter : Cutter
        For the width of each line: as wide as its cut at the depth reached.
    traces : sequence of Trace
        At least one; a pass of the job becomes a layer.
    units : "mm" or "inch"
        For words and scale bar; the sheet itself is in true millimetres either way.

    Returns
    -------
    Drawing
        Snug round the work, with room for the words.

    Raises
    ------
    SettingError
        Where there is nothing to draw.

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
    require(len(traces) > 0, "traces", len(traces), "one or more", "give the job a pass")
    layers = _layers(traces, piece, cutter)
    strokes = [stroke for layer in layers for figure in layer.figures for stroke in figure.strokes]
    widest = max(stroke.width for stroke in strokes) / 2
    ends = [(stroke.points.min(axis=0), stroke.points.max(axis=0)) for stroke in strokes]
    low = np.minimum(piece.outline.min(axis=0), np.min([end[0] for end in ends], axis=0) - widest)
    high = np.maximum(piece.outline.max(axis=0), np.max([end[1] for end in ends], axis=0) + widest)
    require(bool(np.all(np.isfinite([low, high]))), "traces", "a point that is not finite", "finite everywhere")
    middle = (low[0] + high[0]) / 2
    width = math.ceil(max(high[0] - low[0], _NARROWEST_MM) + 2 * _MARGIN_MM)
    left, text_left, room = middle - width / 2, middle - width / 2 + _MARGIN_MM, width - 2 * _MARGIN_MM

    words: list[Words] = []
    y = float(low[1]) - _MARGIN_MM * 0.8

    def write(text: str, size: float, manner: Literal["title", "plain", "note"], most: int) -> None:
        nonlocal y
        for line in _fill(text, size, room, most):
            y -= size * 1.35
            words.append(Words(line, text_left, y, size, "start", manner))

    write(title or "untitled", 4.2, "title", 3)
    y -= 1.2
    about = _about(piece, cutter, len(traces), len(layers), units)
    for text in about:
        write(text, 2.3, "plain", 3)
    bar, parts, bar_says = _BARS[units]
    y -= 7.0
    rolled = piece.form in _ROLLED
    centre = [] if rolled else _centre_mark()
    lines = [Stroke(piece.outline[:-1], 0.18, "outline", closed=True), *centre, *_bar_marks(text_left, y, bar, parts)]
    words.append(Words(bar_says, text_left + bar + 1.5, y, 2.3, "start", "plain"))
    y -= 1.4
    write("print at 100 %, check the scale bar", 2.1, "note", 1)
    write(getattr(piece, "lies", _FACE), 2.1, "note", 1)
    top = float(high[1]) + _MARGIN_MM
    shown = (
        "Side of the work in true millimetres, rolled out"
        if rolled
        else "Face of the work in true millimetres, seen from the cutter"
    )
    description = f"{shown}: {'; '.join(about)}."
    return Drawing(
        title=title or "untitled", description=description, left=float(left), top=top, width=float(width),
        height=float(math.ceil(top - y + _MARGIN_MM * 0.8)), layers=layers, lines=tuple(lines), words=tuple(words), bar=bar,
    )  # fmt: skip
