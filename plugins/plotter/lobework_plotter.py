"""Paper trials at true size: the drawing as HP-GL, for pen plotters and other devices that read it."""

from __future__ import annotations

import re
import textwrap
import unicodedata
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from lobework.plugins import InputError, hookimpl
from lobework.targets import Target

if TYPE_CHECKING:
    from lobework.plugins import Array, Drawing, Stroke
    from lobework.testing import Sample

    Path = NDArray[np.int64]

__all__ = ["TARGET", "lobework_contract", "lobework_samples", "lobework_targets", "read", "render"]

lobework_contract = 2

_UNITS_PER_MM: Final = 40
"""A plotter unit is 0.025 mm. Source: Hewlett-Packard, *HP 7550A Graphics Plotter Interfacing and Programming Manual* (1986)."""

_FURTHEST: Final = 32767
"""Largest coordinate; plotters clip larger ones to it. Source: the same manual, on integers."""

_PENS: Final = 8
_POINTS_PER_LINE: Final = 50
_BLOCK: Final = 4096
_BAR_MM: Final = 20.0
_LETTER_MM: Final = (1.5, 2.5)
"""Width and height of a letter; the pitch of letters is 1.5 widths."""
_NARROWEST_MM: Final = 66.0
_LINE_MM: Final = 5.0
_INSET_MM: Final = 5.0
_WORDS_MM: Final = 10.0
"""Height of the title's last line above the lower edge; the scale bar is at half of it."""


def _in_units(points: Array) -> Path:
    """Return (n, 2) mm in whole plotter units, without repeated points; rounding ignores differences of 1e-6 units."""
    units: Path = np.floor(np.round(points * _UNITS_PER_MM, 6) + 0.5).astype(np.int64)
    kept: Path = units[np.append(True, (np.diff(units, axis=0) != 0).any(axis=1))]
    return kept


def _paths(strokes: Sequence[Stroke]) -> list[Path]:
    """Return the path of the pen for each stroke; moves of the cutter in the air are not drawn."""
    drawn = (stroke for stroke in strokes if stroke.ink != "air")
    return [_in_units(np.concatenate([each.points, each.points[:1]]) if each.closed else each.points) for each in drawn]


def _ordered(paths: Sequence[Path], at: Path) -> Iterator[Path]:
    """Yield paths ordered for short pen-up moves: the path with the nearest end is next; a closed path may begin anywhere."""
    for block in range(0, len(paths), _BLOCK):
        remaining = list(paths[block : block + _BLOCK])
        ends = np.array([[path[0], path[-1]] for path in remaining])
        while remaining:
            nearest, end = divmod(int(np.abs(ends - at).max(axis=2).argmin()), 2)
            path = remaining.pop(nearest)
            ends = np.delete(ends, nearest, axis=0)
            if len(path) > 2 and (path[0] == path[-1]).all():
                path = np.roll(path[:-1], -int(np.abs(path[:-1] - at).max(axis=1).argmin()), axis=0)
                path = np.concatenate([path, path[:1]])
            elif end:
                path = path[::-1]
            yield path
            at = path[-1]


def _pair(point: Path) -> str:
    return f"{point[0]},{point[1]}"


def _draw(path: Path) -> Iterator[str]:
    """Yield the instructions for a path: a move to it with the pen up, then along it with the pen down."""
    yield f"PU{_pair(path[0])};"
    along = path[1:] if len(path) > 1 else path
    for first in range(0, len(along), _POINTS_PER_LINE):
        yield f"PD{','.join(map(_pair, along[first : first + _POINTS_PER_LINE]))};"


def _ascii(text: str) -> str:
    """Return text in ASCII, which every plotter has, without accents."""
    decomposed = (each for each in unicodedata.normalize("NFKD", text) if not unicodedata.combining(each))
    return "".join(each if " " <= each <= "~" else "?" for each in " ".join("".join(decomposed).split()))


def _label(text: str, at: Path) -> str:
    wide, high = (f"{each / 10:g}" for each in _LETTER_MM)
    return f"PU{_pair(at)};SI{wide},{high};LB{text}\x03"


def _bar() -> list[Path]:
    """Return a scale bar: a line, long ticks at its ends, and short ticks every 5 mm."""
    ticks = [[(x, 0.0), (x, 2.0 if x in (0.0, _BAR_MM) else 1.2)] for x in np.arange(0.0, _BAR_MM + 1, 5.0)]
    return [_in_units(np.array(each) + _INSET_MM) for each in ([(0.0, 0.0), (_BAR_MM, 0.0)], *ticks)]


def _corners(size: Path) -> list[Path]:
    """Return a mark at each corner of the plot; a missing mark shows that the paper is too small."""
    arm = 3 * _UNITS_PER_MM
    marks = []
    for x, inward_x in ((0, arm), (size[0], -arm)):
        for y, inward_y in ((0, arm), (size[1], -arm)):
            marks.append(np.array([(x + inward_x, y), (x, y), (x, y + inward_y)]))
    return marks


def render(drawing: Drawing) -> bytes:
    """Return the drawing as an HP-GL file in true size, with one pen per pass, beginning again after pen 8.

    The work's outline and centre, a title, a scale bar of 20 mm and a mark at each corner of the plot are drawn first, with the
    first pen. The lower left corner of the plot is the plotter's origin.

    Raises
    ------
    InputError
        If the plot exceeds the coordinate range of a plotter.

    References
    ----------
    Hewlett-Packard, *HP 7550A Graphics Plotter Interfacing and Programming Manual* (1986): the instructions IN, LB, PA, PD, PU,
    SI and SP, cited from memory.

    Examples
    --------
    >>> from lobework.render.drawing import Drawing, Figure, Layer, Stroke
    >>> line = Figure("cut 1", (Stroke(np.array([[0.0, 0.0], [30.0, 40.0]]), 0.3),))
    >>> sheet = Drawing(
    ...     title="Lid", description="", left=0.0, top=40.0, width=30.0, height=40.0,
    ...     layers=(Layer("pass-1", "rings", (line,)),), lines=(), words=(), bar=50.0,
    ... )
    >>> render(sheet).decode().splitlines()[-4:]
    ['PU0,600;', 'PD1200,2200;', 'PU;', 'SP0;']
    """
    layers = [_paths([stroke for figure in layer.figures for stroke in figure.strokes]) for layer in drawing.layers]
    outline = _paths([stroke for stroke in drawing.lines if stroke.ink == "outline"])
    on_work = np.concatenate([*(path for paths in layers for path in paths), *outline])
    low, high = on_work.min(axis=0), on_work.max(axis=0)
    inside = [path for path in _paths(drawing.lines) if (path >= low).all() and (path <= high).all()]

    plot_width_mm = max((high[0] - low[0]) / _UNITS_PER_MM, _NARROWEST_MM)
    letters = int((plot_width_mm - 2 * _INSET_MM) / (1.5 * _LETTER_MM[0]))
    title = textwrap.wrap(_ascii(drawing.title), letters) or ["untitled"]
    under = round((_WORDS_MM + _LINE_MM * len(title)) * _UNITS_PER_MM)
    shift = np.array([0, under]) - low
    size = np.array([max(high[0] - low[0], round(plot_width_mm * _UNITS_PER_MM)), high[1] + shift[1]])
    if size.max() > _FURTHEST:
        width, height = (f"{each / _UNITS_PER_MM:g}" for each in size)
        most = f"{_FURTHEST / _UNITS_PER_MM:g}"
        problem = f"the plot is {width} by {height} mm; a plotter draws at most {most} mm either way"
        raise InputError(problem, remedy="plot a smaller piece")

    written = ["IN;", "PA;", "SP1;"]
    for mark in (*_corners(size), *_bar()):
        written += _draw(mark)
    words = [("20 mm", _INSET_MM + _BAR_MM + 2, _INSET_MM)]
    words += [(text, _INSET_MM, _WORDS_MM + _LINE_MM * number) for number, text in enumerate(reversed(title))]
    written += [_label(text, _in_units(np.array([[x, y]]))[0]) for text, x, y in words]
    for path in inside:
        written += _draw(path + shift)
    at = inside[-1][-1] + shift if inside else np.zeros(2, dtype=np.int64)
    for number, paths in enumerate(layers):
        written += ["PU;", f"SP{number % _PENS + 1};"]
        for path in _ordered([path + shift for path in paths], at):
            written += _draw(path)
            at = path[-1]
    return "\n".join([*written, "PU;", "SP0;", ""]).encode("ascii")


_INSTRUCTION: Final = re.compile(r"\s*(?:LB(?P<label>[^\x03]*)\x03|(?P<name>[A-Z]{2})(?P<numbers>[-0-9., ]*);)\s*")


def read(file: bytes) -> list[tuple[int, list[Array]]]:
    """Return the lines that a plotter draws, by pen change: the pen, and lines of (n, 2) mm.

    The first entry has the lines of the sheet, and each further entry those of a pass. The function reads the instructions that
    `render` writes, and shares no code with it.

    Raises
    ------
    ValueError
        If the file has an unknown instruction, or a coordinate out of range.

    Examples
    --------
    >>> read(b"IN;SP2;PU40,0;PD80,0,80,40;PU;")
    [(2, [array([[1., 0.],
           [2., 0.],
           [2., 1.]])])]
    """
    text, place = file.decode("ascii"), 0
    drawn: list[tuple[int, list[list[tuple[int, int]]]]] = []
    while place < len(text):
        found = _INSTRUCTION.match(text, place)
        if found is None:
            raise ValueError(f"no instruction at character {place}: {text[place : place + 20]!r}")
        place = found.end()
        name, numbers = found["name"], found["numbers"].split(",") if found["numbers"] else []
        if name == "SP":
            drawn.append((int(numbers[0]), []))
        elif name in ("PU", "PD"):
            lines = drawn[-1][1]
            points = list(zip(map(int, numbers[::2]), map(int, numbers[1::2]), strict=True))
            if any(not -32768 <= each <= 32767 for point in points for each in point):
                raise ValueError(f"{found[0].strip()[:80]} exceeds the range of a plotter")
            if name == "PD":
                lines[-1] += points
            else:
                lines += [[point] for point in points]
        elif name not in ("IN", "PA", "SI", None):
            raise ValueError(f"{name} is an unknown instruction")
    return [(pen, [np.array(line) * 0.025 for line in lines if len(line) > 1]) for pen, lines in drawn if pen]


TARGET: Final = Target(
    name="plotter",
    file="drawing.hpgl",
    shows="drawing",
    description="the pattern in true size for a pen plotter (HP-GL), one pen per pass",
    render=render,
)


@hookimpl
def lobework_targets() -> list[Target]:
    """Return the target for plotters."""
    return [TARGET]


@hookimpl
def lobework_samples() -> list[Sample]:
    """Return the target, with a circle whose size on paper is known."""
    from lobework.testing import ExpectedValue, Sample

    def across(target: Target) -> Array:
        """Return the width and height of a plotted circle of 40 mm, mm."""
        from lobework.plugins import Drawing, Figure, Layer, Stroke

        turn = np.linspace(0, 2 * np.pi, 721)
        circle = Figure("circle", (Stroke(20 * np.stack([np.cos(turn), np.sin(turn)], axis=-1), 0.3),))
        layers = (Layer("pass-1", "circle", (circle,)),)
        sheet = Drawing(
            title="", description="", left=-20.0, top=20.0, width=40.0, height=40.0, layers=layers, lines=(), words=(), bar=50.0
        )
        (drawn,) = read(target.render(sheet))[1][1]
        size: Array = np.ptp(drawn, axis=0)
        return size

    return [
        Sample(
            TARGET,
            known=[ExpectedValue(across, [40.0, 40.0], "its own diameter, 1600 plotter units", within=1e-9)],
            reads=lambda file: [line for _, lines in read(file)[1:] for line in lines],
        )
    ]
