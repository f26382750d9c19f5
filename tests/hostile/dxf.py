"""DXF drawings that are hostile."""

from __future__ import annotations

import io
import logging
import tempfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from random import Random

import ezdxf

from lobework.geometry.outline import read_outline
from tests.hostile.words import number, spoiled, text

__all__ = ["dxf", "read"]

HEAD, TAIL = "0\nSECTION\n2\nENTITIES\n", "0\nENDSEC\n0\nEOF\n"
CODES = (
    0,
    1,
    2,
    3,
    5,
    6,
    8,
    9,
    10,
    11,
    20,
    21,
    30,
    31,
    40,
    41,
    42,
    43,
    50,
    51,
    62,
    66,
    70,
    71,
    72,
    73,
    74,
    90,
    100,
    102,
    210,
    220,
    230,
    330,
    360,
    1000,
    1001,
    1002,
    1040,
    1071,
)
KINDS = (
    "LINE",
    "ARC",
    "CIRCLE",
    "ELLIPSE",
    "SPLINE",
    "LWPOLYLINE",
    "POLYLINE",
    "VERTEX",
    "SEQEND",
    "INSERT",
    "HATCH",
    "SECTION",
    "ENDSEC",
    "BLOCK",
    "ENDBLK",
    "TABLE",
    "LAYER",
    "EOF",
    "X",
    "",
)


@cache
def _path() -> Path:
    logging.getLogger("ezdxf").addHandler(logging.NullHandler())
    return Path(tempfile.mkdtemp(prefix="hostile-dxf-")) / "vase.dxf"


@cache
def _samples() -> tuple[bytes, ...]:
    """Return whole files of another library: every entity that is read, in an old version and a new one."""
    found = []
    for version in ("R12", "R2010"):
        for kind in range(2):
            document = ezdxf.new(version)
            model = document.modelspace()
            if kind == 0:
                model.add_line((0, 0), (3, 1))
                model.add_arc((0, 0), 5, 10, 60)
                model.add_polyline2d([(0, 0), (1, 2), (3, 3)], dxfattribs={"layer": "side"})
            elif version == "R12":
                model.add_polyline3d([(0, 0, 0), (1, 2, 0), (3, 3, 0)])
            else:
                model.add_lwpolyline([(0, 0, 0.5), (1, 2, 0), (3, 3, -1)], format="xyb")
                model.add_ellipse((0, 0), (5, 0), 0.5, 0, 2, dxfattribs={"layer": "e"})
                model.add_open_spline([(0, 0), (1, 5), (4, 3), (5, 9)], dxfattribs={"layer": "s"})
                model.add_spline([(0, 0), (1, 5), (4, 3)], dxfattribs={"layer": "f"})
            out = io.StringIO()
            document.write(out)
            found.append(out.getvalue().encode())
    return tuple(found)


def dxf(random: Random) -> Iterator[bytes]:
    """Yield drawings without end."""
    while True:
        way = random.random()
        if way < 0.04:
            yield spoiled(random, random.choice(_samples()), _samples())
        elif way < 0.12:
            yield _tags(random, random.choice(_samples()).decode())
        elif way < 0.4:
            yield spoiled(random, _grown(random).encode("utf-8", "replace"))
        else:
            yield _grown(random).encode(random.choice(("utf-8",) * 8 + ("cp1252", "utf-16")), "replace")


def _tags(random: Random, sample: str) -> bytes:
    """Return a file with tags exchanged, taken out, doubled or given other values."""
    lines = sample.splitlines()
    tags = [lines[at : at + 2] for at in range(0, len(lines) - 1, 2)]
    model = next((number for number, tag in enumerate(tags) if tag[1] == "ENTITIES"), 0)
    for _ in range(random.choice((1, 1, 3, 10))):
        at = random.randrange(model if random.random() < 0.7 else 0, len(tags))
        way = random.randint(0, 5)
        if way <= 1:
            tags[at] = [tags[at][0], random.choice((number(random), text(random).replace("\n", " ")))]
        elif way == 2:
            tags[at] = [str(random.choice(CODES)), tags[at][1]]
        elif way == 3 and len(tags) > 1:
            del tags[at]
        elif way == 4:
            tags[at:at] = tags[at : at + random.choice((1, 5, 30))] * random.choice((1, 2, 300))
        else:
            tags[at:at] = [["0", random.choice(KINDS)]] * random.choice((1, 2, 3000))
    return "\n".join(line for tag in tags for line in tag).encode("utf-8", "replace")


def _grown(random: Random) -> str:
    few = random.choice((5, 50, 2000)) if random.random() < 0.02 else random.randint(1, 3)
    unit = (
        f"0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n{random.choice((0, 1, 4, 4, 4, 6, 13, 20, -1))}\n0\nENDSEC\n"
        if random.random() < 0.7
        else ""
    )
    return unit + HEAD + "".join(_entity(random) for _ in range(few)) + TAIL


def _coordinate(random: Random) -> str:
    return f"{random.uniform(-50, 50):.{random.randint(0, 6)}f}" if random.random() < 0.98 else number(random)


def _entity(random: Random) -> str:
    kind = random.choice(KINDS[:9]) if random.random() < 0.95 else random.choice(KINDS)
    layer = "0" if random.random() < 0.7 else random.choice(("side", "e", text(random).replace("\n", " ").replace("\r", " ")))
    tags = [(0, kind), (100, "AcDbEntity"), (8, layer)]
    values = lambda *codes: [(code, _coordinate(random)) for code in codes if random.random() < 0.995]  # noqa: E731
    many = random.choice((40, 1500)) if random.random() < 0.02 else random.randint(1, 5)
    if kind == "LINE":
        tags += [(100, "AcDbLine"), *values(10, 20, 11, 21)]
    elif kind in ("ARC", "CIRCLE"):
        tags += [(100, "AcDbCircle"), *values(10, 20, 40), (100, "AcDbArc"), *values(50, 51)]
    elif kind == "ELLIPSE":
        tags += [(100, "AcDbEllipse"), *values(10, 20, 11, 21, 40, 41, 42)]
    elif kind == "SPLINE":
        degree = random.choice((1, 2, 3, 3, 3, 5, 15, 16, 0, -1, 10**6))
        tags += [(100, "AcDbSpline"), (70, random.choice((8, 0, 1, 12, 4))), (71, degree)]
        if random.random() < 0.6:
            tags += [
                (40, min(max(0, at - abs(degree)), many) if random.random() < 0.95 else number(random))
                for at in range(min(many + abs(degree) + 1, 3000))
            ]
            tags += [(41, _coordinate(random)) for _ in range(many)] if random.random() < 0.2 else []
            tags += [tag for _ in range(many) for tag in values(10, 20, 30)]
        else:
            tags += [tag for _ in range(many) for tag in values(11, 21, 31)]
    elif kind == "LWPOLYLINE":
        tags += [(100, "AcDbPolyline"), (90, random.choice((many, 0, -1, 2**31))), (70, random.randint(0, 2))]
        for _ in range(many):
            tags += [*values(10, 20), *(values(42) if random.random() < 0.3 else [])]
    elif kind == "POLYLINE":
        tags += [(66, 1), (70, random.choice((0, 1, 8, 16, 64, 4))), *values(10, 20, 30)]
        for _ in range(many):
            tags += [
                (0, "VERTEX"),
                (8, layer),
                *values(10, 20),
                *(values(42) if random.random() < 0.3 else []),
                (70, random.choice((0, 0, 16, 32))),
            ]
        tags += [(0, "SEQEND")] if random.random() < 0.95 else []
    if random.random() < 0.1:
        tags += values(210, 220, 230)
    return "".join(f"{code}\n{value}\n" for code, value in tags)


def read(data: bytes) -> None:
    """Read a drawing."""
    _path().write_bytes(data)
    curve = read_outline(_path())
    assert 2 <= len(curve.points) <= 20_000, len(curve.points)
