"""The judge of carving, held to what can be said by hand: points in a cutter, closed forms, and its own stamps."""

from __future__ import annotations

import inspect
import itertools
import math
import re

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from lobework.carve import plain
from lobework.carve.backend import EVERYTHING
from lobework.carve.plain import PlainBackend
from lobework.carve.stock import stock_of
from lobework.carve.sweep import Sweep
from lobework.geometry.surface import Face
from lobework.parts.cutter import Ball, FlatEnd, Profiled, RoundNosed, Vee
from lobework.parts.holder import CuttingFrame, DrillingSpindle, EccentricFrame, FixedTool
from lobework.parts.piece import Barrel, Disc, Turned
from tests.carve.test_compiled_solid import HARD, HOURGLASS
from tests.carving import ALONG_X, STEPPED, UP, about, assert_same, carved, carvings, on_face, on_round
from tests.search import examples
from tests.strategies import numbers
from tests.swept import reached

JUDGE, STAMPS = PlainBackend(), PlainBackend(stamps=True)
DISC = stock_of(Disc(diameter=12.0, thickness=5.0), resolution=0.3)
BARREL = stock_of(Barrel(diameter=10.0, length=9.0), resolution=0.5)


TURN = np.linspace(0.0, 2 * math.pi, 9)
ROUND_A_RING = on_face(
    FlatEnd(width=2.0), np.stack([0.1 * np.cos(TURN) - 0.1, 0.1 * np.sin(TURN), 0.1 * np.sin(3 * TURN) - 0.25], axis=-1)
)
"""A drill whose wall passes through rays."""
NEAR_MM, UNDER_MM = 2e-6, 5e-5
REVOLVING = EVERYTHING - {"fixed"}


@settings(max_examples=examples(15))
@given(job=carvings(REVOLVING), pick=st.randoms())
def test_the_bottom_of_a_ray_is_in_the_cutter_and_no_point_below_it_is(job, pick):
    """Common practice, no source: a place is in a cutter where it is above its edge; no ray is met with anything here."""
    stock, (sweep,) = job
    depth = carved(JUDGE, stock, sweep)
    cut, along_an_edge = depth > 1e-3, np.zeros(depth.shape, dtype=bool)
    for axis, way in itertools.product((0, 1), (1, -1)):
        along_an_edge |= np.roll(cut, way, axis) != cut
    some = [np.argwhere(which & stock.inside).tolist() for which in (~cut, cut, ~cut & along_an_edge, cut & along_an_edge)]
    for row, column in itertools.chain(*(pick.sample(rays, min(2, len(rays))) for rays in some)):
        start, way = stock.rays(np.array(row), np.array(column))
        deep = float(depth[row, column])
        if deep > 1e-3:
            assert reached(stock, sweep, start, way, (deep, deep), -NEAR_MM), f"cut {deep:g} deep at {(row, column)} by nothing"
        furthest = max(deep + 0.2, 2.0) if isinstance(stock.surface, Face) else stock.profile[row, 0] - 1e-6
        under = deep + UNDER_MM, furthest
        if under[0] < under[1]:
            assert not reached(stock, sweep, start, way, under, NEAR_MM), f"cut deeper than {deep:g} at {(row, column)}"


@pytest.mark.parametrize(
    ("vee", "lean", "towards", "beside", "deep", "grazed"),
    [
        (Vee(angle_deg=25.0, width=2.4), 1.0, 1.8, 0.5, 0.3, ((20, 21), (20, 22), (20, 23))),
        (Vee(angle_deg=25.0, width=2.4), 0.6, 2.1, 2.8, 0.7, ((22, 13),)),
        (Vee(angle_deg=40.0, width=3.0), 1.0, 2.3, -2.7, 0.6, ((16, 5), (19, 16))),
    ],
)
def test_a_ray_grazed_by_a_tilted_cutter_is_cut(vee, lean, towards, beside, deep, grazed):
    """These rays are met along a few hundredths of a millimetre of the path, between two places where the judge tries them."""
    stock = stock_of(Disc(diameter=24.0, thickness=5.0), resolution=0.6)
    outward = np.array([[math.tan(lean) * math.cos(towards), math.tan(lean) * math.sin(towards), 1.0]])
    sweep = on_face(vee, [[-10.0, beside, -deep], [10.0, -beside, -deep / 2]], *about(outward, ALONG_X))
    depth = carved(JUDGE, stock, sweep)
    for row, column in grazed:
        start, way = stock.rays(np.array(row), np.array(column))
        found = float(depth[row, column])
        assert found > 0.1
        assert reached(stock, sweep, start, way, (found, found), -NEAR_MM)
        assert not reached(stock, sweep, start, way, (found + UNDER_MM, found + 2.0), NEAR_MM)


HELD = (DrillingSpindle(), EccentricFrame(radius=0.5), EccentricFrame(radius=1.7), CuttingFrame(radius=6.0, angle_deg=30.0))
EDGES = (
    lambda holder: Vee(angle_deg=60.0, width=2.4, holder=holder),
    lambda holder: Ball(radius=1.2, holder=holder),
    lambda holder: FlatEnd(width=1.9, holder=holder),
    lambda holder: RoundNosed(radius=0.4, angle_deg=50.0, width=1.7, holder=holder),
    lambda holder: Profiled(points=STEPPED, holder=holder),
)


@pytest.mark.parametrize("holder", HELD)
@pytest.mark.parametrize("edge", EDGES)
@pytest.mark.parametrize("tip", [(0.37, -0.61, -0.8), (0.0, 0.0, -0.3)])
def test_a_plunge_leaves_the_cutter_s_own_outline(holder, edge, tip):
    """The outline of a solid of revolution over the plane square to, or along, its axis; by hand."""
    cutter = edge(holder)
    x, y = DISC.column_positions - tip[0], DISC.row_positions[:, None] - tip[1]
    if isinstance(holder, CuttingFrame):
        across, along = (
            y * math.cos(math.pi / 6) - x * math.sin(math.pi / 6),
            x * math.cos(math.pi / 6) + y * math.sin(math.pi / 6),
        )
        radius = np.maximum(holder.radius - cutter.edge.at(across), 0.0)
        above = holder.radius - np.where(np.abs(along) <= radius, np.sqrt(np.maximum(radius**2 - along**2, 0.0)), -np.inf)
    else:
        above = cutter.edge.at(np.hypot(x, y) - getattr(holder, "radius", 0.0))
    by_hand = np.where(DISC.inside, np.maximum(-tip[2] - above, 0.0), 0.0)
    assert np.abs(carved(JUDGE, DISC, on_face(cutter, tip)) - by_hand).max() < 2e-7


@settings(max_examples=examples(25))
@given(slope=numbers(-0.9, 0.9), away=numbers(-0.7, 0.7), deep=numbers(0.2, 0.6))
def test_a_ball_and_a_cone_swept_up_a_slope_leave_their_envelopes(slope, away, deep):
    """A ball's envelope is a cylinder about the line of its middle; a cone's is the plane tangent to it along the line.

    Geometry of envelopes: common practice, no source.
    """
    rays = stock_of(Disc(diameter=12.0, thickness=5.0), resolution=0.5)
    tip = np.array([[-5.0, away, -deep - 3 * slope], [5.0, away, -deep + 7 * slope]])
    middle = (np.abs(rays.column_positions) < 1.2)[None] & rays.inside
    v, z = np.abs(rays.row_positions[:, None] - away), -deep + slope * (rays.column_positions + 2.0)
    ball = carved(JUDGE, rays, on_face(Ball(radius=1.2), tip))
    up = np.sqrt(1 + slope**2)
    bottom = z + 1.2 - up * np.sqrt(np.maximum(1.2**2 - v**2, 0.0))
    inside = middle & (v < 1.2 - 1e-6)  # at its very rim a ball is met on end: what the judge may be near by is far along a ray
    expected = np.where(inside & (bottom < 0), -bottom, 0.0)
    assert np.abs(np.where(inside, ball, 0.0) - expected).max() < 2e-6
    cone = carved(JUDGE, rays, on_face(Vee(angle_deg=90.0, width=2.0), tip))
    flank = z + v * math.sqrt(1 - slope**2)
    near = middle & (v < 0.99 * math.sqrt(1 - slope**2))
    assert np.abs(np.where(near, cone - np.maximum(-flank, 0.0), 0.0)).max() < 2e-6


def test_the_groove_of_a_blade_on_an_oblique_path_is_narrower_by_the_cosine():
    """The breadth of a blade seen along its way, by hand: across the path it stands cos(angle) wide."""
    blade = FlatEnd(width=2.0, holder=FixedTool())
    for angle in (0.0, 0.5, 1.0, 1.4):
        way = np.array([math.sin(angle), math.cos(angle), 0.0])
        depth = carved(JUDGE, DISC, on_face(blade, 4 * np.array([[-1.0], [1.0]]) * way - [[0.0, 0.0, 0.5]]))
        away = DISC.column_positions * way[1] - DISC.row_positions[:, None] * way[0]
        along = DISC.column_positions * way[0] + DISC.row_positions[:, None] * way[1]
        within = np.abs(along) < 2.5
        wide = math.cos(angle)
        clear_of_walls = np.abs(np.abs(away) - wide) > 1e-6
        assert np.abs(depth - 0.5 * (np.abs(away) < wide))[within & clear_of_walls].max() < 1e-7
        assert depth[within].any()


def test_a_blade_rotated_in_place_cuts_its_solid_of_revolution():
    """Turned half round, it is everywhere that the solid of revolution is."""
    angle = np.linspace(0.0, math.pi, 20)
    level = np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=-1)
    tip = np.tile([0.1, -0.2, -0.7], (20, 1))
    for edge in EDGES[:2] + EDGES[-1:]:
        bored = carved(JUDGE, DISC, on_face(edge(DrillingSpindle()), tip[:1]))
        spun = carved(JUDGE, DISC, on_face(edge(FixedTool()), tip, UP, level))
        assert np.abs(bored - spun).max() < 2e-6


def test_a_blade_drawn_along_its_own_breadth_cuts_nothing_beside_its_line():
    depth = carved(JUDGE, DISC, on_face(FlatEnd(width=2.0, holder=FixedTool()), [[-4.0, 0.05, -0.5], [4.0, 0.05, -0.5]]))
    assert not depth.any()


@settings(max_examples=examples(12))
@given(job=carvings())
@example(job=(stock_of(Disc(diameter=12.0, thickness=5.0), resolution=0.3), (ROUND_A_RING,)))
def test_stamps_equal_single_poses_and_never_exceed_the_sweep(job):
    """Beside an upright wall a ray is cut or not as rounding falls: where they differ, the rays are shaken."""
    stock, (sweep,) = job
    poses_alone = [type(sweep)(sweep.edge, sweep.holder, tip, out, level) for tip, out, level in single_poses(sweep)]

    def stamps(shift):
        return carved(STAMPS, stock, sweep, shift=shift)

    def each(shift):
        return np.max([carved(JUDGE, stock, pose, shift=shift) for pose in poses_alone], axis=0)

    def swept(shift):
        return carved(JUDGE, stock, sweep, shift=shift)

    assert_same(stamps, each, 2e-6)
    assert_same(lambda shift: np.maximum(stamps(shift), swept(shift)), swept, 2e-6)


@pytest.mark.parametrize(("holder", "turn"), [(CuttingFrame(radius=3.0), 0.3), (FixedTool(), 0.03)], ids=["frame", "blade"])
def test_a_tilted_cutter_rotated_in_place_is_stamped_at_each_pose(holder, turn):
    """A frame then stands otherwise at each place; a blade's plane holds the ray through its tip, and cuts none."""
    cos, sin = np.cos([0.0, turn]), np.sin([0.0, turn])
    outward, level = about(np.stack([0.3 * cos, 0.3 * sin, np.ones(2)], axis=-1), np.stack([cos, sin, np.zeros(2)], axis=-1))
    cutter, stock = Vee(angle_deg=25.0, width=0.8, holder=holder), stock_of(Disc(diameter=8.0, thickness=5.0), resolution=0.25)
    both, first, last = (
        carved(STAMPS, stock, on_face(cutter, np.tile([0.0, 0.0, -0.3], (len(outward[each]), 1)), outward[each], level[each]))
        for each in (slice(0, 2), slice(0, 1), slice(1, 2))
    )
    assert np.array_equal(both, np.maximum(first, last))
    assert np.array_equal(first, last) == isinstance(holder, FixedTool)


def single_poses(sweep):
    ways = (np.broadcast_to(way, sweep.tip.shape) for way in (sweep.outward, sweep.level))
    return zip(*(np.split(each.copy(), len(sweep.tip)) for each in (sweep.tip, *ways)), strict=True)


def test_progress_grows_to_1_and_its_exception_stops_the_carving():
    sweep = on_face(Ball(radius=1.2), [[-5.0, 0.0, -0.5], [5.0, 1.0, -0.5]])
    for judge in (JUDGE, STAMPS):
        said = []
        judge.carve(DISC, [sweep, sweep], DISC.uncut(), said.append)
        assert said == sorted(said)
        assert said[-1] == 1.0

        def stop(part):
            raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            judge.carve(DISC, [sweep], DISC.uncut(), stop)


def test_a_ray_through_the_axis_of_a_frame_gives_no_warning():
    """Its distance from the axis is then what rounding leaves, and its slope was divided by that; drawn by chance."""
    stock = stock_of(Turned(profile=((0.0, 4.0), (-5.0, 5.5), (-10.0, 4.0))), resolution=0.45)
    ball = Ball(radius=0.4, holder=CuttingFrame(radius=3.0))
    tip = [[5.050400905239387, 2.1352752546442866, -5.437941340138965], [3.820211927856601, 3.93343749702486, -5.437941340138965]]
    outward = [
        [0.918455486990631, 0.38831675161249474, -0.0751639463700727],
        [0.6947358580913767, 0.7153268264563516, -0.0751639463700727],
    ]
    level = [
        [0.0692305791567987, 0.029270219396810015, 0.997171189498612],
        [0.05236722573704016, 0.053919314744616725, 0.997171189498612],
    ]
    depth = carved(JUDGE, stock, Sweep(ball.edge, ball.holder, *map(np.array, (tip, outward, level))))
    assert np.isfinite(depth).all()


def test_the_reference_backend_is_short():
    """The judge is checked by reading it, so it has fewer than 250 lines, and imports only data of the library."""
    source = inspect.getsource(plain)
    assert len(source.splitlines()) < 250
    at_run_time = source[: source.index("if TYPE_CHECKING")]
    data = {"geometry.cutter_edge", "geometry.rigid", "geometry.surface", "parts.holder"}
    assert set(re.findall(r"from lobework\.([\w.]+) import", at_run_time)) == data
    assert PlainBackend().can == EVERYTHING


def test_a_path_that_starts_within_rounding_of_a_ray_cuts_it():
    """Closer than anything that is decided: rounding alone may leave the tip of a path on either side of a ray."""
    depths = []
    for beside in (-1e-13, 0.0, 1e-13):
        path = [[0.0, beside, -0.5], [0.1, 3.0, -0.5]]
        depths.append(carved(JUDGE, DISC, on_face(Vee(angle_deg=60.0, width=2.0, holder=FixedTool()), path)))
    assert depths[0][DISC.rows // 2].max() == pytest.approx(0.5, abs=1e-6)
    assert np.abs(depths[0] - depths[2]).max() < 1e-6


def test_a_cutter_never_reaches_through_the_axis_to_the_other_side():
    """Bored past the axis from one side, the rays of the other side stay whole: each ends at the axis."""
    drill = on_round(FlatEnd(width=2.0), BARREL.surface, [0.0], [4.0], [7.0])
    depth = carved(JUDGE, BARREL, drill)
    near = np.abs(np.angle(np.exp(1j * BARREL.column_positions))) < math.pi / 2
    beside = np.abs(BARREL.row_positions - 4.0) < 0.9
    assert depth.max() <= 5.0
    assert (depth[np.ix_(beside, np.abs(np.sin(BARREL.column_positions)) < 1e-9)][:, 0] == 5.0).all()
    assert depth[:, near].any()
    depth = carved(JUDGE, *HARD["a wheel through the axis of the work, where rays end"])
    assert (depth <= HOURGLASS.to_axis[:, None] * (1 + 1e-6)).all()
    assert (depth == HOURGLASS.to_axis[:, None].astype(np.float32)).any()
