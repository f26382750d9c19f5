"""Hostile TOML: shipped files spoiled byte by byte, line by line and key by key, and files grown from the schema."""

from __future__ import annotations

import copy
import json
import re
import tomllib
from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, time
from functools import cache
from random import Random
from typing import Any

from tests.hostile.words import NUMBERS, number, spoiled, text

__all__ = ["hostile_toml", "written"]

LONG = 60_000
ODD = (
    "{a=1," * 50,
    "[" * 200 + "]" * 200,
    ".".join("a" * 40),
    "a." * 3000 + "b",
    "0x" + "f" * 5000,
    "9" * 5000,
    "0b" + "1" * 300,
    "0o7",
    "1979-05-27T07:32:00Z",
    "1979-05-27",
    "07:32:00.999999",
    "1979-05-27T07:32:00+99:99",
    "'''a\n'''",
    '"""\\\n  a"""',
    '"\\ud800"',
    '"\\U00110000"',
    "+inf",
    "-nan",
    "1__0",
    "01",
    "1.",
    ".1",
    "1e",
    "tru",
    "{}",
    "[]",
    "[[]]",
    "[{}]",
    "[,]",
    "{a.b.c=1}",
    '"' + "a" * 5000 + '"',
)


def hostile_toml(random: Random, samples: Sequence[str], schema: dict[str, Any]) -> Iterator[bytes]:
    """Yield files without end."""
    raw = tuple(sample.encode() for sample in samples)
    while True:
        sample = random.choice(samples)
        way = random.random()
        if way < 0.1:
            yield spoiled(random, sample.encode(), raw)
        elif way < 0.2:
            yield _lines(random, sample).encode("utf-8", "replace")
        elif way < 0.9:
            change = _changed if way < 0.4 else _varied
            document = change(random, tomllib.loads(sample), _held(tuple(dict.fromkeys(samples))))
            yield written(document).encode("utf-8", "replace")
        else:
            grown = _grown(random, schema, schema.get("$defs", {}), 0)
            yield written(grown if isinstance(grown, dict) else {"a": grown}).encode("utf-8", "replace")


@cache
def _held(samples: tuple[str, ...]) -> tuple[dict[str, Any], ...]:
    return tuple(map(tomllib.loads, samples))


def _lines(random: Random, sample: str) -> str:
    """Return a file with lines doubled, taken out, moved, or given another value."""
    lines = sample.splitlines()
    for _ in range(random.choice((1, 1, 2, 4))):
        at = random.randrange(len(lines))
        way = random.randint(0, 7)
        if way == 0:
            lines.insert(at, lines[random.randrange(len(lines))])
        elif way == 1 and len(lines) > 1:
            del lines[at]
        elif way == 2:
            lines[at : at + 1] = [lines[at]] * random.choice((2, 3, 50))
        elif way == 3:
            start = random.randrange(len(lines))
            lines[at:at] = lines[start : start + random.choice((3, 10, 30))] * random.choice((1, 2, 20))
        elif way == 4 and "=" in lines[at]:
            key = lines[at].partition("=")[0]
            lines[at] = f"{key}= {random.choice((random.choice(ODD), number(random), json.dumps(text(random))))}"
        elif way == 5:
            lines[at] = random.choice(
                (f"{random.choice(ODD)} = 1", f"[{text(random)}]", "[[pass]]", "[pass.series]", "[[axis]]", "\t", "\f")
            )
        elif way == 6:
            lines[at] = lines[at].replace("=", random.choice(("==", ".", "=\n", " ", ".a=")), 1)
        else:
            lines[at : at + 1] = ["# " + "r" * random.choice((1, 10, 10_000))] * random.choice((1, 100))
    return random.choice(("\n", "\n", "\n", "\r\n", "\r")).join(lines)


def _places(document: Any) -> list[tuple[Any, Any]]:
    """Return where each value stands: the table or list that holds it, and its key there."""
    found: list[tuple[Any, Any]] = []
    inside = document.items() if isinstance(document, dict) else enumerate(document) if isinstance(document, list) else ()
    for key, value in inside:
        found.append((document, key))
        found += _places(value)
    return found


def _changed(random: Random, document: dict[str, Any], others: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Return a file's tables with values exchanged for hostile ones, of any type, or keys renamed, dropped or moved."""
    for _ in range(random.choice((1, 1, 1, 2, 3, 6))):
        places = _places(document)
        if not places:
            return document
        owner, key = random.choice(places)
        value, way = owner[key], random.randint(0, 9)
        if way <= 3:
            owner[key] = _Bare(number(random)) if random.random() < 0.7 else text(random)
        elif way == 4:
            owner[key] = _value(random)
        elif way == 5:
            del owner[key]
        elif way == 6 and isinstance(owner, dict):
            owner[random.choice((text(random), f"{key}s", key.upper(), "number", "of"))] = owner.pop(key)
        elif way == 7:
            other, there = random.choice(_places(random.choice(others)))
            owner[key] = copy.deepcopy(other[there])
        elif way == 8 and isinstance(owner, list):
            owner[key:key] = [copy.deepcopy(value) for _ in range(random.choice((1, 2, 12, 300)))]
        else:
            owner[key] = random.choice(([value], {"a": value}, [[value]], [value, value], {}, [], [value] * 300))
    return document


def _varied(random: Random, document: dict[str, Any], others: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Return a file's tables with values that may well be read: near those that stand there, or of the same key elsewhere."""
    for _ in range(random.choice((1, 2, 3, 5))):
        places = _places(document)
        if not places:
            return document
        owner, key = random.choice(places)
        value, alike = owner[key], [other[there] for each in others for other, there in _places(each) if there == key]
        way = random.random()
        if way < 0.25 and isinstance(key, str) and alike:
            owner[key] = copy.deepcopy(random.choice(alike))
        elif isinstance(value, bool):
            owner[key] = not value
        elif isinstance(value, int):
            owner[key] = random.choice((value + 1, value - 1, -value, 0, 1, 2 * value, 10 * value, value / 3))
        elif isinstance(value, float):
            owner[key] = value * random.choice((-1, 0, 0.001, 0.1, 0.5, 0.999999, 1.000001, 1.5, 2, 10, 1000))
        elif isinstance(value, str) and re.search(r"\d", value):
            owner[key] = re.sub(r"\d+", lambda found: str(max(0, int(found[0]) + random.choice((-1, 1, 2, 7)))), value, count=1)
        elif way < 0.4:
            del owner[key]
        elif isinstance(value, list) and value and way < 0.7:
            owner[key] = random.choice((value[::-1], value + value[-1:], value[:-1], random.sample(value, len(value))))
        elif alike:
            owner[key] = copy.deepcopy(random.choice(alike))
    return document


class _Bare(str):
    """Text that is written without quotes."""

    __slots__ = ()


def _value(random: Random) -> Any:
    return random.choice(
        (
            True,
            False,
            date(1979, 5, 27),
            time(7, 32),
            datetime(1979, 5, 27, 7, 32, tzinfo=UTC),
            10**400,
            2**70,
            [],
            {},
            [[1, 2], [3, 4]],
            [text(random)],
            {text(random): text(random)},
            [[float("nan"), 1]],
            [_Bare(number(random)) for _ in range(random.choice((1, 2, 3, 400)))],
            [[_Bare(number(random)), _Bare(number(random))] for _ in range(random.choice((1, 2, 3, 40)))],
            "b" * LONG,
        )
    )


def _grown(random: Random, schema: Any, defs: dict[str, Any], depth: int) -> Any:
    """Return a value that a JSON Schema allows, or nearly, with numbers and texts at their edges."""
    if "$ref" in schema:
        return _grown(random, defs[schema["$ref"].rpartition("/")[2]], defs, depth)
    if random.random() < 0.02 or depth > 12:
        return _value(random)
    for key in ("anyOf", "oneOf"):
        if key in schema:
            return _grown(random, random.choice(schema[key]), defs, depth + 1)
    if "const" in schema or "enum" in schema:
        return schema.get("const", random.choice(schema.get("enum", ["x"])))
    kind = schema.get("type")
    kind = random.choice(kind) if isinstance(kind, list) else kind
    if kind == "object":
        needed = schema.get("required", [])
        return {
            name: _grown(random, each, defs, depth + 1)
            for name, each in schema.get("properties", {}).items()
            if random.random() < (0.97 if name in needed else 0.3)
        }
    if kind == "array":
        least, most = schema.get("minItems", 0), schema.get("maxItems", 4)
        inner = schema.get("items", {"type": "number"})
        return [_grown(random, inner, defs, depth + 1) for _ in range(random.randint(least, max(least, most)))]
    if kind == "boolean":
        return random.random() < 0.5
    if kind == "integer":
        return random.choice((1, 2, 3, 4, 12, 0, -1, 100, 1000, 10**6, 10**9))
    if kind == "number":
        tame = random.random() < 0.7
        return round(random.uniform(0, 60), random.randint(0, 3)) if tame else _Bare(random.choice(NUMBERS))
    if "default" in schema and random.random() < 0.5:
        return schema["default"]
    return random.choice(("plain-bench", "rocking-bench", "1/2", "3/4", "1 deg", "2 mm", text(random)))


def written(document: dict[str, Any]) -> str:
    """Return tables as TOML, under headings where they can be."""
    lines: list[str] = []
    _write(document, "", lines)
    return "\n".join(lines) + "\n"


def _write(document: dict[str, Any], path: str, lines: list[str]) -> None:
    tables: list[tuple[str, Any]] = []
    for key, value in document.items():
        full = f"{path}{_quoted(key)}"
        if isinstance(value, dict) and value:
            tables.append((f"[{full}]", value))
        elif isinstance(value, list) and value and all(isinstance(each, dict) for each in value):
            tables += [(f"[[{full}]]", each) for each in value]
        else:
            lines.append(f"{_quoted(key)} = {_inline(value)}")
    for heading, value in tables:
        lines.append(heading)
        _write(value, heading.strip("[]") + ".", lines)


def _quoted(value: str) -> str:
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _inline(value: Any) -> str:
    if isinstance(value, _Bare):
        return str(value)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_quoted(key)} = {_inline(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_inline, value)) + "]"
    return value.isoformat() if isinstance(value, date | time) else repr(value)
