"""Real programs with one thing wrong in each: every one is caught, by a line that names the place."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

import pytest

from lobework.jobs.job import Job
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Pass
from lobework.parts.cam import Wave
from lobework.parts.chuck import EccentricChuck
from lobework.parts.cutter import Vee
from lobework.parts.drive import Drive
from lobework.parts.feeds import Feeds
from lobework.parts.follower import Roller
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Barrel, Disc
from lobework.parts.slide import At
from lobework.parts.twist import Twist
from lobework.targets.rs274 import render

TOLERANCE = 0.005
LETTERS = (("spindle", "C"), ("cam 1", "A"), ("x", "X"), ("z", "Z"))


def bench(axes=LETTERS, **limits):
    made = [Axis(moves=moves, letter=letter, **limits.get(letter, {})) for moves, letter in axes]
    return Lathe(name="bench", headstock=Headstock(sideways="rocks", endways="pumps", pivot_height=250.0), axes=tuple(made))


def rings(lathe, **feeds):
    """Waved rings, the cam led by a motor: nothing between them is set by hand."""
    drive = Drive(Wave(lobes=5, base_radius=60.0, rise=3.0), ratio=Fraction(3, 2), follower=Roller(3.0))
    ring = Pass(name="rings", turns=2, at=At(x=24.0, depth=0.3), cams=(drive,))
    return Job(
        title="Tide box",
        lathe=lathe,
        piece=Disc(diameter=70.0, thickness=8.0),
        cutter=Vee(angle_deg=90.0, width=3.0),
        passes=(ring.series(3, x=-4.0, phase="1/2 lobe"),),
        feeds=Feeds(spindle_rpm=3.0, **feeds),
    )


def by_hand(**steps):
    """Rings whose phase is set by hand: the cam turns with the spindle, and the program stops for each step."""
    job = rings(bench([each for each in LETTERS if each[1] != "A"]))
    drive = Drive(Wave(lobes=5, base_radius=60.0, rise=3.0), follower=Roller(3.0))
    ring = Pass(name="rings", turns=1, at=At(x=24.0, depth=0.3), cams=(drive,))
    return replace(job, passes=(ring.series(4, phase="1/4 lobe", **steps),))


def written(job):
    return render(job.program()).decode("ascii")


def lines_with(text, pattern):
    """Return the numbers, from 1, of the lines that a pattern finds."""
    return [number for number, line in enumerate(text.splitlines(), 1) if re.search(pattern, line) and line[:1] != "("]


def changed(text, number, old, new):
    lines = text.splitlines()
    assert re.search(old, lines[number - 1])
    lines[number - 1] = re.sub(old, new, lines[number - 1], count=1)
    return "\n".join(lines) + "\n"


def without(text, *numbers):
    return "\n".join(line for number, line in enumerate(text.splitlines(), 1) if number not in numbers) + "\n"


def problems(job, text):
    """Return what the proof of a faulty program says is wrong."""
    proof = job.prove(text.encode("ascii"))
    assert proof.code == (2 if proof.wrong else 1)
    found = [str(each) for each in (*proof.wrong, *proof.problems)]
    assert found
    return found


@pytest.fixture(scope="module")
def job():
    return rings(bench())


@pytest.fixture(scope="module")
def text(job):
    return written(job)


@pytest.mark.parametrize("make", [lambda: rings(bench()), by_hand, lambda: replace(rings(bench()), units="inch")])
def test_the_programs_as_written_are_proved(make):
    job = make()
    proof = job.prove(written(job).encode("ascii"))
    assert proof.proved, str(proof)
    assert proof.deviation.mm <= TOLERANCE


def test_a_deviation_of_0_02_mm_is_found(job, text):
    number = lines_with(text, r"X20\b")[0]
    found = problems(job, changed(text, number, r"X20\b", "X20.02"))
    assert any("off the path of cut 2 (rings 2)" in each and "cuts 0.02 mm" in each for each in found)
    assert any("cut 2 (rings 2): deviates by 0.02 mm" in each for each in found)
    cutting = lines_with(text, r"G1 .*C")[1]
    assert any(f"line {cutting}: " in each for each in found)


def test_a_deviation_within_tolerance_is_proved(job, text):
    number = lines_with(text, r"X20\b")[0]
    proof = job.prove(changed(text, number, r"X20\b", "X20.003").encode())
    assert proof.proved
    assert proof.deviation.cut == 2
    assert proof.deviation.mm == pytest.approx(0.003, abs=0.0003)


def test_a_wrong_depth_is_found(job, text):
    number = lines_with(text, r"Z-0\.3")[1]
    found = problems(job, changed(text, number, r"Z-0\.3", "Z-0.33"))
    assert any("cut 2 (rings 2): deviates by 0.03 mm" in each for each in found)


def test_a_missing_line_is_found(job, text):
    found = problems(job, without(text, lines_with(text, r"G1 .*C")[1]))
    assert any("cut 2 (rings 2): is missing" in each for each in found)


def test_a_missing_section_is_found(job, text):
    begins = [number for number, line in enumerate(text.splitlines(), 1) if re.match(r"\(cut [23]:", line)]
    assert len(begins) == 2
    found = problems(job, without(text, *range(*begins)))
    assert any("cut 2 (rings 2): is missing" in each for each in found)


def test_a_missing_stop_is_found_with_the_settings_to_make():
    job = by_hand()
    text = written(job)
    stops = lines_with(text, r"^M0")
    assert len(stops) == 4
    found = problems(job, without(text, stops[2]))
    (said,) = [each for each in found if "(stop)" in each]
    assert "does not stop before cut 3 (rings 3), where the operator must: set cam 1 phase to 1/2 lobe" in said
    goes_on = lines_with(without(text, stops[2]), r"G1 .*Z-0\.3")[2]
    assert f"line {goes_on}" in said
    (said,) = [each for each in problems(job, changed(text, stops[2], "M0", "M1")) if "(stop)" in each]
    assert f"line {goes_on + 1}" in said


def test_a_reversed_spindle_is_found(job, text):
    number = lines_with(text, r"C720")[0]
    assert any("cut 1 (rings 1)" in each for each in problems(job, changed(text, number, "C720", "C-720")))


def test_millimetres_read_as_inches_are_found_with_the_remedy(job, text):
    found = problems(job, text.replace("G21", "G20"))
    assert any("25.4 times those of the job; if the program began with G21" in each for each in found)


def test_inches_read_as_millimetres_are_found_with_the_remedy(job):
    inch = replace(job, units="inch")
    found = problems(inch, written(inch).replace("G20", "G21"))
    assert any("if the program began with G20, they would agree" in each for each in found)


def test_an_axis_above_its_top_speed_is_found():
    job = rings(bench(A={"top_speed": 30.0}))
    text = written(job)
    number = lines_with(text, r"G1 .*C")[1]
    lines = text.splitlines()
    feed = float(re.search(r"F([0-9.]+)", lines[number - 1])[1])
    found = problems(job, changed(text, number, r"F[0-9.]+", f"F{2 * feed:.6f}"))
    assert any(
        re.search(rf"speed\): line {number}, A: the cam 1 would move at [0-9.]+ deg/s; its top speed is 30 deg/s", each)
        for each in found
    )


def test_an_axis_above_its_acceleration_is_found():
    job = rings(bench(C={"acceleration": 100.0}))
    text = written(job)
    number = next(k for k in lines_with(text, r"G1 .*C") if "F" in text.splitlines()[k - 1])
    found = problems(job, changed(text, number, r"F[0-9.]+", "F900"))
    assert any("(acceleration)" in each and "its limit is 100 deg/s2" in each for each in found)


@pytest.mark.filterwarnings("error")
def test_an_infinite_feed_is_found():
    job = rings(bench(C={"acceleration": 100.0}))
    text = written(job)
    number = lines_with(text, r"^G1 C\d+ .*F")[0]
    found = problems(job, changed(text, number, r"F[\d.]+", "F" + "9" * 200))
    assert any(f"line {number}, C: the spindle would accelerate at infinite deg/s2" in each for each in found), found


@pytest.mark.parametrize("keep", [0.4, 0.7, 0.95])
def test_a_truncated_program_is_found(job, text, keep):
    lines = text.splitlines()
    found = problems(job, "\n".join(lines[: int(len(lines) * keep)]))
    assert any("cut short" in each for each in found)


def test_a_premature_end_is_found(job, text):
    (number,) = [number for number, line in enumerate(text.splitlines(), 1) if line.startswith("(cut 3:")]
    lines = text.splitlines()
    found = problems(job, "\n".join([*lines[: number - 1], "M2", *lines[number - 1 :]]))
    assert any("cut 3 (rings 3): is missing" in each for each in found)


def test_a_fast_move_through_the_wood_is_found(job, text):
    found = problems(job, without(text, *lines_with(text, r"^G0 .*Z")[1:3]))
    assert any("a rapid move goes 0.3 mm deep into the work" in each for each in found)


def test_swapped_axis_letters_are_found(job, text):
    swapped = "\n".join(line if line[:1] == "(" else line.translate(str.maketrans("CA", "AC")) for line in text.splitlines())
    assert any("cuts 1 to 3: are missing" in each for each in problems(job, swapped + "\n"))


def test_an_axis_that_the_lathe_lacks_is_reported_with_the_axes_of_the_lathe(job, text):
    number = lines_with(text, r"G1 .*C")[0]
    found = problems(job, changed(text, number, "C720", "Y3 C720"))
    assert len(found) == 1
    assert found[0].startswith(f"line {number}: ")
    assert "lathe 'bench' has no axis Y; it has: C spindle, A cam 1, X x, Z z" in found[0]


def test_a_slide_beyond_its_travel_is_found(text):
    job = rings(bench(X={"high": 23.0}))
    found = problems(job, text)
    number = lines_with(text, r"X24\b")[0]
    assert f"problem (travel): line {number}, X: goes to 24 mm; the travel of X ends at 23 mm" in found
    in_inches = [str(each) for each in replace(job, units="inch").prove(text.encode()).problems]
    assert f"problem (travel): line {number}, X: goes to 0.9449 in; the travel of X ends at 0.9055 in" in in_inches


def test_an_axis_that_is_never_moved_is_found(job, text):
    silent = "\n".join(line if line[:1] == "(" else re.sub(r" ?A[-0-9.]+", "", line) for line in text.splitlines())
    assert any("A: is never moved, but the job needs it to move the cam 1" in each for each in problems(job, silent + "\n"))


def test_a_cut_that_is_not_in_the_job_is_found(job, text):
    lines = text.splitlines()
    more = ["G0 X5", "G1 Z-0.3 F60", "G1 C1080 F720", "G0 Z5"]
    found = problems(job, "\n".join([*lines[:-1], *more, "M2"]))
    assert any(f"line {len(lines) + 2}: cuts" in each for each in found)


def test_half_a_millimetre_or_degree_in_any_word_of_a_feed_move_is_found(job, text):
    caught = 0
    for number, line in enumerate(text.splitlines(), 1):
        if line.startswith("G1") and (word := re.search(r"[XZCA](-?[0-9.]+)", line)):
            moved = text.splitlines()
            moved[number - 1] = line.replace(word[0], f"{word[0][0]}{float(word[1]) + 0.5:.6f}", 1)
            assert not job.prove(("\n".join(moved) + "\n").encode()).proved, line
            caught += 1
    assert caught >= 6


def test_index_work_cut_twice_at_one_position_is_found():
    """The same moves at every index: only the stop tells them apart."""
    lathe = replace(bench(), chucks=()).mount(EccentricChuck(shift=12.0))
    circle = Pass(name="circles", at=At(x=6.0, depth=0.2))
    job = replace(rings(lathe), passes=(circle.series(6, index="1/6 turn"),))
    text = written(job)
    assert job.prove(text.encode()).proved
    stops = lines_with(text, r"^M0")
    (said,) = [each for each in problems(job, without(text, stops[3])) if "(stop)" in each]
    assert "before cut 4 (circles 4)" in said


def test_rings_with_phases_set_by_hand_are_proved_and_a_missing_stop_is_found():
    """On a barrel, the cam turning with the spindle: a ring's place along the work says its phase."""
    drive = Drive(Wave(lobes=5, base_radius=60.0, rise=1.0), follower=Roller(3.0), twist=Twist(angle="1 lobe", over=40.0))
    ring = Pass(name="rings", turns=1, at=At(x=20.0, z=-5.0, depth=0.3), cams=(drive,))
    lathe = bench([each for each in LETTERS if each[1] != "A"])
    job = replace(rings(lathe), piece=Barrel(diameter=40.0, length=40.0), passes=(ring.series(4, z=-6.0),))
    text = written(job)
    proof = job.prove(text.encode())
    assert proof.proved, str(proof)
    stops = lines_with(text, r"^M0")
    assert len(stops) == 4
    (said,) = [each for each in problems(job, without(text, stops[1])) if "(stop)" in each]
    assert "before cut 2 (rings 2), where the operator must: set cam 1 phase to " in said


def test_a_missing_section_with_its_stop_is_found():
    job = by_hand(x=-3.0)
    text = written(job)
    begins = [number for number, line in enumerate(text.splitlines(), 1) if re.match(r"\(cut [23]:", line)]
    found = problems(job, without(text, *range(*begins)))
    assert any("cut 2 (rings 2): is missing" in each for each in found)
    assert not any("cut 3" in each or "cut 4" in each for each in found)


def test_an_additional_stop_is_accepted(job, text):
    number = next(number for number, line in enumerate(text.splitlines(), 1) if line.startswith("(cut 3:"))
    lines = text.splitlines()
    assert job.prove("\n".join([*lines[:number], "M0", *lines[number:], ""]).encode()).proved


def test_cuts_in_another_order_or_twice_are_found(job, text):
    begins = [number for number, line in enumerate(text.splitlines(), 1) if re.match(r"\(cut [123]:", line)]
    lines = text.splitlines()
    one, two, three = lines[begins[0] - 1 : begins[1] - 1], lines[begins[1] - 1 : begins[2] - 1], lines[begins[2] - 1 : -1]
    head = lines[: begins[0] - 1]
    swapped = job.prove("\n".join([*head, *one, *three, *two, "M2", ""]).encode())
    assert swapped.code == 1
    (said,) = map(str, swapped.warnings)
    assert "cut 3 (rings 3): comes before cut 2 (rings 2) in the program" in said
    twice = job.prove("\n".join([*head, *one, *two, *three, *three, "M2", ""]).encode())
    assert twice.code == 1
    assert any("part of the path is cut twice" in str(each) for each in twice.warnings)


def test_a_cut_on_the_side_of_the_work_is_proved():
    axes = (("spindle", "C"), ("x", "X"), ("z", "Z"))
    lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed"), axes=tuple(Axis(moves=m, letter=k) for m, k in axes))
    helix = Pass(name="helix", turns=3, at=At(x=20.0, z=-5.0, depth=0.4), travel=At(z=-20.0))
    job = replace(rings(lathe), piece=Barrel(diameter=40.0, length=40.0), passes=(helix,))
    text = written(job)
    assert job.prove(text.encode()).proved
    number = lines_with(text, r"G1 .*C1080")[0]
    assert any("cut 1" in each for each in problems(job, changed(text, number, "Z-25", "Z-24.9")))
    fast = lines_with(text, r"^G0 .*X")
    assert any(
        "a rapid move goes 0.4 mm deep into the work" in each
        for each in problems(job, without(text + "", fast[-1]).replace("M2", "G0 Z-5\nM2"))
    )
