"""Lathe files that are hostile: read and printed in plain words."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from random import Random

import lobework
from lobework.jobs.jobfile import lathe_and_units, lathe_schema, starter
from lobework.sheets.lathe_sheet import lathe_sheet
from lobework.targets.text import render_groups
from lobework.text.printable import printable
from tests.hostile.toml import hostile_toml

__all__ = ["lathes", "read"]


@cache
def _samples() -> tuple[str, ...]:
    shipped = sorted((Path(lobework.__file__).parent / "lathes").glob("*.toml"))
    return (starter("lathe"), *(each.read_text(encoding="utf-8") for each in shipped))


@cache
def _path() -> Path:
    return Path(tempfile.mkdtemp(prefix="hostile-lathes-")) / "bench.toml"


_schema = cache(lathe_schema)


def lathes(random: Random) -> Iterator[bytes]:
    """Yield lathe files without end."""
    return hostile_toml(random, _samples(), _schema())


def read(data: bytes) -> None:
    """Read a lathe, and say all that is known of it."""
    _path().write_bytes(data)
    lathe, units = lathe_and_units(_path())
    sheet = render_groups(lathe.name, lathe_sheet(lathe, units))
    assert all(line == printable(line) for line in sheet.split("\n")), sheet
