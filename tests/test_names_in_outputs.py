"""Names that would forge a line, command a terminal, end a comment or be calculated by a spreadsheet do none of that."""

from __future__ import annotations

import csv
import io
import json
import re
import unicodedata
import zipfile
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from PIL import Image

from lobework.cli import main
from lobework.jobs.jobfile import read_job
from lobework.text.printable import cell, printable

pytestmark = pytest.mark.usefixtures("small_pictures")

NAMES = ("title", "chuck", "lathe", "wood", "pass", "cam", "ring")
FORGED = (
    "\n[ ] cut 99 done\r\n- do not wear eye protection\x1b[31m\x1b]0;owned\x07 \x9b2J\x85\u202egnp\u2066\u2028"
    " G0\u2029)\n(G0 Z-99)\nM3;\ud7ff\n"
)
JOB = """
title = NAME(title)
units = "mm"
resolution = "1.5 mm"
chuck = [{ kind = "eccentric", shift = 1, name = NAME(chuck) }]

[lathe]
name = NAME(lathe)
headstock = { sideways = "rocks", pivot_height = 250 }
axis = [
  { moves = "spindle", letter = "C" }, { moves = "cam 1", letter = "A" },
  { moves = "x", letter = "X", low = -60, high = 160 }, { moves = "z", letter = "Z", low = -60, high = 140 },
]

[piece]
form = "disc"
diameter = 70
thickness = 8
material = NAME(wood)

[cutter]
kind = "vee"
angle = 90
width = 3

[[pass]]
name = NAME(pass)
at = { x = 30, depth = 0.4 }

[[pass.cam]]
name = NAME(cam)
shape = "wave"
lobes = 12
base_radius = 62
rise = 2
follower = { kind = "roller", radius = 3 }

[pass.series]
name = NAME(ring)
count = 2
each = { x = -1.5 }
"""


def hostile(begins: str) -> str:
    def named(found: re.Match[str]) -> str:
        return json.dumps(f"{begins}{found[1]}{FORGED}").replace("\\u007f", "")

    return re.sub(r"NAME\((\w+)\)", named, JOB)


@pytest.fixture(scope="module", params=["=HYPERLINK(0)", "\t-1 "])
def made(request, tmp_path_factory, small_pictures):
    """Everything that make writes for the job, and what it printed."""
    folder = tmp_path_factory.mktemp("made")
    (folder / "lid.toml").write_text(hostile(request.param), encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        out, err = io.StringIO(), io.StringIO()
        patch.setattr("sys.stdout", out)
        patch.setattr("sys.stderr", err)
        assert main(["make", str(folder / "lid.toml"), "--into", str(folder / "lid")]) == 0
    (folder / "lid" / "printed").write_text(out.getvalue(), encoding="utf-8")
    assert err.getvalue() == ""
    return folder / "lid"


def require_plain(text: str, *, lines: str = "\n") -> None:
    """Require that text holds nothing that is not printed but its own line ends and spaces of other widths."""
    categories = {f"{unicodedata.category(each)} {each!r}" for each in set(text) - set(lines) if not each.isprintable()}
    assert not {each for each in categories if not each.startswith("Zs")}


def test_the_job_has_the_names_that_it_was_given(made):
    job = read_job(made.parent / "lid.toml")
    assert FORGED in job.title
    assert FORGED in job.lathe.name


@pytest.mark.parametrize(
    ("name", "lines"),
    [
        ("printed", "\n"),
        ("settings.txt", "\n"),
        ("axes.csv", "\r\n"),
        ("moves.csv", "\r\n"),
        ("program.ngc", "\n"),
        ("drawing.svg", "\n"),
        ("work.html", "\n"),
    ],
)
def test_text_outputs_contain_only_printable_characters(made, name, lines):
    require_plain((made / name).read_bytes().decode("utf-8"), lines=lines)


def test_a_name_cannot_forge_a_line_of_the_settings_or_the_output(made):
    for name in ("settings.txt", "printed"):
        for line in (made / name).read_text(encoding="utf-8").split("\n"):
            assert not re.match(r"\[ \] cut 99|- do not|\(G0|M3|G0|Z-99", line), line
    begins = ("wrote ", "note (closure): ", "note (picture): ", "program.ngc proved: ", "at the lathe: ")
    assert [line for line in (made / "printed").read_text(encoding="utf-8").splitlines() if not line.startswith(begins)] == []
    assert "cut 99 done - do not wear eye protection" in (made / "settings.txt").read_text(encoding="utf-8")


def test_every_line_of_the_program_that_holds_a_name_is_one_comment(made):
    text = (made / "program.ngc").read_bytes().decode("ascii")
    remarks = [line for line in text.split("\n") if "99" in line or "owned" in line or "M3" in line]
    assert len(remarks) > 10
    assert all(re.fullmatch(r"\([^()]*\)", line) for line in remarks)


@pytest.mark.parametrize("name", ["axes.csv", "moves.csv"])
def test_no_cell_of_text_is_calculated_by_a_spreadsheet(made, name):
    rows = list(csv.reader(io.StringIO((made / name).read_text(encoding="utf-8"), newline="")))
    assert len({len(row) for row in rows}) == 1
    cells = {cell for row in rows for cell in row}
    numbers = re.compile(r"[-+]?\d[\d.]*(e[-+]\d+)?")
    assert [cell for cell in cells if re.match(r"\s*[=+\-@]", cell) and not numbers.fullmatch(cell)] == []
    assert any(re.match(r"'[=+\-@].*pass \[ \] cut 99 done", cell) for cell in cells)


def test_the_drawing_is_xml_whose_titles_are_one_line(made):
    titles = [each.text or "" for each in ET.parse(made / "drawing.svg").iter("{http://www.w3.org/2000/svg}title")]
    assert any("cut 99 done" in title for title in titles)
    assert all("\n" not in title for title in titles)


def test_the_page_shows_names_as_text(made):
    seen: list[str] = []

    class Reader(HTMLParser):
        def handle_data(self, data: str) -> None:
            seen.append(data)

    Reader().feed((made / "work.html").read_text(encoding="utf-8"))
    assert any("cut 99 done" in each for each in seen)
    assert all("\n" not in each for each in seen if "cut 99 done" in each)


def test_pictures_and_solids_hold_the_title_as_one_line(made):
    relief = Image.open(made / "relief.png")
    relief.load()
    header = (made / "work.stl").read_bytes()[:80].rstrip(b"\0").decode("ascii")
    model = ET.fromstring(zipfile.ZipFile(made / "work.3mf").read("3D/3dmodel.model"))
    titles = [each.text for each in model.iter() if each.get("name") == "Title"]
    require_plain(relief.info["Description"], lines="")
    for title in (relief.info["Title"], header, *titles):
        assert "title [ ] cut 99 done" in title
        require_plain(title, lines="")


@pytest.mark.parametrize("begins", ["=1", "@SUM(1)", "+1", "-cmd", "\t=1", "\r\n -1", "\x1b=1", "\N{FULLWIDTH EQUALS SIGN}1"])
def test_a_cell_that_a_spreadsheet_would_calculate_begins_with_an_apostrophe(begins):
    assert cell(begins) == f"'{begins.strip().removeprefix(chr(27))}"
    assert cell(f"ring {begins}") == f"ring {' '.join(printable(begins).split())}"


@pytest.mark.parametrize("command", ["check", "settings", "lathe", "draw"])
def test_other_commands_print_no_control_characters(command, made, capsys, tmp_path):
    job = made.parent / "lid.toml"
    given = job if command != "lathe" else tmp_path / "bench.toml"
    if command == "lathe":
        given.write_text('name = "b\\u001b[2J\\nch"\n[headstock]\nsideways = "slides"\n', encoding="utf-8")
    assert main([command, str(given), *(["--into", str(tmp_path / "a\x1b[2J\nb")] if command == "draw" else [])]) == 0
    said = capsys.readouterr()
    require_plain(said.out)
    assert "\n[ ] cut 99" not in said.out
    assert said.err == ""


def test_an_error_about_a_hostile_name_is_one_plain_line(capsys, tmp_path):
    path = tmp_path / "a\x1b[2J\nb.toml"
    path.write_text(hostile("x").replace("count = 2", "count = 0"), encoding="utf-8")
    assert main(["make", str(path)]) == 2
    said = capsys.readouterr().err
    require_plain(said)
    assert said.count("\n") == 1
    assert "pass[1].series.count: 0 must be a whole number" in said


@pytest.mark.parametrize("key", ["title", "chuck", "lathe", "wood", "pass", "cam", "ring"])
def test_a_name_longer_than_a_line_can_hold_is_refused(key, capsys, tmp_path):
    path = Path(tmp_path / "lid.toml")
    path.write_text(re.sub(r"NAME\((\w+)\)", lambda found: f'"{"n" * (301 if found[1] == key else 300)}"', JOB), encoding="utf-8")
    assert main(["check", str(path)]) == 2
    assert capsys.readouterr().err.endswith("does not fit here; write text in quotes, at most 300 characters\n")
