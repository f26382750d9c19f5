"""A program for controllers of other habits, started from any cut, tried in air, and as a table.

The standard: T. R. Kramer, F. M. Proctor, E. Messina, The NIST RS274/NGC Interpreter - Version 3, NISTIR 6556 (2000).
"""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import replace

import numpy as np
import pytest

from lobework.errors import SettingError
from lobework.jobs.job import Job
from lobework.lathe.lathe import Axis, CamShaft, Controller, Lathe
from lobework.lathe.passes import Pass
from lobework.parts.cam import Wave
from lobework.parts.cutter import Pen
from lobework.parts.drive import Drive
from lobework.parts.feeds import Feeds
from lobework.parts.follower import Roller
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Barrel, Disc
from lobework.parts.slide import At
from lobework.program.program import Dwell, Feed, Rapid, Timed
from lobework.targets import moves
from lobework.targets.rs274 import render
from tests.drawn_programs import drawn, read_program
from tests.targets import test_rs274 as on_a_face

interpreter = on_a_face.interpreter
CAM = Drive(Wave(lobes=12, base_radius=60.0, rise=3.0), follower=Roller(2.0))
AXES = tuple(
    Axis(moves=moved, letter=letter, low=low, high=high)
    for moved, letter, low, high in (
        ("spindle", "C", -math.inf, math.inf),
        ("x", "X", -60.0, 160.0),
        ("z", "Z", -60.0, 140.0),
    )
)


def job(controller=None, units="mm", barrel=False, **feeds):
    """Two rings, led by a lift that exists only in software, and one even ring."""
    lathe = Lathe(
        name="bench",
        headstock=Headstock(sideways="fixed"),
        axes=AXES,
        cams=(CamShaft(number=1, turned_by="software"),),
        controller=controller or Controller(),
    )
    x = 20.0 if barrel else 24.0
    waved = Pass(name="waves", at=At(x=x, z=-8.0 if barrel else 0.0, depth=0.4), cams=(CAM,))
    return Job(
        title="Tide box",
        lathe=lathe,
        piece=Barrel(diameter=40.0, length=50.0) if barrel else Disc(diameter=70.0, thickness=8.0),
        cutter=Pen(),
        passes=[waved.series(2, x=0.0 if barrel else -2.0, z=-3.0 if barrel else 0.0), replace(waved, cams=(), name="ring")],
        units=units,
        feeds=Feeds(**feeds),
    )


def lines_of(text):
    return text.decode("ascii").splitlines()


def test_lines_and_decimals_respect_the_limits_of_the_controller():
    text = render(job(Controller(longest_line=60, slide_places=4, rotary_places=3)).program())
    assert max(map(len, lines_of(text))) <= 60
    words = [word for line in lines_of(text) if not line.startswith("(") for word in line.split()]
    assert max(len(word.partition(".")[2]) for word in words if word[0] in "XZ") == 4
    assert max(len(word.partition(".")[2]) for word in words if word[0] == "C") <= 3
    assert not any("E" in word or "e" in word for word in words)


def test_a_line_length_too_short_for_a_move_is_refused_with_the_required_length():
    with pytest.raises(SettingError, match=r"longest_line=40: must be 4\d or more in \[controller\]"):
        render(job(Controller(longest_line=40, slide_places=9, rotary_places=9)).program())


def test_lines_are_numbered_from_1_to_99999_and_no_further():
    """3.3.1: a line number has at most five digits."""
    made = job(Controller(line_numbers=True)).program()
    numbers = [int(line[1:].split()[0]) for line in lines_of(render(made)) if line.startswith("N")]
    assert numbers == list(range(1, len(numbers) + 1))
    section = made.sections[0]
    turned = 0.001 * np.arange(1, 100_501)
    long = Timed(np.full(turned.size, 1e-4), ("C",), turned[:, None])
    text = render(replace(made, sections=(replace(section, steps=(long,)),)))
    numbered = [line.startswith("N") for line in lines_of(text) if line and not line.startswith("(")]
    assert sum(numbered) == 99_999
    assert numbered[99_998]
    assert not any(numbered[99_999:])


@pytest.mark.parametrize(("comments", "mark"), [("semicolon", ";"), ("none", None)])
def test_comments_are_written_in_the_style_of_the_controller_or_omitted(comments, mark):
    lines = lines_of(render(job(Controller(comments=comments)).program()))
    assert not any("(" in line for line in lines)
    assert {line[0] for line in lines if line} - set("GM") == ({mark} if mark else set())


def test_without_inverse_time_the_standards_rule_gives_the_same_time():
    """2.1.2.5: a feed is along X Y Z where any of them moves, and otherwise the angle's."""
    one, other = (render(job(Controller(inverse_time=way), spindle_rpm=3.0).program()) for way in (True, False))
    assert b"G93" in one
    assert b"G93" not in other
    with_it, without = read_program(one), read_program(other)
    assert without.minutes == pytest.approx(with_it.minutes, rel=1e-9)
    assert with_it.minutes[~with_it.fast].sum() > 3 / 3.0


@pytest.mark.parametrize("units", ["mm", "inch"])
@pytest.mark.parametrize("controller", [Controller(), Controller(line_numbers=True, inverse_time=False, slide_places=5)])
def test_the_program_can_be_started_at_any_cut(units, controller, interpreter, tmp_path):
    """From where the head says on, the interpreter makes the very moves that it makes of the whole, the tip clear first."""
    text = render(job(controller, units).program())
    lines = lines_of(text)
    whole = on_a_face.read_back(interpreter, text, tmp_path)
    listed = [line for line in lines if re.match(r"\(- (line |N)\d+: cut ", line)]
    assert len(listed) == 3
    for line in listed:
        name = re.match(r"\(- (?:line (\d+)|(N\d+)): cut", line)
        begin = int(name[1]) - 1 if name[1] else next(n for n, each in enumerate(lines) if each.split()[:1] == [name[2]])
        rest = ("\n".join(lines[begin:]) + "\n").encode("ascii")
        assert on_a_face.accepted(interpreter, rest, tmp_path).returncode == 0
        part = on_a_face.read_back(interpreter, rest, tmp_path)
        (first, _, place), *_ = part
        assert first == "rapid"
        assert place[2] * 25.4 == pytest.approx(5.0, abs=2e-4)
        for mine, theirs in zip(part[2:], whole[-len(part) + 2 :], strict=True):
            assert mine[0] == theirs[0]
            assert mine[2] == pytest.approx(theirs[2], abs=1e-12)


@pytest.mark.parametrize("barrel", [False, True])
def test_in_air_the_tip_stays_off_the_work_and_the_other_axes_move_as_in_wood(barrel):
    made = job(barrel=barrel, dwell=0.5).trace()
    wood, air = (read_program(render(made.program(off))) for off in (0.0, 6.0))
    into, surface = (0, 20.0) if barrel else (2, 0.0)
    others = [at for at in (0, 2, 5) if at != into]
    known = ~np.isnan(wood.ends[:, others])
    assert (air.ends[:, others][known] == wood.ends[:, others][known]).all()
    places = air.ends[:, into][~np.isnan(air.ends[:, into])]
    assert places.min() >= surface + 6.0
    assert places.min() <= surface + 6.1
    lines = lines_of(render(made.program(6.0)))
    assert lines[0].startswith("(trial in air: the tip stays at least 6 mm off the work")


def test_in_air_the_tip_stays_off_the_work_also_between_two_samples():
    """Near the middle of a dome a path on the work is so short that it needs few samples, whatever the slide does."""
    ((_, one),) = drawn([18], 7)
    ends = read_program(render(one.program(2.0))).ends[:, 0]
    assert np.nanmin(ends) >= one.piece.diameter / 2 + 2.0


def test_an_air_program_beyond_the_travel_of_the_axis_is_refused():
    with pytest.raises(SettingError, match=r"Z would go to 1\d\d.* mm, but the travel of the lathe's z axis ends at 140 mm"):
        job().program(150.0)


def test_the_program_dwells_after_the_plunge():
    text = render(job(dwell=1.5).program()).decode()
    assert re.findall(r"^G1 Z\S+ F\S+\nG4 P1\.5\nG93", text, re.MULTILINE)
    steps = [type(step) for step in job(dwell=1.5).program().sections[1].steps]
    assert steps == [Rapid, Rapid, Feed, Dwell, Timed, Rapid]


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_the_table_of_moves_reads_back_exactly(units):
    """RFC 4180: a head, fields between commas, lines that end in CRLF."""
    made = job(units=units).program()
    text = moves.render(made).decode()
    assert text.endswith("\r\n")
    head, *rows = csv.reader(io.StringIO(text))
    length = {"mm": "mm", "inch": "in"}[units]
    assert head == ["cut", "title", "step", "minutes", "C spindle (deg)", f"X x ({length})", f"Z z ({length})", "message"]
    for section in made.sections:
        (timed,) = (step for step in section.steps if isinstance(step, Timed))
        cut = [row for row in rows if row[:3] == [str(section.number), section.title, "cut"]]
        assert [float(row[3]) for row in cut] == timed.minutes.tolist()
        places = np.array([[float(each) for each in row[4:7]] for row in cut])
        places[:, 1:] *= 25.4 if units == "inch" else 1.0
        assert places == pytest.approx(timed.places, rel=1e-14)
    assert next(row[7] for row in rows if row[2] == "stop").startswith("set up the lathe")


def test_the_program_lists_the_settings_of_the_lathe():
    head = render(job().program()).decode().partition("G21")[0]
    for said in ("(set work: form disc", "(set pass 1: waves", "shape wave; lobes 12", "tolerance 0.005 mm on the work"):
        assert said in head.replace(")\n(-", ""), said


def test_a_hundred_thousand_lines_are_read_back_by_the_interpreter_to_a_millionth(interpreter, tmp_path):
    on = job(spindle_rpm=20.0, tolerance=1e-4)
    on = replace(on, passes=[Pass(turns=40, at=At(x=24.0, depth=0.4), travel=At(x=-0.8), cams=(CAM,))])
    made = on.program()
    text = render(made)
    assert text.count(b"\n") > 100_000
    assert on_a_face.accepted(interpreter, text, tmp_path).returncode == 0
    read = on_a_face.read_back(interpreter, text, tmp_path)
    (timed,) = (step for step in made.sections[0].steps if isinstance(step, Timed))
    feeds = np.array([place for kind, _, place in read if kind == "feed"])[1:]
    assert len(feeds) == len(timed.minutes)
    true = dict(zip(timed.letters, timed.places.T, strict=True))
    for letter, column, unit in (("X", 0, 25.4), ("Z", 2, 25.4), ("C", 5, 1.0)):
        assert np.abs(feeds[:, column] * unit - true[letter]).max() <= 1e-6
