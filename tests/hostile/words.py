"""Numbers and texts at the edges of what readers expect, and ways to spoil bytes; every generator draws from these."""

from __future__ import annotations

import re
from random import Random

__all__ = ["number", "spoiled", "text"]

NUMBERS = (
    "0",
    "-0",
    "0.0",
    "1",
    "-1",
    "2",
    "3",
    "7",
    "0.5",
    "1e-320",
    "5e-324",
    "1e-300",
    "1e-40",
    "1e-12",
    "1e-9",
    "1e-6",
    "0.001",
    "-0.001",
    "10",
    "100",
    "359.9999999999",
    "360",
    "1000",
    "9999.999",
    "1e5",
    "999999",
    "1000000",
    "1e6",
    "-1e6",
    "1000001",
    "1e9",
    "1e12",
    "1e15",
    "1e16",
    "1e100",
    "1e154",
    "1e200",
    "1e308",
    "-1e308",
    "1.7976931348623157e308",
    "1e309",
    "1e9999999",
    "1e-9999999",
    "nan",
    "inf",
    "-inf",
    "2147483647",
    "2147483648",
    "-2147483649",
    "4294967296",
    "9223372036854775807",
    "9223372036854775808",
    "18446744073709551616",
    "1" + "0" * 60,
    "0." + "3" * 60,
    "0.30000000000000004",
    "33.333333333333336",
)
TEXTS = (
    "",
    " ",
    "\x00",
    "\n",
    "\r\n",
    "\x1b[2J",
    "\x9b31m",
    "\u202ecba\u2066",
    "\ufeff",
    "\u200d",
    "\U0001f480",
    "e\u0301" * 20,
    "\ud7ff",
    "a" * 40,
    "a" * 299,
    "a" * 301,
    "A" * 20_000,
    "'",
    '"',
    "\\",
    "\\u0000",
    "%s%n",
    "{0}",
    "${x}",
    "../../etc/passwd",
    "/dev/zero",
    "/dev/stdin",
    "CON",
    "=1+1",
    "-1",
    "+1",
    "@x",
    "'",
    ";",
    "(G0 Z-9)",
    "%",
    "0x1F",
    "1_000",
    "1e3",
    "1/3",
    "1 1/2",
    "-3/4",
    "1/0",
    "0/5",
    "1/" + "9" * 60,
    "100 %",
    "66.67 %",
    "-0 %",
    "1 mm",
    "1e-30 mm",
    "2 in",
    "3/8 in",
    "9e5 mm",
    "1 deg",
    "1/3 turn",
    "1e6 turns",
    "1/2 lobe",
    "-5/32 lobe",
    "1 lobe + 2 deg",
    " + ",
    "1 deg + ",
    "3 turns and 2 holes of 18",
    "8 holes of 96",
    "15 holes",
    "16 turns 4 div",
    "5 div",
    "400/mm",
    "3200/turn",
    "600 mm/min",
    "12 rpm",
    "0 rpm",
    "720 deg/s2",
    "piece",
    "spindle",
    "x",
    "z",
    "cam 1",
    "cam 2",
    "cam 999999",
    "cam",
    "name.phase",
    ".",
    "a.b",
    "cam 1.phase",
    "wave",
    "nothing",
    "None",
    "null",
    "true",
    "vase.svg",
    "vase.dxf",
    "bench.toml",
    "lid.toml",
)


def number(random: Random) -> str:
    """Return a number as it is written."""
    way = random.random()
    if way < 0.6:
        return random.choice(NUMBERS)
    if way < 0.8:
        return repr(random.choice((-1, 1)) * 10 ** random.uniform(-12, 12))
    return str(random.randint(-(10 ** random.randint(0, 12)), 10 ** random.randint(0, 12)))


def text(random: Random) -> str:
    """Return a text."""
    if random.random() < 0.85:
        return random.choice(TEXTS)
    return "".join(
        chr(random.choice((random.randint(32, 126), random.randint(0, 0x2FF), random.randint(0x2000, 0x20FF)))) for _ in range(9)
    )


def spoiled(random: Random, data: bytes, others: tuple[bytes, ...] = ()) -> bytes:
    """Return bytes with a few of them changed, taken out, put in, doubled, cut off, or exchanged for a piece of another input."""
    out = bytearray(data)
    for _ in range(random.choice((1, 1, 1, 2, 3, 8))):
        size = len(out)
        at = random.randint(0, max(0, size - 1))
        end = min(size, at + random.choice((1, 1, 2, 5, 20, 100, 1000)))
        way = random.randint(0, 7)
        if way == 0 and size:
            out[at] ^= 1 << random.randint(0, 7)
        elif way == 1:
            del out[at:end]
        elif way == 2:
            out[at:at] = bytes(
                random.choice((0, 9, 10, 13, 26, 27, 34, 39, 46, 48, 91, 93, 123, 125, 128, 255))
                for _ in range(random.randint(1, 4))
            )
        elif way == 3:
            out[at:at] = out[at:end] * random.choice((1, 2, 10, 100))
        elif way == 4 and random.random() < 0.3:
            del out[at:]
        elif way == 5 and others:
            other = random.choice(others)
            start = random.randint(0, max(0, len(other) - 1))
            out[at:end] = other[start : start + random.choice((5, 50, 500))]
        elif way == 6:
            found = [each.span() for each in re.finditer(rb"-?\d+(\.\d+)?", bytes(out))]
            if found:
                first, last = random.choice(found)
                out[first:last] = number(random).encode()
        else:
            out[at:at] = text(random).encode("utf-8", "replace")
    return bytes(out[:3_000_000])
