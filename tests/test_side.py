"""Jobs cut at the side of the work: the sheet rolled out, the settings, and a program that comes from the side."""

from __future__ import annotations

import itertools
import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lobework.errors import SettingError
from lobework.jobs.job import Job
from lobework.jobs.jobfile import read_lathe
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Pass
from lobework.parts.cam import Wave
from lobework.parts.chuck import EccentricChuck, PlainChuck
from lobework.parts.cutter import Vee
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Barrel, Disc, Turned
from lobework.parts.slide import Approach, At
from lobework.program.program import Dwell, Feed, Feeds, Prompt, Rapid, Timed
from lobework.targets import rs274, svg, text
from tests.search import examples
from tests.strategies import fixed, numbers, rocking, sliding

BARREL = Barrel(diameter=24.0, length=20.0, bore=18.0)
VASE = Turned(profile=((0, 10), (-10, 12), (-20, 9)))
ROUND = math.pi * 24.0
VEE = Vee(angle_deg=90.0, width=2.0)
WAVE = Wave(lobes=4, base_radius=60.0, rise=2.0)


def job(*passes, **given):
    usual = {"lathe": read_lathe("plain-bench"), "piece": BARREL, "cutter": VEE}
    return Job(title="Tide box, barrel", passes=passes, **{**usual, **given})


def ring(x=12.0, z=-6.0, depth=0.4, name="rings", **given):
    return Pass(name=name, at=At(x=x, z=z, depth=depth), **given)


def strokes(*passes, **given):
    return list(job(*passes, **given).drawing().strokes)


@pytest.mark.parametrize("z", [-0.5, -6.0, -19.5])
def test_a_ring_round_a_barrel_is_one_straight_line_across_the_sheet_joined_at_the_seam(z):
    """Common practice, no source."""
    drawn = strokes(ring(z=z))
    assert all(np.ptp(each.points[:, 1]) < 1e-9 for each in drawn)
    assert all(each.points[0, 1] == pytest.approx(z) for each in drawn)
    assert not any(each.closed for each in drawn)
    ends = sorted(x for each in drawn for x in each.points[[0, -1], 0].tolist())
    assert ends == pytest.approx([-ROUND / 2, 0.0, 0.0, ROUND / 2])
    assert sum(np.abs(np.diff(each.points[:, 0])).sum() for each in drawn) == pytest.approx(ROUND)


@given(numbers(-12.0, 12.0).filter(lambda lead: abs(lead) > 0.1), st.integers(1, 4))
@settings(max_examples=examples(20))
def test_a_helix_wraps_round_the_sheet_at_the_angle_of_its_lead(lead, turns):
    """atan(lead / (pi d)) to the way round (common practice, no source). The spindle turns the work from X towards Y, so the
    tip goes round it from Y towards X: to the left on a side seen from outside with Z up."""
    drawn = strokes(ring(z=-10.0, turns=turns, travel=At(z=lead * turns)))
    assert len(drawn) == turns + 1
    for each in drawn:
        run, rise = np.diff(each.points, axis=0).T
        moved = np.abs(run) > 1e-6
        assert (run[moved] < 0).all()
        assert rise[moved] / -run[moved] == pytest.approx(lead / ROUND, rel=1e-5)
    for one, following in itertools.pairwise(drawn):
        assert one.points[-1] == pytest.approx([-ROUND / 2, following.points[0, 1]])
        assert following.points[0, 0] == pytest.approx(ROUND / 2)


def test_a_twisted_flute_has_the_angle_of_a_helix_to_the_axis():
    """atan(pi d (w / 360) / l) for a twist of w over the length l (common practice, no source)."""
    (flute,) = strokes(ring(z=-1.0, turns="1/8", travel=At(z=-18.0)))
    run, rise = flute.points[-1] - flute.points[0]
    assert abs(math.atan2(run, -rise)) == pytest.approx(math.atan(math.pi * 24.0 * (45 / 360) / 18.0))


@given(
    st.sampled_from([fixed(), fixed(EccentricChuck(shift=0.7)), sliding(), rocking(250.0)]),
    st.fractions(Fraction(1, 8), 3, max_denominator=8),
    numbers(-6.0, 6.0),
    st.booleans(),
)
@settings(max_examples=examples(25))
def test_rolling_the_sheet_up_gives_the_path(lathe, turns, travel, waved):
    """Round a cylinder as long as the sheet is wide; strokes go on from each other, through the seam too."""
    cams = (Drive(WAVE, follower=Knife()),) if waved and lathe.headstock.sideways != "fixed" else ()
    one = job(ring(z=-10.0, turns=turns, travel=At(z=travel), cams=cams), lathe=lathe)
    (path,) = one.trace()
    drawn = np.concatenate([each.points for each in one.drawing().strokes])
    assert np.abs(drawn[:, 0]).max() <= ROUND / 2 + 1e-9
    rolled = np.exp(1j * drawn[:, 0] / 12.0)
    ways = (path.x + 1j * path.y) / np.hypot(path.x, path.y)
    near = np.array([np.abs(rolled + 1j * 0 - way).min() for way in ways[::7]])
    assert near.max() < 1e-9
    turned = np.abs(np.angle(rolled[1:] / rolled[:-1])).sum()
    assert turned == pytest.approx(np.abs(np.angle(ways[1:] / ways[:-1])).sum(), abs=1e-6)
    assert np.ptp(drawn[:, 1]) == pytest.approx(np.ptp(path.z), abs=1e-9)


def test_a_path_that_begins_at_the_seam_stays_on_the_sheet():
    half_round = fixed(PlainChuck(index="1/2 turn"))
    drawn = strokes(ring(turns=2, travel=At(z=-3.0)), lathe=half_round)
    points = np.concatenate([each.points for each in drawn])
    assert np.abs(points[:, 0]).max() <= ROUND / 2 + 1e-9
    assert sum(np.abs(np.diff(each.points[:, 0])).sum() for each in drawn) == pytest.approx(2 * ROUND)


def test_a_stroke_on_a_side_has_the_width_of_the_cut():
    """A vee of 90 degrees 0.4 mm deep."""
    assert {round(each.width, 9) for each in strokes(ring())} == {0.8}


def test_with_a_cam_at_the_side_the_width_follows_the_depth():
    """A lift from 0 to 2 mm pushes the side towards the cutter: a cut from 0.4 to 2.4 mm deep, as wide as the vee at most."""
    drawn = strokes(ring(cams=(Drive(WAVE, follower=Knife(), side="back"),)), lathe=sliding())
    widths = sorted(each.width for each in drawn)
    assert widths[-1] == pytest.approx(2.0)
    assert widths[0] == pytest.approx(0.8, abs=0.06)


@pytest.mark.parametrize(("piece", "widest", "long"), [(BARREL, 12.0, 20.0), (VASE, 12.03, 20.7)], ids=["barrel", "turned"])
def test_the_sheet_of_a_side_has_its_outline_and_states_its_orientation(piece, widest, long):
    made = job(ring(x=11.0, z=-3.0), piece=piece).drawing()
    (outline,) = (each for each in made.lines if each.ink == "outline")
    assert np.ptp(outline.points, axis=0) == pytest.approx([2 * math.pi * widest, long], rel=0.01)
    words = [each.text for each in made.words]
    assert "side rolled out, seen from outside, Z up, X in the middle" in " ".join(words).replace("\N{NO-BREAK SPACE}", " ")
    assert made.description.startswith("Side of the work in true millimetres, rolled out: ")
    assert not [each for each in made.lines if each.ink == "accent" and np.abs(each.points).max() <= 2.5]
    for each in [*made.strokes, *made.lines]:
        assert made.left <= each.points[:, 0].min()
        assert each.points[:, 0].max() <= made.left + made.width
    assert b"rolled out" in svg.render(made)


def test_depth_on_a_turned_side_is_along_its_normal():
    """A cone of 1 in 2: a tip sunk by d along X stands d cos(atan(1/2)) deep; a vee of 90 degrees is twice as wide."""
    cone = Turned(profile=((0, 20), (-20, 10)))
    (stroke, _) = strokes(ring(x=15.0, z=-10.0, depth=0.4), piece=cone)
    assert stroke.width == pytest.approx(0.8 * math.cos(math.atan(0.5)), abs=1e-6)
    assert stroke.points[0, 1] == pytest.approx(-math.hypot(10, 5) - 0.4 * math.sin(math.atan(0.5)), abs=1e-6)


def test_the_settings_of_a_side_show_the_zero_and_the_clear_distance():
    said = text.render(job(ring().series(3, z=-3.0, depth=0.1)).settings()).decode()
    lines = [" ".join(line.replace(".", " ").split()) for line in said.splitlines()]
    assert any(line.endswith("z tip at the end of the work: set z to 0 mm") for line in lines)
    assert "clear of the work 5 mm" in lines
    assert not any("face" in line for line in lines if "clear" in line or line.startswith("z "))
    assert "begins at depth 0 4 mm" in lines
    assert "(by program) (by program)" in lines


def test_on_a_lathe_that_cannot_move_x_the_depth_is_set_by_hand():
    turns_only = Lathe(name="bare", headstock=Headstock(sideways="fixed"), axes=(Axis(moves="spindle", letter="C"),))
    one = job(ring().series(2, depth=0.2), lathe=turns_only)
    said = text.render(one.settings()).decode()
    assert "(BY HAND)" in said
    steps = [step for section in one.program().sections for step in section.steps]
    told = [message for step in steps if isinstance(step, Prompt) for message in step.instructions]
    assert "feed the cutter in by hand to x 11.6 mm" in told
    assert "feed the cutter in by hand to x 11.4 mm" in told
    assert "withdraw the cutter by hand, 5 mm clear of the work" in told
    assert not [step for step in steps if isinstance(step, Rapid) and "X" in step.to]


def steps_of(made):
    return [step for section in made.sections for step in section.steps if not isinstance(step, Prompt)]


def test_the_program_of_a_side_approaches_and_withdraws_along_x():
    made = job(ring(depth=0.4).series(2, z=-3.0), feeds=Feeds(clear=3.0)).program()
    assert made.approach == Approach(axis="x", surface=12.0)
    for section in made.sections:
        *_, start, into, stands, cut, away = (step for step in section.steps if not isinstance(step, Prompt))
        assert isinstance(start, Rapid)
        assert "X" not in start.to
        assert into == Feed({"X": 11.6}, 60.0)
        assert stands == Dwell(0.0)
        assert isinstance(cut, Timed)
        assert away == Rapid({"X": 15.0})
    assert steps_of(made)[0] == Rapid({"X": 15.0})
    lines = rs274.render(made).decode("ascii")
    assert "z: tip at the end of the work: set z to 0 mm" in lines
    assert "the tip stands 3 mm off the work" in lines.replace(")\n(- ", " ")


def test_a_face_is_approached_along_z():
    made = job(Pass(name="ring", at=At(x=8.0, depth=0.4)), piece=Disc(diameter=24.0, thickness=4.0)).program()
    assert made.approach == Approach()
    assert steps_of(made)[-1] == Rapid({"Z": 5.0})


def test_turned_work_is_cleared_by_its_widest_place():
    """The curve through 10, 12 and 9 mm swells a little beyond its middle point."""
    made = job(ring(x=9.0, z=-19.0), piece=VASE, feeds=Feeds(clear=2.0)).program()
    z = np.linspace(0.0, VASE.surface.length, 100_001)
    assert steps_of(made)[-1].to["X"] == pytest.approx(VASE.surface.profile(z)[:, 0].max() + 2.0, abs=1e-4)


def test_a_side_that_extends_beyond_clear_is_refused():
    """An eccentric chuck of 4 mm carries the side out by as much; a cam by its lift."""
    off = fixed(EccentricChuck(shift=4.0))
    with pytest.raises(SettingError) as told:
        job(ring(), lathe=off, feeds=Feeds(clear=3.5)).program()
    point = "the outermost point of cut 1 (rings) or of the moving side of the work; raise clear in [program]"
    assert str(told.value) == f"clear=3.5: must be above 4 mm, {point}"
    with pytest.raises(SettingError) as told:
        job(ring(), lathe=off, feeds=Feeds(clear=4.004)).program()
    assert str(told.value) == f"clear=4.004: must be more than 0.005 mm (tolerance and rounding) above 4 mm, {point}"
    assert job(ring(), lathe=off, feeds=Feeds(clear=4.01)).program()
    waved = ring(cams=(Drive(WAVE, follower=Knife(), side="back"),))
    with pytest.raises(SettingError, match=r"clear=1.5: must be above 2 mm, the outermost point of cut 1"):
        job(waved, lathe=sliding(), feeds=Feeds(clear=1.5)).program()


def test_a_pass_that_begins_beyond_clear_is_refused():
    with pytest.raises(SettingError, match="clear=5: must be above 8 mm, the outermost point of cut 1"):
        job(ring(x=20.0, depth=0.0)).program()


@st.composite
def side_jobs(draw):
    """Series at the side of a barrel: on a fixed, sliding or rocking lathe, with and without cams, chucks and plunges."""
    lathe = draw(st.sampled_from([fixed, sliding, lambda *chucks: rocking(250.0, *chucks)]))
    chuck = draw(st.lists(st.builds(EccentricChuck, shift=numbers(-3.0, 3.0)), max_size=1))
    on = lathe(*chuck)
    waves = st.builds(Wave, lobes=st.sampled_from([1, 3, 8]), base_radius=st.just(60.0), rise=numbers(0.1, 4.0))
    cams = st.builds(
        Drive,
        waves,
        follower=st.just(Knife()),
        side=st.sampled_from(["front", "back"]),
        phase=st.sampled_from(["0 turn", "1/6 turn"]),
    )
    cam = draw(st.lists(cams, max_size=1)) if on.headstock.sideways != "fixed" else []
    turns = draw(st.sampled_from([0, Fraction(1, 3), 1, 2]))
    travel = At(z=draw(numbers(-3.0, 3.0)), depth=draw(numbers(-0.5, 0.5))) if turns else At()
    passed = ring(z=draw(numbers(-12.0, -4.0)), depth=draw(numbers(-1.0, 1.5)), turns=turns, travel=travel, cams=cam)
    each = {"z": draw(numbers(-2.0, 2.0)), "depth": draw(numbers(-0.2, 0.2))}
    return job(passed.series(2, each), lathe=on, feeds=Feeds(clear=draw(numbers(0.5, 9.0))), chord=0.02)


@given(side_jobs())
@settings(max_examples=examples(40))
def test_no_rapid_moves_anything_while_the_tip_is_inside_the_clear_distance(one):
    """Every rapid that moves other axes finds the tip clear, and leaves it there; the only other one draws the tip straight
    out to where it is clear. The side itself, wherever cams and chucks carry it, stays inside."""
    try:
        made = one.program()
    except SettingError as refused:
        assert "raise clear in [program]" in str(refused)  # noqa: PT017
        return
    clear = 12.0 + one.feeds.clear
    x = None
    for step in steps_of(made):
        if isinstance(step, Rapid):
            assert step.to == {"X": clear} or (x == clear and "X" not in step.to)
            x = step.to.get("X", x)
        elif isinstance(step, Feed):
            assert x == clear
            assert set(step.to) == {"X"}
            x = step.to["X"]
        elif isinstance(step, Timed):
            x = float(step.places[-1, step.letters.index("X")]) if "X" in step.letters else x
            assert step.places[:, step.letters.index("X")].max() < clear
    assert x == clear
    round_it = np.exp(1j * np.linspace(0.0, 2 * np.pi, 361))
    side = 12.0 * np.stack([round_it.real, round_it.imag, 0 * round_it.real], axis=-1)
    for path in one.trace():
        u = np.linspace(0.0, max(float(path.cut.passed.turns), 1.0), 97)
        work = path.motion.work(u)
        reach = np.einsum("nij,pj->npi", work.rotation, side) + work.shift[:, None]
        assert reach[..., 0].max() < clear
