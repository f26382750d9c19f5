"""The guide: every block on it runs, and says what the page says; its pictures are what the library draws."""

from __future__ import annotations

import contextlib
import io
import re
import runpy
import shlex
import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lobework.cli import main
from lobework.plugins import registry

pytestmark = pytest.mark.usefixtures("small_pictures")

DOCS = Path(__file__).parents[2] / "docs"
GUIDE = (DOCS / "guide.md").read_text(encoding="utf-8")
BLOCK = re.compile(
    r"(?:^<!-- (?P<how>file|added to): (?P<file>\S+) -->\n+)?^```(?P<kind>\w*)\n(?P<text>.*?)^```$", re.DOTALL | re.MULTILINE
)
BLOCKS = [match.groupdict() for match in BLOCK.finditer(GUIDE)]
LINKS = [link.partition("#")[0] for link in re.findall(r"\]\(([^)\s]+)\)", GUIDE)]
PICTURES = runpy.run_path(str(DOCS / "pictures" / "draw.py"))["PICTURES"]
WRITES = ("draw", "program", "make", "new")


def said(block, names):
    """Run a block in this folder and return what it prints."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        if block["kind"] == "python":
            exec(compile(block["text"], "guide.md", "exec"), names)
        else:
            for line in block["text"].splitlines():
                prompt, program, *arguments = shlex.split(line)
                assert (prompt, program) == ("$", "lobework")
                assert main(arguments) == (1 if "wide-roller" in line else 0), line
    return out.getvalue()


def dots(png):
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB"), dtype=np.float64)


def keep(block):
    """Save a job file, or add to the one that is there."""
    path = Path(block["file"])
    assert path.exists() == (block["how"] == "added to")
    with path.open("a", encoding="utf-8") as file:
        file.write(("\n" if block["how"] == "added to" else "") + block["text"])


def test_every_block_runs_in_order_and_prints_the_shown_output(tmp_path, monkeypatch):
    shutil.copytree(DOCS / "examples", tmp_path / "examples")
    monkeypatch.chdir(tmp_path)
    names = {"__name__": "guide"}
    last = ""
    for block in BLOCKS:
        if block["kind"] == "text":
            assert last == block["text"]
        elif block["kind"] == "toml":
            keep(block)
        else:
            last = said(block, names)
            assert last or block["kind"] == "python"
    written = {path.name for path in tmp_path.glob("*/*") if path.parent.name in ("ring", "mine")}
    assert written == {"program-air.ngc", *(target.file for target in registry.installed().targets().values())}


def test_every_code_block_is_run():
    assert {block["kind"] for block in BLOCKS} == {"toml", "console", "python", "text"}
    assert GUIDE.count("\n```") == 2 * len(BLOCKS)
    assert all(block["file"] for block in BLOCKS if block["kind"] == "toml")


def test_the_finished_ring_is_the_first_picture(tmp_path):
    """The page builds up the example that its picture shows: apart from title and size, the same cuts."""
    from lobework.jobs.jobfile import read_job

    path = tmp_path / "ring.toml"
    path.write_text("\n".join(block["text"] for block in BLOCKS if block["file"] == "ring.toml"), encoding="utf-8")
    built, shown = read_job(path), read_job(DOCS / "examples" / "five-from-seven.toml")
    assert [cut.passed.at for cut in built.cuts()] == [cut.passed.at for cut in shown.cuts()]
    assert [cut.passed.cams for cut in built.cuts()] == [cut.passed.cams for cut in shown.cuts()]


@pytest.mark.parametrize("link", LINKS)
def test_links_lead_to_existing_files(link):
    assert (DOCS / link).exists()


@pytest.mark.parametrize("file", PICTURES)
def test_a_stored_picture_equals_a_newly_drawn_one(file):
    """To draw them anew: python docs/pictures/draw.py. Light is reckoned in single precision, so dots may differ by rounding."""
    kept = (DOCS / "pictures" / file).read_bytes()
    if file.endswith(".png"):
        apart = dots(kept) - dots(PICTURES[file]())
        assert np.abs(apart).mean() < 0.2
        assert np.abs(apart).max() <= 24
    else:
        assert kept == PICTURES[file]()


def test_every_picture_is_generated_linked_and_small():
    folder = {path.name: path.stat().st_size for path in (DOCS / "pictures").iterdir() if path.suffix in (".svg", ".png")}
    shown = {Path(link).name for link in LINKS if link.startswith("pictures/")} | {"wave-rings.svg"}
    assert set(folder) == set(PICTURES) == shown
    assert sum(folder.values()) < 2_000_000
