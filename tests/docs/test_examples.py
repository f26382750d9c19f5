"""The examples: each can be made, the check finds what its comment says, and its drawing fills the piece and stays on it."""

from __future__ import annotations

import re
import runpy
import warnings
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from lobework.jobs.jobfile import read_job
from lobework.plugins import registry

EXAMPLES = Path(__file__).parents[2] / "docs" / "examples"
JOBS = sorted(path.stem for path in EXAMPLES.glob("*.toml"))
SCRIPTS = sorted(path.stem for path in EXAMPLES.glob("*.py"))
SHOWS_A_FINDING = {"wide-roller": ("warning", "bridging")}
CARVED = {
    "barrel-weave", "dome-of-rings", "fluted-bowl", "scalloped-barrel", "shell-medallion", "swirled-knob", "twisted-barrel",
    "winding-vase",
}  # fmt: skip
"""Cut on the side, or by a swung cutter: their tips and lines say little of what is left."""
LINES = {"eight-pointed-star": 4}
"""Of straight lines, so many of which join up."""
OPEN = {"swirled-knob", "twisted-barrel", "winding-vase"}
"""Of flutes and helices that join up with nothing."""
DRAWN = [name for name in JOBS if name not in CARVED]
CLEAN = [name for name in JOBS if name not in SHOWS_A_FINDING]


@cache
def job(name):
    return read_job(EXAMPLES / f"{name}.toml")


@cache
def traces(name):
    return job(name).trace()


def files_of(name):
    """Return each target's file name and contents, as `lobework make` writes them."""
    return {
        target.file: target.render(traces(name).shown(target.shows))
        for target in registry.installed().targets().values()
        if target.name in ("svg", "csv", "rs274", "text")
    }


@pytest.fixture
def in_a_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(script):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return runpy.run_path(str(EXAMPLES / f"{script}.py"))


@pytest.mark.parametrize("name", JOBS)
def test_every_output_of_make_contains_the_job(name):
    files = files_of(name)
    cuts = len(traces(name))
    assert files["drawing.svg"].count(b'class="cut"') >= cuts
    assert len(re.findall(rb"^\(cut \d+:", files["program.ngc"], re.MULTILINE)) == cuts
    assert files["program.ngc"].rstrip().endswith((b"M2", b"M30", b"%"))
    assert len(files["axes.csv"].splitlines()) > sum(trace.u.size for trace in traces(name))
    assert job(name).title.encode() in files["settings.txt"]


@pytest.mark.parametrize("name", CLEAN)
def test_the_check_has_no_more_than_notes(name):
    found = traces(name).check()
    assert [str(finding) for finding in found if finding.level != "note"] == []
    assert {finding.kind for finding in found} <= {"closure", "ratio"}


@pytest.mark.parametrize("name", SHOWS_A_FINDING)
def test_an_example_of_a_finding_gives_exactly_that_finding(name):
    found = [(finding.level, finding.kind) for finding in traces(name).check() if finding.level != "note"]
    assert found == [SHOWS_A_FINDING[name]]
    assert "check" in (EXAMPLES / f"{name}.toml").read_text(encoding="utf-8").splitlines()[0]


@pytest.mark.parametrize("name", DRAWN)
def test_the_cuts_stay_on_the_piece_and_reach_90_percent_of_its_radius(name):
    edge = job(name).piece.diameter / 2
    widest = [job(name).cutter.width_at(-float(trace.z.min())) / 2 for trace in traces(name)]
    reach = [float(np.hypot(trace.x, trace.y).max()) for trace in traces(name)]
    assert max(np.add(reach, widest)) < edge
    assert max(reach) > 0.9 * edge


@pytest.mark.parametrize("name", LINES)
def test_groups_of_lines_join_end_to_start_into_closed_figures(name):
    ends = np.array([[trace.x[k] + 1j * trace.y[k] for k in (0, -1)] for trace in traces(name)]).reshape(-1, LINES[name], 2)
    assert np.abs(ends[:, :, 1] - np.roll(ends[:, :, 0], -1, axis=1)).max() < 1e-9


@pytest.mark.parametrize("name", [name for name in JOBS if name not in LINES and name not in OPEN])
def test_every_cut_ends_where_it_starts(name):
    for trace in traces(name):
        assert np.hypot(trace.x[0] - trace.x[-1], trace.y[0] - trace.y[-1]) < 1e-9


@pytest.mark.parametrize("name", DRAWN)
def test_lines_are_fine_enough_to_be_drawn_as_lines(name):
    """No line is wider than half the least step between rings that its series makes."""
    steps = [abs(series.each["x"]) for item in job(name).passes for series in levels_of(item) if "x" in series.each]
    widest = max(stroke.width for stroke in traces(name).drawing().strokes)
    assert widest <= min(steps, default=1.0) / 2


def test_the_vases_flutes_are_nearly_as_deep_on_its_slopes_as_at_its_waist():
    """A rubber as large as the ball rides on the side: the depth in along x, less what the slope takes."""
    carving = traces("winding-vase")[:2].carve(resolution=0.4, backend="compiled")
    profile = carving.piece.surface.profile(carving.stock.row_positions)
    fluted = (profile[:, 1] < -17) & (profile[:, 1] > -48)
    deepest, slope = carving.depth.max(axis=1)[fluted], profile[fluted, 2]
    assert np.abs(deepest - 1.3 * slope).max() < 0.02
    assert slope.min() < 0.9


def levels_of(item):
    return item.levels() if hasattr(item, "levels") else ()


@pytest.mark.parametrize("name", JOBS)
def test_the_title_fits_on_one_line_of_the_sheet(name):
    drawing = traces(name).drawing()
    assert [words.text for words in drawing.words if words.manner == "title"] == [job(name).title]


def test_ninety_six_centres_lie_on_a_limacon():
    """J. H. Ibbetson, *Specimens in Eccentric Circular Turning*, Specimen X, pp. 168-169: slides out 16 and 12, both wheels
    one of 96 on after each circle. Its pole is 16 off the centre, r = 12 + 32 cos about it (worked out from the two slides)."""
    middles = np.array([[np.ptp(t.x) / 2 + t.x.min(), np.ptp(t.y) / 2 + t.y.min()] for t in traces("ninety-six-circles")])
    set_off = 5.4
    from_pole = middles[:, 0] + 1j * middles[:, 1] - set_off - 16
    turned = 2 * np.pi * np.arange(96) / 96
    assert len({(round(x, 3), round(y, 3)) for x, y in middles}) == 96
    assert np.abs(from_pole + (12 + 32 * np.cos(turned)) * np.exp(-1j * turned)).max() < 2 * job("ninety-six-circles").chord


def test_seven_lobes_at_five_sevenths_show_five():
    """The strongest wave of the radius round the work, by a Fourier transform: 5/7 of seven lobes is five."""
    first = traces("five-from-seven")[0]
    radius, theta = np.hypot(first.x, first.y), np.unwrap(np.arctan2(first.y, first.x))
    order = np.argsort(theta)
    around = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    heard = np.abs(np.fft.rfft(np.interp(around, theta[order], radius[order], period=2 * np.pi)))[1:]
    assert np.argmax(heard) + 1 == 5


def test_ovals_differ_by_the_throw_between_their_half_axes():
    """A. Cayley, Proc. London Math. Soc. 4 (1872), 186-190."""
    first = traces("oval-medallion")[0]
    radius = np.hypot(first.x, first.y)
    assert radius.max() - radius.min() == pytest.approx(7.0, abs=1e-9)


def test_petals_are_cayley_s_quartics():
    """A. Cayley, Proc. London Math. Soc. 4 (1872), 186-190: x = (c - k cos t) cos t, y = c sin t, here with k three turns."""
    first = traces("quartic-flower")[0]
    t = 2 * np.pi * first.u
    cayley = (25.5 - 3 * 2.54 * np.cos(t)) * np.cos(t) - 1j * 25.5 * np.sin(t)
    assert np.abs(first.x + 1j * first.y - cayley).max() < 1e-9


def test_the_centres_of_the_rings_lie_on_a_sphere_inside_the_dome():
    """A sphere of 30 mm about the tilting axis: every ring's middle is 0.45 mm inside it."""
    for trace in traces("dome-of-rings"):
        assert np.sqrt(trace.x**2 + trace.y**2 + (trace.z + 30) ** 2) == pytest.approx(29.55, abs=1e-9)


def test_flutes_on_the_knob_have_an_even_depth_and_a_normal_cutter():
    """Its head is a sphere of 24 mm: every flute is 0.8 mm deep all its way, and the cutter points at the middle."""
    for trace in traces("swirled-knob"):
        from_middle = np.stack([trace.x, trace.y, trace.z + 23.182], axis=-1)
        assert np.linalg.norm(from_middle, axis=-1) == pytest.approx(23.2, abs=1e-9)
        assert trace.pose.rotation[:, :, 2] == pytest.approx(from_middle / 23.2, abs=1e-9)


def test_lobes_lean_most_in_the_middle_of_the_barrel_and_equally_at_its_ends():
    """A third of a turn in 54 mm, eased over a quarter at either end: lobes lean most in the middle, where a part of the way
    takes 4/3 of that part of the angle; common practice, no source."""
    (path,) = traces("twisted-barrel")
    middle = path.motion.axes(np.array([0.0, 1.0, 26.5, 27.5, 53.0, 54.0]))["cam 1"]
    drifted = np.diff(middle.reshape(3, 2)).ravel() - 360
    assert drifted[1] == pytest.approx(4 / 3 * 120 / 54, abs=1e-9)
    assert drifted[0] == pytest.approx(drifted[2], abs=1e-9)
    assert 0 < drifted[0] < 0.1 * drifted[1]
    assert middle[-1] - middle[0] == pytest.approx(54 * 360 + 120)


def test_with_furthest_each_of_two_cams_holds_the_headstock_for_part_of_the_turn():
    motion = traces("furthest-wins")[0].motion
    u = np.linspace(0, 1, 5000)
    broad, fine = (push.at(u) for push in motion.sideways)
    pushed = motion.sideways.at(u)
    assert np.array_equal(pushed, np.minimum(broad, fine))
    assert 0.2 < np.mean(broad < fine) < 0.8


@pytest.mark.parametrize("script", SCRIPTS)
def test_a_script_runs_and_prints_output(script, in_a_folder, capsys):
    run(script)
    assert capsys.readouterr().out.strip()


def test_the_script_of_the_lid_draws_what_its_job_file_draws(in_a_folder):
    run("wave_rings")
    (written,) = in_a_folder.glob("*/drawing.svg")
    assert written.read_bytes() == files_of("wave-rings")["drawing.svg"]


def test_all_expected_examples_exist():
    wanted = {
        "barleycorn",
        "basket-weave",
        "five-from-seven",
        "furthest-wins",
        "ninety-six-circles",
        "oval-medallion",
        "wave-rings",
    }
    assert wanted <= set(JOBS)
    assert SCRIPTS
