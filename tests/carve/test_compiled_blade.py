"""The compiled way for fixed tools, held to the plain one on drawn jobs and on jobs that are hard to get right."""

from __future__ import annotations

import math

import numba
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lobework.carve.compiled_tool import carve_tool
from lobework.carve.stock import stock_of
from lobework.carve.sweep import Sweep
from lobework.errors import SettingError
from lobework.parts.cutter import Ball, Profiled, Vee
from lobework.parts.holder import FixedTool
from lobework.parts.piece import Barrel, Disc, Turned
from tests.carving import JUDGE, STEPPED, UP, about, assert_same, carved, carvings, on_face, on_round
from tests.search import examples

AGREE_MM = 2e-4
WAISTED = stock_of(Turned(profile=((0.0, 7.0), (-4.0, 5.0), (-9.0, 6.0))), resolution=0.6)
BARREL = stock_of(Barrel(diameter=20.0, length=12.0), resolution=0.1)
DISC = stock_of(Disc(diameter=20.0, thickness=5.0), resolution=0.1)
FIXED = FixedTool()


class Tools:
    name = "tools"

    def carve(self, stock, sweeps, depth):
        for sweep in sweeps:
            carve_tool(stock, sweep, depth, lambda part: None)


TOOLS = Tools()


def agree(stock, *sweeps):
    assert_same(
        lambda shift: carved(JUDGE, stock, *sweeps, shift=shift),
        lambda shift: carved(TOOLS, stock, *sweeps, shift=shift),
        within=AGREE_MM,
    )


@pytest.mark.parametrize("kind", [("face",), ("face", "leaning"), ("round",)], ids=" ".join)
@settings(max_examples=examples(4))
@given(data=st.data())
def test_random_jobs_agree_with_the_reference(kind, data):
    stock, sweeps = data.draw(carvings(frozenset((*kind, "fixed"))))
    agree(stock, *sweeps)


NEARLY_IN_ITS_PLANE = (
    [[6.66506601, -1.08197567, 0.16927143], [4.76036088, -0.77277474, -3.40278408]],
    [[0.76988485, -0.32624956, -0.54848751]] * 2,
    [[0.55241166, -0.08967593, 0.82873372]] * 2,
)
ROUND_AND_ALONG = (
    [[5.03152195, 4.00595226, -0.3020653], [4.77009703, 0.83061933, -6.36056796]],
    [[0.75916237, 0.35047674, -0.54848751], [0.83425516, -0.05638955, -0.54848751]],
    [[0.43782441, 0.34858313, 0.82873372], [0.55134672, 0.09600628, 0.82873372]],
)


@pytest.mark.parametrize("poses", [NEARLY_IN_ITS_PLANE, ROUND_AND_ALONG], ids=["nearly in its own plane", "round and along"])
def test_a_tilted_blade_agrees_with_the_reference(poses):
    tip, outward, level = (np.array(each) for each in poses)
    ball = Ball(radius=1.2, holder=FIXED)
    agree(WAISTED, Sweep(ball.edge, ball.holder, tip, *about(outward, level)))


def test_a_blade_that_passes_close_to_a_row_of_rays_is_found_by_both_backends():
    spindle = stock_of(Turned(profile=((0.0, 4.0), (-5.0, 5.5), (-10.0, 4.0))), resolution=0.45)
    tip = np.array([[1.41319595, -3.89347121, -0.41669248], [2.8433818, -3.06332971, -0.39989808]])
    outward = np.array([[0.32249795, -0.88850842, -0.3264167], [0.64304176, -0.69278383, -0.3264167]])
    level = np.array([[0.11136884, -0.30683032, 0.94522597], [0.22206285, -0.23924037, 0.94522597]])
    ball = Ball(radius=0.4, holder=FIXED)
    sweep = Sweep(ball.edge, ball.holder, tip, *about(outward, level))
    judged, cut = carved(JUDGE, spindle, sweep), carved(TOOLS, spindle, sweep)
    assert (cut[1, 63:67] > 0.007).all()
    np.testing.assert_allclose(cut, judged, rtol=0, atol=2e-5)


def test_a_blade_that_rotates_while_tilted_on_a_face_agrees_with_the_reference():
    vee, turn = Vee(angle_deg=90.0, width=2.4, holder=FIXED), np.array([0.0, 0.1, 0.2])
    tip = np.array([[-2.2, -3.6, -0.2], [-3.9, -3.1, -0.7], [2.3, 3.0, -0.1]])
    outward, level = about(np.array([[0.6, 0.3, 0.7]]), np.stack([np.sin(turn), np.cos(turn), 0 * turn], axis=-1))
    coarse = stock_of(Disc(diameter=10.0, thickness=5.0), resolution=0.6)
    agree(coarse, on_face(vee, tip, np.repeat(outward, 3, axis=0), level - np.vecdot(level, outward)[:, None] * outward))


def test_an_oblique_plunge_of_a_blade_agrees_with_the_reference():
    stepped = Profiled(points=STEPPED, holder=FIXED)
    agree(WAISTED, on_round(stepped, WAISTED.surface, [0.3], [4.2], [0.4], lean=0.3, aside=-0.2))


def test_a_vee_drawn_round_a_barrel_leaves_its_own_outline():
    """A groove as wide as the vee's angle makes it, from elementary geometry."""
    vee, depth = Vee(angle_deg=60.0, width=2.0, holder=FIXED), 0.8
    turn = np.linspace(0.0, 2 * math.pi, 400)
    s = np.full_like(turn, 6.0)
    cut = carved(TOOLS, BARREL, on_round(vee, BARREL.surface, turn, s, np.full_like(turn, depth)))
    expected = np.maximum(depth - np.abs(BARREL.row_positions - 6.0) / math.tan(math.radians(30.0)), 0.0)
    np.testing.assert_allclose(cut, np.repeat(expected[:, None], BARREL.columns, axis=1), rtol=0, atol=2e-6)


def test_a_blade_drawn_along_a_barrel_with_its_breadth_across_leaves_its_own_outline():
    """A place x off the blade's middle is at the radius sqrt(x^2 + y^2): a ray at an angle t to it meets a flank of slope k at
    the radius a / (cos t - k sin t), a the tip's. From elementary geometry."""
    vee, depth = Vee(angle_deg=90.0, width=2.0, holder=FIXED), 0.5
    radius, cotangent = 10.0, 1.0
    tip = np.array([[radius - depth, 0.0, -2.0], [radius - depth, 0.0, -9.0]])
    outward, level = np.array([[1.0, 0.0, 0.0]]), np.array([[0.0, 1.0, 0.0]])
    cut = carved(TOOLS, BARREL, Sweep(vee.edge, vee.holder, tip, outward, level))
    t = np.abs((BARREL.column_positions + math.pi) % (2 * math.pi) - math.pi)
    reached = (radius - depth) / np.maximum(np.cos(t) - cotangent * np.sin(t), 1e-9)
    row = np.argmin(np.abs(BARREL.profile[:, 1] + 5.5))
    np.testing.assert_allclose(cut[row], np.where(reached < radius, radius - reached, 0.0), rtol=0, atol=2e-6)


@pytest.mark.parametrize("oblique_deg", [0.0, 35.0, 70.0])
def test_a_groove_drawn_obliquely_to_the_breadth_is_narrower_by_the_cosine(oblique_deg):
    """From elementary geometry."""
    vee, depth, b = Vee(angle_deg=90.0, width=4.0, holder=FIXED), 1.0, math.radians(oblique_deg)
    along = np.array([math.sin(b), math.cos(b), 0.0])
    cut = carved(TOOLS, DISC, on_face(vee, [-9.0 * along - depth * UP[0], 9.0 * along - depth * UP[0]]))
    x, y = np.meshgrid(DISC.column_positions, DISC.row_positions)
    off, inner = np.abs(x * along[1] - y * along[0]), np.hypot(x, y) < 6.0
    np.testing.assert_allclose(cut[inner], np.maximum(depth - off / math.cos(b), 0.0)[inner], rtol=0, atol=2e-6)


def test_an_upright_blade_drawn_along_its_own_breadth_cuts_no_ray():
    vee = Vee(angle_deg=90.0, width=2.0, holder=FIXED)
    assert not carved(TOOLS, BARREL, on_round(vee, BARREL.surface, [0.31, 0.31], [2.0, 9.0], [0.5, 0.5])).any()
    assert not carved(TOOLS, DISC, on_face(vee, [[-3.0, 0.03, -0.5], [3.0, 0.03, -0.5]])).any()


def winding(lean, aside, turned=0.0):
    turn = np.linspace(0.0, 8 * math.pi, 600)
    s, depth = 1.0 + 10.0 * turn / turn[-1], 0.3 + 0.1 * np.sin(5 * turn)
    return on_round(Ball(radius=0.8, holder=FIXED), BARREL.surface, turn + turned, s, depth, lean, aside)


@pytest.mark.parametrize(("lean", "aside"), [(0.0, 0.0), (0.3, -0.2)], ids=["square", "leaning"])
class TestLaws:
    def test_the_number_of_threads_does_not_change_the_depths(self, lean, aside):
        every = numba.config.NUMBA_NUM_THREADS
        sweeps = winding(lean, aside), winding(lean, -aside, 1.0)
        numba.set_num_threads(1)
        one = carved(TOOLS, BARREL, *sweeps)
        numba.set_num_threads(every)
        np.testing.assert_array_equal(carved(TOOLS, BARREL, *sweeps), one)

    def test_the_order_of_passes_does_not_matter(self, lean, aside):
        sweeps = winding(lean, aside), winding(lean, -aside, 1.0)
        np.testing.assert_array_equal(carved(TOOLS, BARREL, *sweeps[::-1]), carved(TOOLS, BARREL, *sweeps))

    def test_rotating_the_path_by_whole_columns_rotates_the_depths(self, lean, aside):
        ahead = winding(lean, aside, 17 * BARREL.column_step)
        first = np.roll(carved(TOOLS, BARREL, winding(lean, aside)), 17, axis=1)
        np.testing.assert_allclose(carved(TOOLS, BARREL, ahead), first, rtol=0, atol=2e-6)


def test_a_blade_through_the_axis_or_laid_over_too_far_is_refused_in_one_line():
    vee = Vee(angle_deg=90.0, width=2.0, holder=FIXED)
    across = np.array([[0.0, 0.0, 1.0]]), np.array([[1.0, 0.0, 0.0]])
    lying = Sweep(vee.edge, vee.holder, np.array([[9.5, 0.0, -3.0]]), *across, title="ring")
    with pytest.raises(SettingError, match=r"^cut='ring': .* inclined by 90 degrees .* use the backend 'plain'$"):
        carve_tool(BARREL, lying, BARREL.uncut(), lambda part: None)
    through = Sweep(vee.edge, vee.holder, np.array([[0.0, 0.0, -3.0]]), *across, title="ring")
    with pytest.raises(SettingError, match=r"^cut='ring': .* through the work's axis; keep the tip away from the axis"):
        carve_tool(BARREL, through, BARREL.uncut(), lambda part: None)


def test_an_exception_from_progress_stops_the_carving():
    def stop(part):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        carve_tool(BARREL, winding(0.0, 0.0), BARREL.uncut(), stop)
