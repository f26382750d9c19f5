"""The plot read back: true size, the right pens, and short pen-up moves."""

from itertools import pairwise
from math import hypot

import numpy as np
import pytest
from lobework_plotter import TARGET, read, render

from lobework import InputError, read_job
from lobework.plugins import Drawing, Figure, Layer, Stroke

UNIT = 0.025
"""Length of a plotter unit, mm. Source: Hewlett-Packard, HP 7550A Graphics Plotter Interfacing and Programming Manual, 1986."""

JOB = """
title = "Trial"
units = "{units}"
lathe = "sliding-bench"
piece = {{ form = "disc", diameter = {size}, thickness = {rise} }}
cutter = {{ kind = "pen", line = "0.3 mm" }}

[[pass]]
at = {{ x = {out} }}
[[pass.cam]]
shape = "wave"
lobes = 7
base_radius = {base}
rise = {rise}
follower = {{ kind = "roller", radius = {nose} }}
[pass.series]
count = 5
each = {{ x = {step}, phase = "1/9 lobe" }}

[[pass]]
at = {{ x = {round} }}
"""
IN_MM = {"units": "mm", "size": 76.2, "out": 25.4, "base": 63.5, "rise": 3.175, "nose": 3.175, "step": -1.905, "round": 31.75}
IN_INCHES = {
    "units": "inch",
    "size": 3,
    "out": 1,
    "base": 2.5,
    "rise": 0.125,
    "nose": "'1/8 in'",
    "step": -0.075,
    "round": "'1 1/4 in'",
}


def job(tmp_path, **settings):
    path = tmp_path / f"{settings['units']}.toml"
    path.write_text(JOB.format(**settings), encoding="utf-8")
    return read_job(path)


def sheet(*layers, title="Lid"):
    """Return a drawing of strokes, one layer per pen."""
    figures = [Layer(f"pass-{number}", "", (Figure("", tuple(strokes)),)) for number, strokes in enumerate(layers, 1)]
    return Drawing(
        title=title, description="", left=0.0, top=0.0, width=1.0, height=1.0, layers=tuple(figures), lines=(), words=(), bar=50.0
    )


def line(*points, **how):
    return Stroke(np.array(points, dtype=float), 0.3, **how)


def of_pass(file, number):
    """Return the lines of a pass, numbered from 1; number 0 is the sheet."""
    return read(file)[number][1]


def test_a_circle_of_40_mm_spans_1600_units(tmp_path):
    """The circle is traced on the lathe, drawn, and read back from the plot."""
    circle = job(tmp_path, **{**IN_MM, "round": 20})
    (drawn,) = of_pass(render(circle.trace().drawing()), 2)
    assert (np.ptp(drawn, axis=0) / UNIT).round(9).tolist() == [1600, 1600]
    assert np.abs(np.hypot(*(drawn - (drawn.min(axis=0) + 20)).T) - 20).max() <= UNIT / 2 * 2**0.5 + 0.002


def test_every_point_is_rounded_by_at_most_half_a_unit(tmp_path):
    """The centre of the work in the plot follows from the outline, a circle of known size."""
    drawing = job(tmp_path, **IN_MM).trace().drawing()
    (_, on_sheet), *passes = read(render(drawing))
    outline = max(on_sheet, key=len)
    middle = np.round((outline.max(axis=0) + outline.min(axis=0)) / 2 / UNIT) * UNIT
    for layer, (_, lines) in zip(drawing.layers, passes, strict=True):
        drawn = np.concatenate(lines) - middle
        for stroke in (stroke for figure in layer.figures for stroke in figure.strokes):
            apart = np.abs(drawn[:, None] - stroke.points[None, ::7]).max(axis=2).min(axis=0)
            assert apart.max() <= UNIT / 2 + 1e-9


def test_the_same_job_in_inches_gives_the_same_file(tmp_path):
    mm, inches = (render(job(tmp_path, **settings).trace().drawing()) for settings in (IN_MM, IN_INCHES))
    assert mm == inches


def test_each_pass_has_its_own_pen_and_the_ninth_uses_pen_1_again():
    layers = [[line((0, k), (10, k))] for k in range(11)]
    (_, sheet_lines), *passes = read(render(sheet(*layers)))
    assert [pen for pen, _ in passes] == [1, 2, 3, 4, 5, 6, 7, 8, 1, 2, 3]
    levels = np.array([line[0, 1] for _, (line,) in passes])
    assert levels - levels[0] == pytest.approx(range(11))
    assert sheet_lines


def test_every_line_is_drawn_once_and_pen_up_travel_is_short():
    """Two hundred rows from left to right, in random order: a pen that turns at each end has short pen-up moves."""
    rows = np.random.default_rng(7).permutation(200)
    file = render(sheet([line((0, row * 0.5), (60, row * 0.5)) for row in rows]))
    drawn = of_pass(file, 1)
    low = min(points[:, 1].min() for points in drawn)
    assert sorted(round((points[0, 1] - low) * 2) for points in drawn) == list(range(200))
    air = sum(hypot(*(after[0] - before[-1])) for before, after in pairwise(drawn))
    as_given = sum(hypot(60, (b - a) * 0.5) for a, b in pairwise(rows))
    assert air < as_given / 20


def test_a_closed_line_starts_at_the_point_nearest_to_the_pen():
    turns = {10.0: 0.0, 11.0: 2.0, 12.0: 4.0}
    turn = np.linspace(0, 2 * np.pi, 361)
    ring = [line(*(radius * np.stack([np.cos(turn + on), np.sin(turn + on)], axis=-1))) for radius, on in turns.items()]
    drawn = of_pass(render(sheet(ring)), 1)
    assert [np.abs(points[0] - points[-1]).max() for points in drawn] == [0, 0, 0]
    assert all(np.abs(after[0] - before[-1]).max() < 2.05 for before, after in pairwise(drawn))


def test_the_next_pass_starts_near_the_end_of_the_last_one():
    first, far, near = [line((0, 0), (90, 0))], line((0, 1), (0, 40)), line((90, 1), (90, 40))
    _, _, (_, lines) = read(render(sheet(first, [far, near])))
    assert [each[0, 0] for each in lines] == [90, 0]


def test_rounding_at_half_a_unit_ignores_tiny_differences():
    """Lengths that come from inches differ from those in mm by the last bit."""
    halves = 10 + 0.0125 + np.arange(40) * UNIT
    edge = line((0, 0), (20, 20))
    below, above = (sheet([edge, line(*np.stack([halves + hair, halves + hair], axis=-1))]) for hair in (-1e-12, 1e-12))
    assert render(below) == render(above)


def test_a_closed_stroke_ends_at_its_start():
    (square,) = of_pass(render(sheet([line((0, 0), (10, 0), (10, 10), (0, 10), closed=True)])), 1)
    assert np.abs(np.diff(square, axis=0)).sum() == pytest.approx(40)


def test_air_strokes_of_the_cutter_are_not_drawn():
    (drawn,) = of_pass(render(sheet([line((0, 0), (10, 0)), line((10, 0), (10, 30), ink="air")])), 1)
    assert np.ptp(drawn, axis=0) == pytest.approx([10, 0])


def test_a_point_is_a_dot():
    (dot,) = of_pass(render(sheet([line((3, 4), (3, 4))])), 1)
    assert (dot[0] == dot[-1]).all()


def test_the_scale_bar_is_20_mm_long_and_the_corners_are_marked_first():
    lines = of_pass(render(sheet([line((0, 0), (80, 50))])), 0)
    corners = np.concatenate(lines[:4])
    assert all(len(mark) == 3 for mark in lines[:4])
    assert np.ptp(corners, axis=0) == pytest.approx([80, 50 + 15])
    assert corners.min() == 0
    assert np.ptp(lines[4], axis=0) == pytest.approx([20, 0])


def test_nothing_is_drawn_outside_the_corner_marks(tmp_path):
    lines = [line for _, lines in read(render(job(tmp_path, **IN_MM).trace().drawing())) for line in lines]
    marked, rest = np.concatenate(lines[:4]), np.concatenate(lines[4:])
    assert (rest.min(axis=0) >= marked.min(axis=0)).all()
    assert (rest.max(axis=0) <= marked.max(axis=0)).all()


def test_a_title_is_written_in_ascii():
    file = render(sheet([line((0, 0), (80, 0))], title="Große Dosé\x03\n\u00d7 ;2"))
    assert b"LBGro?e Dose? ? ;2\x03" in file
    assert file.isascii()
    assert file.count(b"\x03") == 2


def test_a_long_title_is_broken_into_lines_that_fit():
    file = render(sheet([line((0, 0), (80, 0))], title="wave rings, their crests leaning, " * 4))
    labels = [each.partition(b"\x03")[0] for each in file.split(b"LB")[1:]]
    assert all(len(each) * 2.25 <= 80 for each in labels)
    assert b" ".join(reversed(labels[1:])).count(b"wave rings") == 4


def test_a_plot_beyond_the_coordinate_range_is_refused():
    render(sheet([line((0, 0), (819, 0))]))
    with pytest.raises(InputError) as refused:
        render(sheet([line((0, 0), (900, 0))]))
    assert str(refused.value) == ("the plot is 900 by 15 mm; a plotter draws at most 819.175 mm either way; plot a smaller piece")


def test_long_lines_are_written_in_short_pieces():
    x = np.linspace(0, 100, 1001)
    file = render(sheet([line(*np.stack([x, np.sin(x)], axis=-1))]))
    assert max(map(len, file.splitlines())) < 600
    assert len(of_pass(file, 1)) == 1


def test_the_file_is_the_same_each_time(tmp_path):
    drawing = job(tmp_path, **IN_MM).trace().drawing()
    assert TARGET.render(drawing) == TARGET.render(drawing)


@pytest.mark.parametrize("file", [b"PU0,0", b"XX0;", b"SP1;PU40000,0;", b"SP1;PU1;"])
def test_the_reader_refuses_unknown_instructions(file):
    with pytest.raises(ValueError, match=r"no instruction|range of a plotter|unknown instruction|zip"):
        read(file)
