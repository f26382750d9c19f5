"""The contributors' page: its map shows every room of the house, and no room that is not there."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
SOURCE = ROOT / "src" / "lobework"


def test_the_map_shows_every_module_once_and_no_other():
    rows = [row for row in PAGE.split("| room |")[1].split("\n\n")[0].splitlines() if row.startswith("| `")]
    shown = [name for row in rows for name in re.findall(r"`([a-z0-9]+(?:\.py|/))`", row.split("|")[1])]
    modules = {path.name for path in SOURCE.glob("[a-z]*.py")}
    packages = {f"{path.parent.name}/" for path in SOURCE.glob("*/__init__.py")}
    assert sorted(shown) == sorted(modules | packages)


def test_every_named_command_of_the_ci_folder_exists():
    named = set(re.findall(r"`(\.ci/[a-z-]+)", PAGE))
    assert named
    for name in named:
        assert (ROOT / name).stat().st_mode & 0o111, name
