"""SVG drawings that are hostile."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from random import Random

from lobework.geometry.outline import read_outline
from tests.hostile.words import number, spoiled, text

__all__ = ["read", "svg"]

SAMPLES = (
    b"""<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" width="50mm" height="70mm" viewBox="0 0 50 70">
<g transform="translate(3 -2) rotate(5)">
<path id="side" d="M18 0 C40 10 0 40 22 60 l1 1 h2 v3 q1 2 3 4 t1 1 a5 6 10 0 1 3 2"/></g></svg>""",
    b"""<svg xmlns="http://www.w3.org/2000/svg" width="4in" viewBox="0 0 4 4">
<polyline points="0,0 1,2 3,3.5"/><line x1="0" y1="0" x2="3" y2="1"/></svg>""",
    b"""<!DOCTYPE svg [<!ENTITY a "1 2"><!ENTITY ns "http://www.w3.org/2000/svg">]>
<svg xmlns="&ns;"><polyline points="&a; 3 4"/></svg>""",
    b"""<svg xmlns="http://www.w3.org/2000/svg" height="70px">
<g><g transform="matrix(1 0 0 1 2 3)"><path d="M0 0L1 1M2 2L3 3Z"/></g></g></svg>""",
)
SIZES = (
    "50%",
    "100%",
    "auto",
    "1e999mm",
    "1e9999999mm",
    "-1mm",
    "0",
    "1mm",
    "9" * 50,
    "5 furlongs",
    "1e-12in",
    "4in",
    "",
    " 3 cm ",
    "nan",
)
TRANSFORMS = ("translate", "scale", "rotate", "skewX", "skewY", "matrix", "turn", "")


@cache
def _path() -> Path:
    return Path(tempfile.mkdtemp(prefix="hostile-svg-")) / "vase.svg"


def svg(random: Random) -> Iterator[bytes]:
    """Yield drawings without end."""
    while True:
        way = random.random()
        if way < 0.35:
            yield spoiled(random, random.choice(SAMPLES), SAMPLES)
        elif way < 0.6:
            yield _renumbered(random, random.choice(SAMPLES).decode()).encode("utf-8", "replace")
        else:
            yield _grown(random).encode(random.choice(("utf-8",) * 9 + ("utf-16",)), "replace")


def _renumbered(random: Random, sample: str) -> str:
    share = random.choice((0.02, 0.1, 0.3, 1.0))
    return re.sub(r"(?<![\w/.])-?\d+(\.\d+)?", lambda found: number(random) if random.random() < share else found[0], sample)


def _grown(random: Random) -> str:
    few = random.choice((3, 30, 300, 3000)) if random.random() < 0.05 else random.randint(1, 3)
    inside = "".join(_element(random) for _ in range(few))
    for _ in range(random.choice((0, 0, 0, 1, 2, 3, random.choice((99, 150))))):
        inside = f"<g {_transform(random)}>{inside}</g>"
    sizes = " ".join(f'{name}="{random.choice(SIZES)}"' for name in ("width", "height") if random.random() < 0.15)
    box = f'viewBox="{_numbers(random, random.choice((4, 4, 4, 3, 5)))}"' if random.random() < 0.1 else ""
    return f'<svg xmlns="http://www.w3.org/2000/svg" {sizes} {box}>{inside}</svg>'


def _numbers(random: Random, count: int) -> str:
    tame = random.random() < 0.95
    between = random.choice((" ", ",", ", ", "  ", "\n"))
    return between.join(f"{random.uniform(-50, 50):.{random.randint(0, 4)}f}" if tame else number(random) for _ in range(count))


def _transform(random: Random) -> str:
    if random.random() < 0.5:
        return ""
    many = 60 if random.random() < 0.02 else random.randint(1, 2)
    kinds = (f"{random.choice(TRANSFORMS)}({_numbers(random, random.choice((1, 2, 2, 3, 6)))})" for _ in range(many))
    return f'transform="{random.choice((" ", ",", "")).join(kinds)}"'


def _element(random: Random) -> str:
    many = random.choice((50, 5000)) if random.random() < 0.01 else random.randint(1, 6)
    name = re.sub(r"[<&\"\x00-\x1f]", "", text(random)) if random.random() < 0.3 else ""
    known = f'id="{name}" ' if name else ""
    if random.random() < 0.6:
        steps = ("M", 2), ("L", 2), ("H", 1), ("V", 1), ("C", 6), ("S", 4), ("Q", 4), ("T", 2), ("A", 0), ("Z", 0)
        data = [f"M{_numbers(random, 2)}"]
        for _ in range(many):
            letter, count = random.choice(steps)
            given = (
                _numbers(random, count)
                if letter != "A"
                else f"{_numbers(random, 3)} {random.randint(0, 1)} {random.randint(0, 1)} {_numbers(random, 2)}"
            )
            data.append(f"{random.choice((letter, letter.lower()))}{given}")
        return f'<path {known}{_transform(random)} d="{" ".join(data)}"/>'
    if random.random() < 0.7:
        return f'<polyline {known}points="{_numbers(random, 2 * many + (random.random() < 0.05))}"/>'
    ends = " ".join(f'{each}="{_numbers(random, 1)}"' for each in ("x1", "y1", "x2", "y2") if random.random() < 0.9)
    return f"<line {known}{ends}/>"


def read(data: bytes) -> None:
    """Read a drawing, and a curve of it that it may not hold."""
    _path().write_bytes(data)
    curve = read_outline(_path())
    assert 2 <= len(curve.points) <= 20_000, len(curve.points)
