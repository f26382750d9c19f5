"""Samples of the targets, with properties that their file formats require."""

from __future__ import annotations

import functools
import re
import struct
from typing import TYPE_CHECKING, Any, Final

from lobework.carve import Carving, stock_of
from lobework.kinematics.trace import trace
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Cut, Pass
from lobework.parts.cutter import Vee
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Disc
from lobework.parts.slide import At
from lobework.plugins.sample import ExpectedValue, Sample
from lobework.plugins.samples.readers import axes_in, corners_in_3mf, corners_in_stl, moves_in, rows_in, strokes_in
from lobework.program.program import Feeds, program
from lobework.render.drawing import draw
from lobework.sheets.settings import settings
from lobework.targets import csv, moves, page, png, relief, rs274, stl, svg, text, threemf

if TYPE_CHECKING:
    from lobework.kinematics.trace import Trace
    from lobework.targets import Target

__all__ = ["TARGETS"]

_DISC: Final = Disc(diameter=70.0, thickness=8.0)
_VEE: Final = Vee(angle_deg=90.0, width=3.0)
_PNG: Final = b"\x89PNG\r\n\x1a\n"


@functools.cache
def _ring() -> Trace:
    axes = (Axis(moves="spindle", letter="C"), Axis(moves="x", letter="X"), Axis(moves="z", letter="Z"))
    lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed"), axes=axes)
    return trace(Cut(number=1, passed=Pass(name="ring", at=At(x=24.0, depth=0.4)), lathe=lathe))


def _file(target: Target) -> bytes:
    """Return the file that a target renders for one ring of radius 24 mm on a disc of 70 mm diameter."""
    return target.render(_shown(target.shows))


def _shown(what: str) -> Any:
    if what == "drawing":
        return draw("ring", _DISC, _VEE, [_ring()])
    if what == "axes":
        return [_ring()]
    if what == "program":
        return program("ring", [_ring()], Feeds(), "mm")
    if what == "settings":
        return settings("ring", _ring().cut.lathe, _DISC, _VEE, [_ring().cut])
    stock = stock_of(_DISC, 2.0)
    return Carving(title="ring", piece=_DISC, stock=stock, depth=stock.uncut(), sweeps=())


def _begins(with_it: bytes) -> ExpectedValue:
    return ExpectedValue(
        lambda target: _file(target).startswith(with_it), True, f"the file format: a file begins with {with_it!r}"
    )


def _rings_radius(target: Target) -> float:
    (line,) = strokes_in(_file(target))
    return float(line[:, 0].max() - line[:, 0].min()) / 2


def _triangles(target: Target) -> int:
    file = _file(target)
    return len(file) - 84 - 50 * int(struct.unpack_from("<I", file, 80)[0])


TARGETS: Final = (
    Sample(svg.TARGET, known=[ExpectedValue(_rings_radius, 24.0, "the radius of the ring", within=1e-3)], reads=strokes_in),
    Sample(png.TARGET, known=[_begins(_PNG)]),
    Sample(
        csv.TARGET,
        known=[
            ExpectedValue(
                lambda target: len(re.findall(rb"\r\n", _file(target))),
                _ring().x.size + 1,
                "RFC 4180: a header, and one line per sample",
            )
        ],
        reads=axes_in,
    ),
    Sample(
        rs274.TARGET,
        known=[
            ExpectedValue(
                lambda target: _file(target).split()[-1] == b"M2", True, "NISTIR 6556 (2000), 3.6.1: a program ends with M2"
            )
        ],
        reads=moves_in,
    ),
    Sample(
        moves.TARGET,
        known=[
            ExpectedValue(
                lambda target: float(rows_in(_file(target))[0][:, 0].max()),
                24.0,
                "the position of the slide",
            )
        ],
        reads=rows_in,
    ),
    Sample(text.TARGET, known=[ExpectedValue(lambda target: b"24 mm" in _file(target), True, "the position of the slide")]),
    Sample(relief.TARGET, known=[_begins(_PNG)]),
    Sample(page.TARGET, known=[_begins(b"<!doctype html>")]),
    Sample(
        stl.TARGET,
        known=[ExpectedValue(_triangles, 0, "binary STL: 84 bytes, and 50 bytes for each triangle of its count")],
        reads=corners_in_stl,
    ),
    Sample(
        threemf.TARGET,
        known=[_begins(b"PK\x03\x04")],
        reads=corners_in_3mf,
    ),
)
"""Samples of the built-in targets."""
