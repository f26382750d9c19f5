"""Templates in job files: what may be written, and what each mistake is answered with, on the command line too."""

from __future__ import annotations

import re

import ezdxf
import pytest

from lobework.cli import main
from lobework.errors import InputError
from lobework.jobs.jobfile import job_schema, read_job
from lobework.jobs.jobfile.template import ALLOWED

VASE = [[0, 18], [-12.25, 21.5], [-30, 25.125], [-55, 14]]
JOB = f"""
lathe = "plain-bench"
resolution = 0.5
[piece]
form = "turned"
profile = {VASE}
[cutter]
kind = "ball"
radius = 2
[[pass]]
turns = 0
at = {{ depth = 0.5 }}
template = TEMPLATE
"""
DRAWING = '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="60mm" viewBox="0 0 60 60">INSIDE</svg>'
SIDE = '<polyline id="side" points="18,0 21.5,12.25 25.125,30 14,55"/>'


@pytest.fixture
def job(tmp_path):
    def write(template, instead=("", "")):
        path = tmp_path / "vase.toml"
        path.write_text(JOB.replace("TEMPLATE", template).replace(*instead), encoding="utf-8")
        return path

    (tmp_path / "vase.svg").write_text(DRAWING.replace("INSIDE", SIDE), encoding="utf-8")
    (tmp_path / "two.svg").write_text(DRAWING.replace("INSIDE", f'{SIDE}<line id="axis" y2="60"/>'), encoding="utf-8")
    (tmp_path / "pixels.svg").write_text(DRAWING.replace("INSIDE", SIDE).replace("mm", ""), encoding="utf-8")
    (tmp_path / "cut.svg").write_text(DRAWING[:80], encoding="utf-8")
    document = ezdxf.new("R2010", units=4)
    document.modelspace().add_lwpolyline(VASE)
    document.saveas(tmp_path / "lying.dxf")
    return write


def template(path):
    return read_job(path).passes[0].template


POINTS = tuple((float(z), float(x)) for z, x in VASE)


@pytest.mark.parametrize(
    ("written", "smooth", "source"),
    [
        ("'piece'", True, "the side of the work"),
        ("{ of = 'piece', from = -5, to = '-2 in' }", True, "the side of the work"),
        (f"{{ points = {VASE}, smooth = true }}", True, ""),
        (f"{{ points = {VASE}, rubber = 2 }}", False, ""),
        ("{ file = 'vase.svg' }", False, "vase.svg, side"),
        ("{ file = 'two.svg', curve = 'side', rubber = '2 mm' }", False, "two.svg, side"),
        ("{ file = 'lying.dxf', axis = 'right' }", False, "lying.dxf, 0"),
        ("{ file = 'pixels.svg', unit = '1 mm', from = -5, to = -50 }", False, "pixels.svg, side"),
    ],
)
def test_a_template_is_the_side_of_the_work_points_or_a_curve_of_a_drawing(job, written, smooth, source):
    read = template(job(written))
    assert (read.points, read.smooth, read.source) == (POINTS, smooth, source)
    assert read.start == (-5.0 if "from" in written else None)
    assert read.end == {"'-2 in'": -50.8, "-50 ": -50.0}.get(written.partition("to = ")[2][:7].rstrip("} ") or "", read.end)
    assert read.rubber == (2.0 if "rubber" in written else 0.0)


def test_bare_lengths_are_in_the_units_of_the_file(job):
    inches = ('lathe = "plain-bench"', 'lathe = "plain-bench"\nunits = "inch"')
    assert template(job("{ points = [[0, 0.5], [-1, 0.75]] }", inches)).points == ((0.0, 12.7), (-25.4, 19.05))


def test_assumptions_are_reported_by_the_check_and_on_the_sheet(job, capsys):
    assert main(["check", str(job("{ file = 'pixels.svg' }"))]) in (0, 1)
    shown = capsys.readouterr().out
    assert (
        "note (template): pass 1: pixels.svg, side: the size of the drawing is in pixels, 96 to an inch; "
        "if this is wrong, give the size of its unit, such as unit = '1 mm'"
    ) in shown
    assert main(["settings", str(job("{ file = 'pixels.svg' }"))]) == 0
    assert "the size of the drawing is in pixels, 96 to an inch" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("written", "message"),
    [
        (
            "'vase'",
            f"template: 'vase' does not fit here; write {ALLOWED}",
        ),
        ("{ smooth = true }", "template: neither points nor file; write points, or file, or of = 'piece'"),
        (
            "{ points = [[0, 20], [-5, 21]], file = 'vase.svg' }",
            "template: points and file together; write points, or file, or of = 'piece'",
        ),
        ("{ file = 'vase.svg', smooth = true }", "template.smooth: can only be used with points; remove this key"),
        ("{ of = 'piece', curve = 'side' }", "template.curve: can only be used with file; remove this key"),
        ("{ points = [[0, 20]] }", "template.points: [[0, 20]] must be two points or more"),
        (
            "{ points = [[0, 20], [-5, nan]] }",
            "template.points: nan is not a finite number; write for example '3 mm' or '3/8 in'",
        ),
        (
            "{ points = [[0, 20], [-5, 21], [-5, 21]] }",
            "template.points[3]: (-5.0, 21.0) must be different from the point before it; leave one out",
        ),
        (
            "{ points = [[0, 20], [-5, 21], [-4, 22]] }",
            (
                "template.points[3]: (-4, 22) mm must be below z -5 mm, the position of the previous point; "
                "the template folds back there"
            ),
        ),
        ("{ of = 'piece', from = 4 }", "template.from: 4 must be from -55 mm to 0 mm, the range of the template along z"),
        ("{ of = 'piece', from = -4, to = -4 }", "template.to: -4 must be a position other than that of from"),
        (
            "{ file = 'none.svg' }",
            "template.file: none.svg: there is no such file; its path is relative to the folder of the job file",
        ),
        ("{ file = 'vase.png' }", "template.file: vase.png: is neither .dxf nor .svg; save the drawing as .dxf or .svg"),
        (
            "{ file = 'two.svg' }",
            "template.file: two.svg: holds 2 curves: 'side', 'axis'; write the name of one of them, as in curve = 'side'",
        ),
        ("{ file = 'cut.svg' }", "template.file: cut.svg: is not SVG: unclosed token: line 1, column 0; save the drawing again"),
        ("{ file = 'vase.svg', unit = 0 }", "template.unit: 0.0 must be above zero"),
        (
            "{ file = 'vase.svg', from = 1, to = 2 }",
            "template.from: 1 must be from -55 mm to 0 mm, the range of the template along z",
        ),
        ("{ of = 'piece', rubber = -1 }", "template.rubber: -1 must be zero or more"),
        (
            "{ points = [[0, 20], [-10, 15], [-20, 20]], rubber = 50 }",
            "template.rubber: 50 must be small enough to roll along the template",
        ),
    ],
)
def test_each_error_is_reported_in_one_line_with_its_key(job, capsys, written, message):
    path = job(written)
    assert main(["check", str(path)]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert re.sub(r"^lobework: .*vase\.toml:\d+: pass\[1\]\.", "", line) == message


@pytest.mark.parametrize(
    ("written", "message"),
    [
        ("{ of = 'piece', from = 1 }", "from: 1 must be from -55 in to 0 in, the range of the template along z"),
        (
            "{ points = [[0, 0.5], [-1, 0.7], [-0.5, 0.8]] }",
            "points[3]: (-0.5, 0.8) in must be below z -1 in, the position of the previous point; the template folds back there",
        ),
        (
            "{ points = [[0, 0.5], [-0.5, 0.4], [-1, 0.7]], rubber = -3 }",
            "rubber: -3 must be zero or more",
        ),
    ],
)
def test_an_error_in_an_inch_job_is_reported_in_inches(job, capsys, written, message):
    path = job(written)
    path.write_text(f'units = "inch"\n{path.read_text(encoding="utf-8")}', encoding="utf-8")
    assert main(["check", str(path)]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.partition("pass[1].template.")[2] == message


def test_the_check_reports_the_depth_of_a_hollow_that_a_rubber_misses(job, capsys):
    """Straight down and up at 45 degrees, a circle of 2 mm stands 2 sqrt(2) - 2 = 0.828 mm short of the corner."""
    assert main(["check", str(job("{ points = [[0, 25], [-10, 15], [-20, 25]], rubber = 2 }"))]) == 1
    message = (
        "the rubber bridges the hollow at z -10 mm, and stays 0.828 mm above its bottom; a smaller rubber would reach the bottom"
    )
    assert f"warning (template): pass 1: {message}" in capsys.readouterr().out


def test_a_template_with_a_travel_or_on_a_disc_is_refused(job):
    with pytest.raises(InputError, match=r"pass\[1\]\.travel: .* must be left out if a template is given"):
        read_job(job("'piece'\ntravel = { z = -4 }"))
    disc = (f'form = "turned"\nprofile = {VASE}', 'form = "disc"\ndiameter = 40\nthickness = 5')
    with pytest.raises(
        InputError,
        match=r"pass\[1\]\.template: work of the form 'disc' has no side that a template can follow; "
        r"write points, or name a file",
    ):
        read_job(job("'piece'", disc))


def test_the_schema_knows_templates():
    keys = job_schema()["$defs"]["Template"]["properties"]
    assert set(keys) == {"points", "smooth", "file", "curve", "unit", "axis", "of", "rubber", "from", "to"}
