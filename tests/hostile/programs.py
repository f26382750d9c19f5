"""Bytes that may be given as a program for a controller, and that no reader should be upset by: drawn by chance, without end."""

from __future__ import annotations

import itertools
from functools import cache
from typing import TYPE_CHECKING, Final

from lobework.jobs.job import Job
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Pass
from lobework.parts.cam import Wave
from lobework.parts.camshaft import CamShaft
from lobework.parts.cutter import Pen
from lobework.parts.drive import Drive
from lobework.parts.feeds import Feeds
from lobework.parts.follower import Roller
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Disc
from lobework.parts.slide import At
from lobework.text.printable import printable

if TYPE_CHECKING:
    from collections.abc import Iterator
    from random import Random

__all__ = ["SOUND", "START", "programs", "read"]

SOUND: Final = b"""(MSG, set up the lathe)
M0
G21
G17 G40 G49 G80 G90 G94
G61
G0 Z5
G0 C0 X24
G1 Z-0.3 F60
G4 P0.5
G93
G1 C180 X23.5 F6
G1 C360 X24 F6
G94
G2 X10 Z-1 I3 K4 F20
G0 Z5
M2
"""
_NUMBERS: Final = [
    *(
        "1e400",
        "-1e400",
        "1E5",
        "nan",
        "inf",
        "-inf",
        "0x1F",
        "1_000",
        "1,5",
        ".",
        "-",
        "+",
        "--1",
        "+-1",
        "1.2.3",
        "1 2 3",
        "- 5",
    ),
    *("9" * 30, "9" * 240, "-" + "9" * 200, "0." + "0" * 200 + "1", "1" + "0" * 230, ".5", "5.", "00000007", "-0", "-0.0"),
    *(
        "1/2",
        "[1+2]",
        "#1",
        "#<x>",
        "\u0661\u0662",
        "\uff15",
        "\u2460",
        "\u2212" + "5",
        "\u00bd",
        "1\u00a05",
        "4294967296",
        "-2147483649",
    ),
    *("99999999", "1e-9", "0.0000000001", "179769313486231570000000000000000000000", "2147483647", "9223372036854775807"),
]
_LINES: Final = [
    *(
        "%",
        "%%",
        "/",
        "//G0 X1",
        "(",
        ")",
        "((((((((",
        "(a(b)c)",
        "(MSG",
        "(MSG,)",
        "(msg, ",
        ";",
        ";;",
        "; (",
        "(;)",
        "N",
        "N1",
        "N99999",
    ),
    *(
        "N100000 M0",
        "O100",
        "O<a> if",
        "#1=2",
        "G",
        "M",
        "X",
        "F",
        "G0",
        "G1",
        "G2",
        "G2 X1",
        "G3 R1",
        "G4",
        "G4 P",
        "G4 P-1",
        "G4 P1e9",
    ),
    *(
        "G10 L2 P1 X1",
        "G20",
        "G21",
        "G18",
        "G19",
        "G38.2 Z1",
        "G53 G0 X1",
        "G92 X1",
        "G93",
        "G94",
        "G91",
        "G90",
        "G64 P0.1",
        "G81 R1 Z1",
    ),
    *(
        "G999",
        "G-1",
        "G0.5",
        "G1.0000000001",
        "M0",
        "M1",
        "M2",
        "M6 T1",
        "M30",
        "M60",
        "M98 P1",
        "M0 M1",
        "T99",
        "S-1",
        "D1",
        "H1",
    ),
    *(
        "X1 Y2 Z3 A4 B5 C6",
        "U1 V2 W3",
        "E1",
        "L1",
        "Q1",
        "A9999999999999",
        "G1 C1000000000 F1",
        "G1 X1 F0",
        "G1 X1 F-1",
        "G1 X5 F1e-300",
    ),
    *(
        "G2 X1 Z1 R0.0000001",
        "G2 X24 Z-1 R99999999999",
        "G3 X0 Z0 I0 K0",
        "G2 X20 I99999999",
        "G0 Z99999999999999999999",
        "\ufeffG0 X1",
    ),
]
_ENDS: Final = [b"\n", b"\r", b"\r\n", b"\n\r", b"\0", b"\x0b", b"\x0c", b"\x1a", b"\xe2\x80\xa8", b"", b" "]


def _spliced(random: Random, data: bytes) -> bytes:
    found = bytearray(data)
    for _ in range(random.choice([1, 1, 2, 5, 40])):
        at = random.randrange(len(found) + 1)
        what = random.randrange(6)
        if what == 0:
            found[at : at + random.randint(1, 8)] = b""
        elif what == 1:
            found[at:at] = bytes(random.randrange(256) for _ in range(random.randint(1, 6)))
        elif what == 2:
            found[at:at] = random.choice(_NUMBERS).encode()
        elif what == 3:
            found[at:at] = b"\n" + random.choice(_LINES).encode() + b"\n"
        elif what == 4:
            found[at:at] = bytes([random.choice(b"GMXYZABCFNPSRIJKO%/(); \t\0-+.0123456789")]) * random.choice([1, 2, 3, 300])
        else:
            other = random.randrange(len(found) + 1)
            found[at:at] = found[min(at, other) : max(at, other)][:400]
    return bytes(found)


def _renumbered(random: Random, data: bytes) -> bytes:
    """Return a program with some of its numbers replaced by others, sound or not."""
    words = data.split(b" ")
    for _ in range(random.randint(1, 4)):
        at = random.randrange(len(words))
        words[at] = words[at][:1] + random.choice(_NUMBERS).encode()
    return b" ".join(words)


def _lines(random: Random, data: bytes) -> bytes:
    return random.choice(_ENDS).join(random.choice(_LINES).encode() for _ in range(random.choice([1, 3, 20, 200])))


def _rubbish(random: Random, data: bytes) -> bytes:
    return random.randbytes(random.choice([0, 1, 2, 10, 300, 5000]))


def _encoded(random: Random, data: bytes) -> bytes:
    text = data.decode("ascii", "replace")
    return text.encode(random.choice(["utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-8-sig", "utf-7", "cp037"]), "replace")


def _ended(random: Random, data: bytes) -> bytes:
    return data.replace(b"\n", random.choice(_ENDS))


def _long(random: Random, data: bytes) -> bytes:
    """Return something that is long in one way: a line, a comment, a number, many stops, many lines of nothing."""
    many = random.choice([257, 5_000, 60_000])
    return random.choice(
        [
            b"G1 X1 F1 " + b"(" + b"a" * many + b")\nM2\n",
            b"G0 X" + b"1" * many + b"\nM2\n",
            b"(" * many,
            b"/" * many,
            b"%\n" * many,
            b"M0\n" * (many // 10) + data,
            b"\n" * many + data,
            b" " * many + data,
            b"G91 G1 C360 F1\n" * (many // 60) + b"M2\n",
            b"G21 G90 G61\n" + b"G0 Z5\nG0 X1\n" * (many // 60) + b"M2\n",
            b"G1 X1 X1 F1\n" * (many // 60),
            b"; x\n" * (many // 4) + data,
            b"(MSG, " + b"; ".join([b"a"] * 60) + b")\nM0\n" + data,
        ]
    )


def programs(random: Random) -> Iterator[bytes]:
    """Yield bytes that are no program, or that no user wants, without end."""
    makers = [_spliced, _spliced, _spliced, _renumbered, _renumbered, _lines, _rubbish, _encoded, _ended, _long]
    for _ in itertools.count():
        data = SOUND
        for _ in range(random.choice([1, 1, 2])):
            data = random.choice(makers)(random, data)
        yield data


@cache
def _job() -> Job:
    """Return a job that programs are proved against: one waved ring, led by a slide."""
    axes = (Axis(moves="spindle", letter="C"), Axis(moves="x", letter="X"), Axis(moves="z", letter="Z"))
    lathe = Lathe(
        name="bench", headstock=Headstock(sideways="fixed"), axes=axes, cams=(CamShaft(number=1, turned_by="software"),)
    )
    drive = Drive(Wave(lobes=3, base_radius=60.0, rise=1.0), follower=Roller(2.0))
    ring = Pass(name="ring", at=At(x=24.0, depth=0.3), cams=(drive,))
    piece = Disc(diameter=70.0, thickness=8.0)
    return Job(title="tried", lathe=lathe, piece=piece, cutter=Pen(), passes=(ring,), feeds=Feeds(spindle_rpm=3.0))


def read(data: bytes) -> None:
    """Have the library prove a program; all that it says must be lines."""
    proof = _job().prove(data)
    assert proof.code in (0, 1, 2)
    assert all(line == printable(line) for line in proof.lines())


def START() -> None:  # noqa: N802
    """Load the compiled kernels, and trace the job once."""
    read(SOUND)
