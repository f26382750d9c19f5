"""The Turner's Companion's settings, run as job files: how many circles, in which rows, and how they stand.

Anonymous, *The Turner's Companion*, Philadelphia, 1868. Its eccentric chuck has a wheel numbered to 120, here a circle of 120
holes, and slides that are set in turns of their screws, here of 0.1 inch (from memory). The settings are the book's; so are the
counts where a test says so. Other counts and all places are worked out from the settings.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from lobework.jobs.jobfile import read_job
from lobework.kinematics.trace import trace
from tests.truths.test_chucks import centre_and_radius

TURN = 2.54
BENCH = """
lathe = "plain-bench"
chord = 0.05
units = "inch"
piece = { form = "disc", diameter = 6, thickness = 0.5 }
cutter = { kind = "pen" }
"""
CHUCK = """
[[chuck]]
kind = "eccentric"
name = "chuck"
shift = "SHIFT turns"
screw = { lead = "0.1 in", divisions = 10 }
wheel = { circles = [120] }
"""


@pytest.fixture
def circles(tmp_path):
    """Return a function from a job's chuck and passes to its circles: centres and radii, in turns of the screw."""

    def found(shift, passes, chucks=CHUCK):
        path = tmp_path / "companion.toml"
        path.write_text(BENCH + chucks.replace("SHIFT", str(shift)) + passes, encoding="utf-8")
        each = [centre_and_radius(cut.x + 1j * cut.y) for cut in map(coarse, read_job(path).cuts())]
        centres, radii = (np.array(column) / TURN for column in zip(*each, strict=True))
        return centres.round(9), radii.round(9)

    return found


def coarse(cut):
    return trace(cut, chord=0.05)


def numbers_of(centres):
    """Which number of 120 each circle stands at, from the first."""
    return np.round(-np.angle(centres / centres[0]) / (2 * np.pi) * 120, 6) % 120


def one(count, step, out, more=""):
    return f'[[pass]]\nat = {{ x = "{out} in" }}\n[pass.series]\ncount = {count}\neach = {{ index = "{step} holes"{more} }}\n'


def different(centres):
    return len(set(centres.round(6)))


@pytest.mark.parametrize(
    ("step", "count"),
    [(15, 8), (6, 20), (40, 3), (20, 6), (1, 120), (12, 10), (60, 2), (30, 4)],
)
def test_an_index_step_returns_to_its_start_after_the_expected_number_of_circles(step, count, circles):
    """Patterns 2-23, 6-27, 8-37 and pages 20, 24: steps of 15, 6, 40, 20, every number, 12, 120 and 60 (two shells), 30 (square
    work). The next circle falls on the first."""
    centres, radii = circles(10, one(count + 1, step, 0.4))
    assert different(centres) == count
    assert centres[-1] == pytest.approx(centres[0], abs=1e-9)
    assert np.unique(radii).tolist() == [4.0]
    assert np.abs(np.abs(centres) - 10).max() < 1e-9
    assert numbers_of(centres[:-1]) == pytest.approx(np.arange(count) * step)


def test_eight_shells_touch_the_centre(circles):
    """Pattern 2-23, the centre: tool slide out 10 turns, the chuck lowered until the largest circle touches the centre, step 15;
    eight shells (the book's count), here of 4 lines, eccentricity and radius less by a turn a line."""
    shells = """
[[pass]]
at = { x = 1.0 }
[[pass.series]]
name = "line"
count = 4
each = { chuck.shift = "-1 turn", x = -0.1 }
[[pass.series]]
name = "shell"
count = 8
each = { index = "15 holes" }
"""
    centres, radii = circles(10, shells)
    assert centres.size == 32
    assert different(centres[::4]) == 8
    assert np.abs(np.abs(centres) - radii).max() < 1e-9
    assert radii[:4].tolist() == [10, 9, 8, 7]


def test_four_rows_of_twenty_rings(circles):
    """Pattern 2-23, the rings: tool out 4 turns, step 6, twenty positions (the book's count); then three further rows, the radius
    half a turn less each."""
    rows = one(20, 6, 0.4).replace("[pass.series]", "[[pass.series]]") + "[[pass.series]]\ncount = 4\neach = { x = -0.05 }\n"
    centres, radii = circles(22, rows)
    assert centres.size == 80
    assert different(centres) == 20
    assert radii.reshape(4, 20).tolist() == [[r] * 20 for r in (4.0, 3.5, 3.0, 2.5)]
    assert np.array_equal(centres[:20], centres[60:])


def test_each_row_of_eight_is_indexed_by_one_number(circles):
    """Page 20, pattern 3: step 15, then for each row the wheel a number on and the chuck a turn in."""
    series = """
[[pass]]
at = { x = 0.1 }
[[pass.series]]
count = 8
each = { index = "15 holes" }
[[pass.series]]
count = 5
each = { index = "1 hole", chuck.shift = "-1 turn" }
"""
    centres, _ = circles(20, series)
    rows = centres.reshape(5, 8)
    assert [different(row) for row in rows] == [8] * 5
    assert np.abs(rows[:, 0]) == pytest.approx([20, 19, 18, 17, 16])
    assert numbers_of(rows[:, 0]) == pytest.approx([0, 1, 2, 3, 4])


def test_two_shells_are_opposite_each_other(circles):
    """Page 20, pattern 4: a double shell at 120 and 60."""
    centres, _ = circles(8, one(2, 60, 0.3))
    assert centres[0] == pytest.approx(-centres[1])


@pytest.mark.parametrize(("way", "number"), [("1 hole", 1), ("-1 hole", -1)])
def test_rows_of_ten_incline_to_the_side_to_which_the_wheel_is_moved(way, number, circles):
    """Pattern 6-27 (plate 12, 1): step 12, each row the chuck down 2 turns and the wheel a number forwards or backwards: forwards
    the rows incline to the right, backwards to the left."""
    series = f"""
[[pass]]
at = {{ x = 0.1 }}
[[pass.series]]
count = 10
each = {{ index = "12 holes" }}
[[pass.series]]
count = 4
each = {{ index = "{way}", chuck.shift = "2 turns" }}
"""
    centres, _ = circles(6, series)
    rows = centres.reshape(4, 10)
    assert [different(row) for row in rows] == [10] * 4
    assert np.degrees(np.unwrap(np.angle(rows[:, 0] / rows[0, 0]))) == pytest.approx([-3 * number * k for k in range(4)])


def test_eight_circles_are_followed_by_four_pairs_one_number_to_either_side(circles):
    """Page 23 (plate 14, 2): the wheel at 120, 15, 30 and so on to 105, eight circles (the book's count); then the slide rest 4
    numbers on, and the wheel at 1, 14, 31, 44, 61, 74, 91, 104."""
    pairs = """
[[pass]]
at = { x = 0.3 }
[pass.series]
count = 8
each = { index = "15 holes" }
[[pass]]
at = { x = 0.34 }
[[pass.series]]
count = 2
each = { index = "13 holes" }
[[pass.series]]
count = 4
each = { index = "30 holes" }
"""
    centres, radii = circles(9, pairs)
    assert numbers_of(centres[:8]) == pytest.approx(np.arange(8) * 15)
    later, _ = circles(9, pairs, CHUCK + 'index = "1 hole"\n')
    second = numbers_of(np.append(centres[0], later[8:]))[1:]
    assert second == pytest.approx([1, 14, 31, 44, 61, 74, 91, 104])
    assert [min(number % 15, -number % 15) for number in second] == pytest.approx([1] * 8)
    assert np.unique(radii).tolist() == [3.0, 3.4]


def test_three_circles_are_a_third_of_a_turn_apart(circles):
    """Page 23, pattern 3: the wheel at 120, 40, 80."""
    centres, _ = circles(5, one(3, 40, 0.2))
    assert np.degrees(np.angle(centres / centres[0])) % 360 == pytest.approx([0, 240, 120])


def test_twenty_three_circles_in_a_line(circles):
    """Pattern 5-34, the centre: a turn of the chuck between circles, 12 one way with the middle, 11 the other (the book's 23)."""
    line = """
[[pass]]
at = { x = 0.25 }
[pass.series]
count = 12
each = { chuck.shift = "1 turn" }
[[pass]]
at = { x = 0.25 }
[[pass.series]]
count = 12
each = { chuck.shift = "-1 turn" }
"""
    centres, _ = circles(0, line)
    assert different(centres) == 23
    assert np.unique(centres.real.round(6)).tolist() == list(range(-11, 12))
    assert np.abs(centres.imag).max() < 1e-9


def test_lines_of_thirteen_twelve_and_eleven_are_staggered(circles):
    """Pattern 7-36: cutter out 2.5 turns, 2 turns of the chuck between circles, 13 in the first line; each next line 2 turns
    over, set off by a turn. Here by two slides at right angles: a circle of the next line is as far from two of the last."""
    lines = []
    for line in range(3):
        over = CHUCK.replace('"chuck"', '"over"').replace("SHIFT", str(2 * line)) + 'index = "30 holes"\n'
        along = CHUCK.replace('"chuck"', '"along"').replace("SHIFT", str(line - 12))
        row = f'[[pass]]\nat = {{ x = 0.25 }}\n[pass.series]\ncount = {13 - line}\neach = {{ along.shift = "2 turns" }}\n'
        centres, radii = circles(0, row, over + along)
        assert np.unique(radii).tolist() == [2.5]
        assert np.abs(np.diff(centres)) == pytest.approx([2.0] * (12 - line))
        lines.append(centres)
    for last, following in itertools.pairwise(lines):
        assert np.abs(following - last[:-1]) == pytest.approx([5**0.5] * following.size)
        assert np.abs(following - last[1:]) == pytest.approx([5**0.5] * following.size)


def test_the_second_row_is_offset_by_half_a_step(circles):
    """Page 18: the first row at 1, 6, 12 and so on (here by sixes), the next at 3, 9, 15."""
    rows = one(20, 6, 0.1).replace("[pass.series]", "[[pass.series]]")
    rows += '[[pass.series]]\ncount = 2\neach = { index = "3 holes", chuck.shift = "2 turns" }\n'
    centres, _ = circles(12, rows)
    assert sorted(numbers_of(centres)) == pytest.approx(np.arange(0, 120, 3))
    assert different(np.abs(centres)) == 2


@pytest.mark.parametrize(("way", "side"), [("-1", -1), ("1", 1)])
def test_lines_of_a_shell_touch_at_one_place(way, side, circles):
    """J. Lukin, *The Lathe & Its Uses*, ch. 16, after Valicourt: eccentricity and radius made less alike, a shell that is close
    inside; eccentricity more as the radius is less, close outside. Worked out: all touch at E - r, or at E + r."""
    shell = f"""
[[pass]]
at = {{ x = 0.8 }}
[pass.series]
count = 6
each = {{ chuck.shift = "{way} turn", x = -0.1 }}
"""
    centres, radii = circles(12, shell)
    touch = np.abs(centres) + side * radii
    assert np.ptp(touch) < 1e-9
    assert touch[0] == pytest.approx(12 + side * 8)
    for a, b in itertools.pairwise(range(6)):
        assert abs(centres[a] - centres[b]) == pytest.approx(abs(radii[a] - radii[b]))
