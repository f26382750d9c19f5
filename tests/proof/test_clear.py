"""The tip stands clear while anything but the slide that feeds in moves fast, and at the end; every cut is there, whole."""

from __future__ import annotations

import re

import pytest

from tests.proof.kinds_of_jobs import JOBS, written
from tests.proof.test_stops import found


def test_other_axes_that_move_before_the_tip_is_clear_are_found():
    made = JOBS["face"]()
    text = written(made).replace("G0 Z5\n", "", 1)
    line = next(k for k, each in enumerate(text.splitlines(), 1) if each.startswith("G0 C0"))
    (said,) = found(made, text)
    assert said.startswith(f"problem (clear): line {line}: moves other axes before the tip is clear; move Z out to 5 mm first")


def test_a_position_nearer_than_clear_is_found():
    made = JOBS["face"]()
    text = written(made).replace("G0 Z5\n", "G0 Z4\n", 1)
    line = text.splitlines().index("G0 Z4") + 2
    (said,) = found(made, text)
    assert said == (
        f"warning (clear): line {line}: a rapid move of other axes with the tip at Z 4 mm; in the job, the tip is clear at 5 mm"
    )


def test_a_position_beyond_clear_is_proved():
    made = JOBS["face"]()
    assert made.prove(written(made).replace("G0 Z5\n", "G0 Z6\n", 1).encode()).proved


@pytest.mark.parametrize(
    ("place", "message"), [("", "ends with the tip in the work"), ("G0 Z1\n", "ends with the tip at Z 1 mm")]
)
def test_a_tip_that_is_left_in_the_wood_at_the_end_is_found(place, message):
    made = JOBS["face"]()
    head, _, _ = written(made).rpartition("G0 Z5\n")
    for end in ("M2\n", "M30\n"):
        assert any(message in each for each in found(made, f"{head}{place}{end}"))
    assert any(message in each for each in found(made, f"%\n{head}{place}%\n"))


@pytest.mark.parametrize("name", ["face", "led", "flutes", "indexed", "fed by hand"])
def test_no_deviation_is_stated_if_a_cut_is_missing(name):
    made = JOBS[name]()
    lines = written(made).splitlines()
    begins = [k for k, line in enumerate(lines) if re.match(r"\(cut \d", line)]
    cut = "\n".join([*lines[: begins[1]], *(lines[begins[2] :] if len(begins) > 2 else ["M2"])]) + "\n"
    proof = made.prove(cut.encode())
    assert proof.code == 1
    assert any("is missing" in str(each) or "are missing" in str(each) for each in proof.problems)
    assert "keeps within" not in str(proof)


def test_a_cut_with_a_missing_half_is_found():
    made = JOBS["face"]()
    text = re.sub(r"G1 C720 A\S+ F\S+", "G1 C360 A540 F3", written(made), count=1)
    assert text != written(made)
    assert any("deviates by" in each or "is missing" in each for each in found(made, text))
