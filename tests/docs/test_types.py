"""The scripts of the README, of the examples and of the pages pass a strict type checker, as the library itself does."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
BLOCK = re.compile(r"(?:^<!-- (?P<how>\w+)(?:: (?P<file>\S+))? -->\n+)?^```python\n(?P<text>.*?)^```$", re.DOTALL | re.MULTILINE)
LET = "# mypy: allow-untyped-defs, allow-untyped-calls, check-untyped-defs\n"
GOES_ON = ("guide.md",)
"""Pages whose blocks go on from one another: together they are one script."""


def blocks(page):
    return [match.groupdict() for match in BLOCK.finditer(page.read_text(encoding="utf-8"))]


def whole(block):
    """Whether a block of a page is a file, or a script, rather than lines of one that stands elsewhere."""
    return block["how"] != "in"


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """What the checker learns of the library is kept from one check to the next."""
    return tmp_path_factory.mktemp("mypy")


def checked(folder, kept):
    files = sorted(path.name for path in folder.glob("*.py"))
    assert files
    asked = ["--strict", "--config-file", str(ROOT / "pyproject.toml"), "--cache-dir", str(kept)]
    line = [sys.executable, "-m", "mypy", *asked, *files]
    done = subprocess.run(line, cwd=folder, env={"MYPYPATH": str(ROOT / "src")}, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, ""), done.stdout


def test_the_readmes_scripts_and_the_examples_pass_a_strict_type_checker(tmp_path, kept):
    for number, block in enumerate(blocks(ROOT / "README.md")):
        (tmp_path / f"readme_{number}.py").write_text(block["text"], encoding="utf-8")
    for example in (DOCS / "examples").glob("*.py"):
        shutil.copy(example, tmp_path)
    checked(tmp_path, kept)


def test_the_scripts_of_the_pages_pass_a_type_checker_except_for_annotations(tmp_path, kept):
    """A page's functions are left short; whatever they call of the library is checked all the same."""
    for page in sorted(DOCS.glob("*.md")):
        texts = [block["text"] for block in blocks(page) if whole(block)]
        for number, text in enumerate(["\n".join(texts)] if page.name in GOES_ON else texts):
            (tmp_path / f"{page.stem.replace('-', '_')}_{number}.py").write_text(LET + text, encoding="utf-8")
    checked(tmp_path, kept)


def test_a_type_error_is_found(tmp_path, kept):
    (tmp_path / "wrong.py").write_text("import lobework as lw\n\nlw.Roller(radius='3')\n", encoding="utf-8")
    with pytest.raises(AssertionError, match=r'incompatible type "str"'):
        checked(tmp_path, kept)


TYPED = """
import lobework as lw

cam = lw.MotionLaw(law="harmonic", lobes=3, base_radius=40, rise=6, rise_part="1/4", fall_part=0.25)
drive = lw.Drive(cam, follower=lw.Roller(3), ratio="75 %", phase="1/2 lobe", index=90, twist=lw.Twist(angle="90 deg", over=50))
ring = lw.Pass(turns="3/2", spindle="1/4 turn", at=lw.At(x=24), cams=[drive])
lathe = lw.Lathe(
    name="bench",
    headstock=lw.Headstock(sideways="rocks", pivot_height=250, followers=["front"]),
    axes=[lw.Axis(moves="x", letter="X")],
    cams=[lw.CamShaft(number=1, turned_by="gears", wheels=[20, 30, 40])],
)
chucks = lw.PlainChuck(index="1/4 turn", wheel=lw.Wheel([96])), lw.Oval(throw=5, swings="1/2"), lw.Dome(tilt_deg=10, index=30)
for chuck in chucks:
    lathe = lathe.mount(chuck, name=chuck.kind)
goblet = lw.Turned(profile=[(0, 20), (-20, 25), (-40, 15)])
way = lw.Template(points=[(0, 20), (-30, 25)])
job = lw.Job(lathe=lathe, piece=goblet, cutter=lw.Profiled(points=[(0, 0), (0.5, 2)]), passes=[ring.series(3, x=-0.5)])
ratio: float = float(drive.ratio + cam.rise_part)
turned: lw.Phase = drive.phase + ring.spindle
first: lw.Drive = ring.cams[0]
"""


def test_numbers_may_be_written_as_the_library_reads_them(tmp_path, kept):
    (tmp_path / "typed.py").write_text(TYPED, encoding="utf-8")
    checked(tmp_path, kept)
