"""The quick picture of grey dots, beside two renderers that are not ours, and beside areas known by hand."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

import lobework as lw
from lobework.render.drawing import Drawing, Figure, Layer, Stroke
from lobework.render.raster import dots_of
from lobework.targets import svg
from tests.search import examples
from tests.targets.test_svg import assert_overlap, by_resvg, by_rsvg

DOCS = Path(__file__).parents[2] / "docs"
FINER = 4
"""Number of dots that resvg draws for each of ours, in each direction; the test averages them."""
BLACK = 0.299 * 0x16 + 0.587 * 0x18 + 0.114 * 0x1C
"""Grey of the ink of cuts."""


def sheet(*strokes, size=40.0):
    """A sheet of these strokes alone, its middle at zero."""
    layers = (Layer("pass-1", "", tuple(Figure("", (stroke,)) for stroke in strokes)),)
    half = size / 2
    return Drawing(
        title="", description="", left=-half, top=half, width=size, height=size, layers=layers, lines=(), words=(), bar=50.0
    )


def line(*points, width=0.3, closed=False):
    return Stroke(np.array(points, dtype=np.float64), width, "cut", closed)


def averaged(picture, shape):
    return picture.reshape(shape[0], FINER, shape[1], FINER).mean(axis=(1, 3))


def ink_of(picture, dots_per_mm):
    """The area of the ink, mm^2, where black is the ink of cuts."""
    return (255.0 - picture).sum() / (255.0 - BLACK) / dots_per_mm**2


EXAMPLES = ["wave-rings", "ninety-six-circles", "oval-medallion", "eight-pointed-star", "barleycorn"]


@pytest.mark.parametrize("example", EXAMPLES)
def test_librsvg_draws_the_same_picture(example):
    """Mean difference under 0.5 of 255, ink within 1 %; Hausdorff distance within 1.5 dots if lines are a dot wide."""
    drawing = lw.read_job(DOCS / f"examples/{example}.toml").drawing().without_legend()
    for dots in (400, 1200):
        ours = dots_of(drawing, dots)
        size = [str(each) for each in ours.shape[::-1]]
        theirs = by_rsvg(svg.sized(drawing, *size).encode(), "--width", size[0], "--height", size[1])
        assert np.abs(ours - theirs.astype(np.float64)).mean() < 0.5
        assert (255.0 - ours).sum() == pytest.approx((255.0 - theirs).sum(), rel=0.01)
    assert_overlap(ours, theirs)


@pytest.mark.parametrize("example", EXAMPLES)
def test_resvg_draws_the_same_picture_in_finer_dots(example):
    """Four times as many dots, averaged; at the size itself resvg gives lines narrower than a dot 12 % less ink than librsvg."""
    drawing = lw.read_job(DOCS / f"examples/{example}.toml").drawing().without_legend()
    ours = dots_of(drawing, 400)
    size = (FINER * ours.shape[1], FINER * ours.shape[0])
    theirs = averaged(by_resvg(svg.sized(drawing, *map(str, size)).encode(), size).astype(np.float64), ours.shape)
    assert np.abs(ours - theirs).mean() < 2.0
    assert (255.0 - ours).sum() == pytest.approx((255.0 - theirs).sum(), rel=0.025)


@given(
    ends=st.tuples(*[st.floats(-15.0, 15.0)] * 4),
    width=st.floats(0.1, 0.35),
    size=st.integers(60, 500),
)
@settings(max_examples=examples(60))
def test_a_straight_line_has_the_ink_of_its_area(ends, width, size):
    """Width times length, and a disc of the two round ends."""
    x0, y0, x1, y1 = ends
    picture = dots_of(sheet(line((x0, y0), (x1, y1), width=width)), size)
    area = width * np.hypot(x1 - x0, y1 - y0) + np.pi * width**2 / 4
    assert ink_of(picture, size / 40.0) == pytest.approx(area, rel=0.03, abs=2.5 * (40.0 / size) ** 2)


@given(radius=st.floats(2.0, 18.0), width=st.floats(0.12, 0.35), points=st.integers(60, 4000), closed=st.booleans())
@settings(max_examples=examples(40))
def test_a_circle_has_the_ink_of_its_ring_however_many_points_it_has(radius, width, points, closed):
    """Pappus: the width times the path of its middle."""
    turn = np.linspace(0.0, 2 * np.pi, points, endpoint=not closed)
    ring = line(*np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=-1), width=width, closed=closed)
    step = 2 * np.pi / (points if closed else points - 1)
    length = 2 * np.pi * radius * np.sin(step / 2) / (step / 2)
    assert ink_of(dots_of(sheet(ring), 300), 7.5) == pytest.approx(width * length, rel=0.015)


def test_the_order_of_lines_of_one_colour_does_not_matter():
    drawing = lw.read_job(DOCS / "examples/wave-rings.toml").drawing().without_legend()
    layer = drawing.layers[0]
    turned = replace(drawing, layers=(replace(layer, figures=layer.figures[::-1]),))
    assert np.abs(dots_of(drawing, 300).astype(int) - dots_of(turned, 300)).max() <= 1


def test_pale_bands_of_a_figure_do_not_darken_each_other():
    """Two bands that cross: nowhere darker than one band, but for the fine lines on the paths of the tip."""
    cross = Figure("", (line((-10, 0), (10, 0), width=3.0), line((0, -10), (0, 10), width=3.0)))
    drawing = replace(sheet(), layers=(Layer("pass-1", "", (cross,)),))
    picture = dots_of(drawing, 400)
    pale = 255.0 - 0.13 * (255.0 - BLACK)
    assert picture[190, 210] == pytest.approx(pale, abs=1)
    assert picture[200 - 10, 200 + 60] == pytest.approx(pale, abs=1)


def test_lines_beyond_the_picture_and_single_points_are_drawn_as_far_as_they_show():
    beyond = dots_of(sheet(line((-1000.0, 3.125), (1000.0, 3.125), width=0.25)), 160)
    assert (beyond[67] == round(BLACK)).all()
    assert (np.delete(beyond, 67, axis=0) == 255).all()
    point = dots_of(sheet(line((5.0, 5.0), width=0.35)), 400)
    assert ink_of(point, 10.0) == pytest.approx(np.pi * 0.35**2 / 4, rel=0.05)


@pytest.mark.parametrize("size", [15, 10_001, 3.5, "300", True, float("nan")])
def test_a_wrong_size_is_refused_in_one_line(size):
    with pytest.raises(lw.SettingError, match="a whole number of dots from 16 to 10,000"):
        dots_of(sheet(line((0, 0), (1, 1))), size)


def test_the_long_side_is_the_size_and_an_empty_sheet_is_white():
    assert dots_of(replace(sheet(), height=20.0), 64).shape == (32, 64)
    assert (dots_of(sheet(), 64) == 255).all()


def test_a_picture_is_the_same_in_every_run():
    drawing = lw.read_job(DOCS / "examples/oval-medallion.toml").drawing().without_legend()
    first = dots_of(drawing, 256)
    assert np.array_equal(first, dots_of(drawing, 256))
    file = io.BytesIO()
    Image.fromarray(first).save(file, "png")
    assert np.array_equal(np.asarray(Image.open(file)), first)
