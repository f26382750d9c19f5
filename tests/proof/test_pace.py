"""How long a program takes is a part of what is proved: spindle, feeds, plunges and dwells, by the job's own request."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from lobework.kinematics.trace import trace
from lobework.lathe.passes import Pass
from lobework.parts.slide import At
from lobework.proof.pace import least_seconds
from tests.proof.kinds_of_jobs import FLUTE, JOBS, RING, ROUND, face, flutes, helix, job, lathe, led, written
from tests.proof.test_stops import found


def test_a_missing_inverse_time_is_found():
    made = face()
    (said,) = [each for each in found(made, written(made).replace("G93\n", "", 1)) if "cut 1" in each]
    assert said.startswith("warning (time): cut 1 (ring 1): takes ")
    assert "hours" not in said
    assert "at the job's feeds, this lathe would need 40 s" in said


@pytest.mark.parametrize(
    ("feed", "message"), [("1100", "at 1100 mm a minute"), ("0.001", "at 0.001 mm a minute"), ("66", "at 66 mm")]
)
def test_a_plunge_at_another_feed_is_found(feed, message):
    made = face()
    text = written(made).replace("G1 Z-0.3 F60", f"G1 Z-0.3 F{feed}", 1)
    line, said = text.splitlines().index(f"G1 Z-0.3 F{feed}") + 1, found(made, text)
    assert any(f"line {line}: the tip plunges {message}" in each for each in said)


@pytest.mark.parametrize(("times", "level"), [(10, "problem"), (1.01, "problem"), (0.5, "warning")])
def test_a_spindle_faster_or_much_slower_than_the_job_requires_is_found(times, level):
    made = face()
    text = re.sub(r"C720 (A\S+) F1\.5", lambda match: f"C720 {match[1]} F{1.5 * times:g}", written(made), count=1)
    (said,) = found(made, text)
    assert said.startswith(f"{level} (time): ")
    if times > 1:
        line = next(k for k, each in enumerate(text.splitlines(), 1) if "C720" in each)
        assert f"line {line}: the spindle turns at {3 * times:.4g} turns a minute; the job specifies 3 at most" in said


def test_small_differences_of_time_are_accepted():
    made = face()
    for feed in ("1.505", "1.4"):
        assert made.prove(re.sub(r"F1\.5\b", f"F{feed}", written(made)).encode()).proved


@pytest.mark.parametrize(("make", "feed"), [(flutes, 200.0), (helix, 200.0)])
def test_a_feed_over_the_work_above_that_of_the_job_is_found(make, feed):
    made = make()
    slow = written(made).replace(" F60", " F50")
    text = re.sub(r"F(\d+\.\d+|\d+)$", lambda match: f"F{1.2 * float(match[1]):.6f}", slow, flags=re.MULTILINE)
    assert any(
        "(time)" in each and ("over the work at 24" in each or "the spindle turns at" in each) for each in found(made, text)
    )


def test_one_slow_move_among_many_is_found():
    made = led()
    lines = written(made).splitlines()
    at = [k for k, line in enumerate(lines) if line.startswith("G1 C")][10]
    value = float(re.search(r"F([0-9.]+)", lines[at])[1])
    lines[at] = re.sub(r"F[0-9.]+", f"F{value / 10:.6f}", lines[at])
    said = found(made, "\n".join(lines) + "\n")
    assert any(f"warning (time): line {at + 1}: this move takes " in each for each in said)


def test_a_dwell_that_is_missing_or_short_is_found():
    made = led()
    text = written(made)
    assert "G4 P0.5" in text
    for short in ("", "G4 P0.4\n"):
        assert any(
            "before the cut" in each and "0.5 s (dwell)" in each for each in found(made, text.replace("G4 P0.5\n", short, 1))
        )


def test_a_long_dwell_is_found():
    made = led()
    assert any(
        "warning (time): whole program: takes" in each for each in found(made, written(made).replace("G4 P0.5", "G4 P60", 1))
    )


def test_each_move_in_inverse_time_requires_its_feed():
    made = led()
    lines = written(made).splitlines()
    at = next(k for k, line in enumerate(lines) if line.startswith("G1 C"))
    lines[at] = re.sub(r" F[0-9.]+", "", lines[at])
    proof = made.prove(("\n".join(lines) + "\n").encode())
    assert proof.code == 2
    assert [each.line for each in proof.wrong] == [at + 1]


def test_inverse_time_is_refused_for_a_controller_without_it():
    made = led()
    plain = replace(made, lathe=led(inverse_time=False).lathe)
    assert plain.prove(written(plain).encode()).proved
    assert any(
        "which the lathe's controller does not accept (inverse_time = false)" in each for each in found(plain, written(made))
    )


def test_a_spindle_that_turns_backwards_while_it_cuts_is_found():
    made = JOBS["indexed"]()
    text = written(made).replace("G1 C360 F3", "G1 C-360 F3", 1)
    assert any("the spindle turns opposite to its direction in the job while the tool cuts" in each for each in found(made, text))


def test_a_reversed_axis_is_read_with_the_sign_of_the_lathe():
    made, plain = JOBS["turning the other way"](), face()
    assert "C-720" in written(made)
    assert any("the spindle turns opposite to its direction in the job" in each for each in found(made, written(plain)))
    assert any("the spindle turns opposite to its direction in the job" in each for each in found(plain, written(made)))


def test_minutes_are_those_of_the_standard_for_every_kind_of_program():
    """The writer counts its steps, the proof the words that they became."""
    for name, make in JOBS.items():
        made = make()
        proof, program = made.prove(written(made).encode()), made.program()
        assert proof.cutting == pytest.approx(program.cutting, rel=1e-3, abs=1e-3), name
        assert proof.whole == pytest.approx(program.whole, rel=2e-3, abs=2e-3), name


def test_without_limits_the_least_time_is_that_of_uniform_motion():
    made = job(lathe(), RING)
    (cut,) = made.cuts()
    u, seconds = least_seconds(trace(cut, chord=0.002), made.lathe, made.feeds)
    assert (u[0], u[-1]) == (0.0, 1.0)
    assert seconds[-1] == pytest.approx(20.0)


def test_the_least_time_from_rest_to_rest_is_that_of_the_closed_form():
    """One turn at 180 deg/s2: half of it gaining speed, half losing it, 2 * sqrt(360 / 180) s."""
    made = job(lathe(limits=True), RING, spindle_rpm=1000.0)
    (cut,) = made.cuts()
    axes = tuple(replace(each, top_speed=math.inf) for each in made.lathe.axes)
    _, seconds = least_seconds(trace(cut, chord=0.002), replace(made.lathe, axes=axes), made.feeds)
    assert seconds[-1] == pytest.approx(2 * math.sqrt(360 / 180), rel=0.01)


def test_the_least_time_of_a_pass_along_the_work_is_that_of_its_feed():
    made = job(lathe(), FLUTE, piece=ROUND, feed=120.0)
    (cut,) = made.cuts()
    u, seconds = least_seconds(trace(cut, chord=0.002), made.lathe, made.feeds)
    assert seconds[-1] == pytest.approx(20 / 120 * 60)
    assert np.interp(0.5, u, seconds) == pytest.approx(5.0)


def test_plunges_without_turns_have_no_cutting_time():
    made = job(lathe(), Pass(name="dots", turns=0, at=At(x=10.0, depth=0.5)).series(3, spindle="1/3 turn"))
    assert made.prove(written(made).encode()).proved
