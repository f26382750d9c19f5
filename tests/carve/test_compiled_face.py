"""The compiled way over a face, held to a search written here: every ray, every place along every segment, ever finer."""

from __future__ import annotations

import itertools
import math

import numba
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numba import njit

from lobework.carve import compiled_face
from lobework.carve.compiled_face import carve_face
from lobework.carve.stock import stock_of
from lobework.carve.sweep import Sweep
from lobework.kernels.records import zeros
from lobework.kernels.sweep import simd, tiles
from lobework.kernels.sweep.segments import Segment, fill_segments
from lobework.parts.cutter import Ball, FlatEnd, Profiled, RoundNosed, Vee
from lobework.parts.holder import EccentricFrame
from lobework.parts.piece import Disc
from tests.search import examples

AGREED_MM = 2e-4
RIM_MM = 1e-5
"""By how much the place of a side that goes straight up may differ."""
PEAKS = 4
"""How many of the deepest places along a segment are searched finer."""
STOCK = stock_of(Disc(diameter=6.0, thickness=9.0), resolution=0.15)
UP, LEVEL = np.array([[0.0, 0.0, 1.0]]), np.array([[1.0, 0.0, 0.0]])
POINTS = ((0.0, 0.0), (0.4, 0.0), (0.9, 0.6), (1.2, 0.7), (1.5, 2.0))
CUTTERS = {
    "ball": Ball(radius=0.8),
    "vee": Vee(angle_deg=90.0, width=3.0),
    "keen vee": Vee(angle_deg=40.0, width=0.8),
    "flat": FlatEnd(width=1.2),
    "round-nosed": RoundNosed(radius=0.3, angle_deg=60.0, width=2.0),
    "profile": Profiled(points=POINTS),
    "swung vee": Vee(angle_deg=90.0, width=1.0, holder=EccentricFrame(radius=1.1)),
    "swung ball": Ball(radius=0.5, holder=EccentricFrame(radius=0.9)),
    "swung wider than its circle": Profiled(points=((0.0, 0.0), (0.3, 0.0), (1.0, 0.6)), holder=EccentricFrame(radius=0.5)),
}
_TURN = np.linspace(0, 2 * np.pi, 9)
PATHS = {
    "level, closed": np.stack([np.cos(_TURN), np.sin(_TURN), 0 * _TURN - 0.35], axis=-1),
    "rising and falling, closed": np.stack([np.cos(_TURN), np.sin(_TURN), -0.4 + 0.2 * np.sin(2 * _TURN)], axis=-1),
    "one slope": np.array([[-1.5, 0.3, -0.05], [1.4, 0.8, -0.7]]),
    "steeper than a flank": np.array([[-0.4, 0.1, 0.5], [0.0, 0.3, -1.2], [0.3, 0.9, 0.2]]),
    "a plunge alone": np.array([[0.33, 0.17, -0.6]]),
    "a plunge between the rays' spacing": np.array([[0.3, 0.2, 0.1], [0.3, 0.2, -0.6]]),
    "a plunge on the way": np.array([[-1.0, -1.0, -0.2], [0.0, 0.0, -0.2], [0.0, 0.0, -0.8], [0.0, 0.0, -0.1], [1, -1, -0.3]]),
    "places repeated": np.array([[-1, -1, -0.2], [-1, -1, -0.2], [0.5, 0, -0.2], [0.5, 0, -0.2], [1, 0.7, -0.4], [1, 0.7, -0.4]]),
    "there and back": np.array([[-1, -1, -0.2], [1, -1, -0.5], [-0.7, -1, -0.3], [0.7, -1.0, -0.6]]),
    "over the edge of the work": np.array([[2.0, 2.0, -0.4], [3.5, -1.2, -0.7], [1.5, -2.7, -0.3]]),
    "far off the work": np.array([[40.0, 2.0, -0.4], [41.0, 2.0, -0.4]]),
    "out of the work": np.array([[-1.0, 0.0, 0.3], [1.0, 0.2, 0.1]]),
    "touching": np.array([[-1.0, 0.0, 0.0], [1.0, 0.2, 0.0]]),
    "short and crooked": np.array([[0.001 * k, 0.4 * (k % 2) * 0.002, -0.3 - 0.0004 * (k % 3)] for k in range(20)]),
}


def sweep(cutter, tip):
    return Sweep(cutter.edge, cutter.holder, np.asarray(tip, dtype=float), UP, LEVEL)


def carved(*sweeps, stock=STOCK):
    depth = stock.uncut()
    carve_face(stock, sweeps, depth, lambda part: None)
    return depth


def searched(cutter, tip, rim, stock=STOCK):
    """Return the depths that the cutter, its side ``rim`` mm further out, is found to reach."""
    edge, swing = cutter.edge, cutter.holder.radius if isinstance(cutter.holder, EccentricFrame) else 0.0

    def depths(cells, places):
        off = np.abs(np.hypot(cells[:, None, 0] - places[..., 0], cells[:, None, 1] - places[..., 1]) - swing)
        inside = off <= edge.half_width + rim
        height = edge.at(np.minimum(off, edge.half_width).ravel()).reshape(off.shape)
        return np.where(inside, -(places[..., 2] + height), -np.inf)

    found = np.zeros(stock.shape)
    grid = np.stack(np.meshgrid(stock.column_positions, stock.row_positions), axis=-1)
    for a, b in itertools.pairwise(tip if len(tip) > 1 else [*tip, *tip]):
        along, length = (b - a)[:2], np.linalg.norm(b - a)
        part = np.clip((grid - a[:2]) @ along / max(along @ along, 1e-300), 0.0, 1.0)
        off = np.linalg.norm(grid - a[:2] - part[..., None] * along, axis=-1)
        near = stock.inside & (off <= edge.half_width + swing + RIM_MM)
        cells = grid[near]
        if not len(cells):
            continue
        steps = max(16, math.ceil(length / 4e-3))
        part = np.linspace(0.0, 1.0, steps + 1)
        reached = depths(cells, a + part[None, :, None] * (b - a))
        peaks = np.where(reached >= np.maximum(np.roll(reached, 1, axis=1), np.roll(reached, -1, axis=1)), reached, -np.inf)
        peaks[:, [0, -1]] = reached[:, [0, -1]]
        tried = np.argpartition(peaks, -PEAKS, axis=1)[:, -PEAKS:]
        cells, middle, half = np.repeat(cells, PEAKS, axis=0), part[tried].ravel(), 1 / steps
        for _ in range(5):
            part = np.clip(middle[:, None] + half * np.linspace(-1.0, 1.0, 17), 0.0, 1.0)
            reached = depths(cells, a + part[..., None] * (b - a))
            middle, half = part[np.arange(len(cells)), reached.argmax(axis=1)], half / 8
        found[near] = np.maximum(found[near], reached.max(axis=1).reshape(-1, PEAKS).max(axis=1))
    return found


def compare(cutter, tip, depth, stock=STOCK):
    least, most = searched(cutter, tip, -RIM_MM, stock), searched(cutter, tip, RIM_MM, stock)
    assert (depth >= least - AGREED_MM).all(), f"{(least - depth).max()} mm too shallow"
    assert (depth <= most + AGREED_MM).all(), f"{(depth - most).max()} mm too deep"


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("cutter", CUTTERS)
def test_every_depth_equals_that_of_a_search_along_the_path(cutter, path):
    compare(CUTTERS[cutter], PATHS[path], carved(sweep(CUTTERS[cutter], PATHS[path])))


places = st.tuples(*[st.integers(-7, 7).map(lambda k: 0.3 * k)] * 2, st.integers(-6, 1).map(lambda k: k / 8))


@settings(max_examples=examples(12))
@given(cutter=st.sampled_from(sorted(CUTTERS)), tip=st.lists(places, min_size=1, max_size=4))
def test_paths_through_rays_give_the_depths_of_a_search(cutter, tip):
    compare(CUTTERS[cutter], np.array(tip), carved(sweep(CUTTERS[cutter], tip)))


def ring(radius, count, depth, waves=0.0):
    turn = np.linspace(0, 2 * np.pi, count)
    return np.stack([radius * np.cos(turn), radius * np.sin(turn), -depth + waves * np.sin(5 * turn)], axis=-1)


WIDE = stock_of(Disc(diameter=40.0, thickness=9.0), resolution=0.1)


def rosettes(cutter, waves):
    for k in range(6):
        turn = np.linspace(0, 2 * np.pi, 1500)
        radius = 4 + 2 * k + 0.5 * np.cos(8 * turn + k)
        depth = -0.4 - 0.05 * (k % 3) + waves * np.sin(3 * turn)
        yield sweep(cutter, np.stack([radius * np.cos(turn), radius * np.sin(turn), depth], axis=-1))


@pytest.mark.parametrize("waves", [0.0, 0.1])
@pytest.mark.parametrize("cutter", ["ball", "vee", "profile", "swung vee"])
class TestLaws:
    def test_the_number_of_threads_does_not_change_the_depths(self, cutter, waves):
        sweeps = list(rosettes(CUTTERS[cutter], waves))
        every = numba.config.NUMBA_NUM_THREADS
        numba.set_num_threads(1)
        one = carved(*sweeps, stock=WIDE)
        numba.set_num_threads(every)
        np.testing.assert_array_equal(carved(*sweeps, stock=WIDE), one)

    def test_the_order_of_passes_does_not_matter(self, cutter, waves):
        sweeps = list(rosettes(CUTTERS[cutter], waves))
        np.testing.assert_array_equal(carved(*sweeps[::-1], stock=WIDE), carved(*sweeps, stock=WIDE))

    def test_passes_of_several_depths_give_the_greatest_depth_of_each_alone(self, cutter, waves):
        sweeps = list(rosettes(CUTTERS[cutter], waves))
        alone = np.maximum.reduce([carved(each, stock=WIDE) for each in sweeps])
        np.testing.assert_array_equal(carved(*sweeps, stock=WIDE), alone)

    def test_repeated_passes_change_nothing(self, cutter, waves):
        sweeps = list(rosettes(CUTTERS[cutter], waves))
        np.testing.assert_array_equal(carved(*sweeps, *sweeps, stock=WIDE), carved(*sweeps, stock=WIDE))

    def test_depths_never_decrease(self, cutter, waves):
        sweeps = list(rosettes(CUTTERS[cutter], waves))
        depth = np.full(WIDE.shape, 0.3, dtype=np.float32)
        carve_face(WIDE, sweeps, depth, lambda part: None)
        np.testing.assert_array_equal(depth, np.maximum(carved(*sweeps, stock=WIDE), np.float32(0.3)))

    def test_two_halves_of_a_pass_equal_the_whole(self, cutter, waves):
        whole = next(rosettes(CUTTERS[cutter], waves))
        halves = [sweep(CUTTERS[cutter], part) for part in (whole.tip[:701], whole.tip[700:])]
        np.testing.assert_allclose(carved(*halves, stock=WIDE), carved(whole, stock=WIDE), rtol=0, atol=1e-6)


waved = st.tuples(st.integers(10, 180), st.integers(0, 5), st.integers(0, 6), st.sampled_from([0.05, 0.1, 0.2, 0.4, 0.6]))


@settings(max_examples=examples(24))
@given(cutter=st.sampled_from(sorted(CUTTERS)), rings=st.lists(waved, min_size=2, max_size=6))
def test_rings_of_several_depths_give_the_greatest_depth_of_each_alone(cutter, rings):
    turn = np.linspace(0, 2 * np.pi, 900)
    sweeps = []
    for radius, rise, phase, depth in rings:
        out = radius / 10 + rise / 10 * np.sin(12 * turn + phase)
        sweeps.append(sweep(CUTTERS[cutter], np.stack([out * np.cos(turn), out * np.sin(turn), 0 * turn - depth], axis=-1)))
    alone = np.maximum.reduce([carved(each, stock=WIDE) for each in sweeps])
    np.testing.assert_array_equal(carved(*sweeps, stock=WIDE), alone)


@pytest.mark.parametrize(("cutter", "bends"), [("ball", 0.8), ("vee", 1.0)])
def test_merged_samples_of_a_dense_ring_give_its_closed_form(cutter, bends):
    """The ring's own solid, a torus and a cone turned about its middle: from memory."""
    dense = ring(8.0, 60_001, 0.3)
    x, y = np.meshgrid(WIDE.column_positions, WIDE.row_positions)
    off = np.abs(np.hypot(x, y) - 8.0)
    height = 0.8 - np.sqrt(np.maximum(0.64 - off**2, 0.0)) if cutter == "ball" else off
    expected = np.where(off <= bends, np.maximum(0.3 - height, 0.0), 0.0)
    np.testing.assert_allclose(carved(sweep(CUTTERS[cutter], dense), stock=WIDE), expected, rtol=0, atol=3e-6)
    segments = zeros(Segment, len(dense))
    within = compiled_face.MERGED_MM / 2
    assert fill_segments(dense, 0, len(dense), within, within, -0.3, segments, 0) < len(dense) / 3


def test_merged_samples_are_within_the_tolerance_of_their_segment():
    turn = np.linspace(0, 1, 4001)
    tip = np.stack([3 * np.cos(turn), 3 * np.sin(turn) + 0.2 * np.sin(40 * turn), -0.5 + 0.1 * np.cos(9 * turn)], axis=-1)
    segments = zeros(Segment, len(tip))
    at = fill_segments(tip, 0, len(tip), 1e-4, 2e-4, math.nan, segments, 0)
    x, y, z, ux, uy, length, slope = (
        segments[name][:at] for name in ("x", "y", "z", "direction_x", "direction_y", "length", "slope")
    )
    along = (tip[:, None, 0] - x) * ux + (tip[:, None, 1] - y) * uy
    aside = np.abs((tip[:, None, 1] - y) * ux - (tip[:, None, 0] - x) * uy)
    apart = np.abs(tip[:, None, 2] - z - slope * along)
    passed = (along >= -1e-12) & (along <= length + 1e-12) & (aside <= 1e-4 + 1e-12) & (apart <= 2e-4 + 1e-5)
    assert passed.any(axis=1).all()
    assert at < len(tip) / 4
    assert (segments["slope"][:at] >= 0).all()


def test_processing_in_slices_gives_the_same_depths_and_reports_progress(monkeypatch):
    sweeps = [*rosettes(CUTTERS["ball"], 0.0), *rosettes(CUTTERS["vee"], 0.1)]
    whole = carved(*sweeps, stock=WIDE)
    monkeypatch.setattr(compiled_face, "_AT_ONCE", 900)
    monkeypatch.setattr(compiled_face, "_STRETCH", 400)
    said = []
    depth = WIDE.uncut()
    carve_face(WIDE, sweeps, depth, said.append)
    np.testing.assert_allclose(depth, whole, rtol=0, atol=1e-6)
    assert len(said) > 10
    assert said == sorted(said)
    assert said[-1] == 1.0


def test_an_exception_from_progress_stops_the_carving():
    def stop(part):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        carve_face(WIDE, list(rosettes(CUTTERS["ball"], 0.0)), WIDE.uncut(), stop)


@pytest.mark.parametrize(("diameter", "resolution"), [(7.3, 0.013), (7.3, 0.37), (6.0, 1.5), (6.0, 0.1)])
def test_rays_outside_the_work_are_not_cut(diameter, resolution):
    stock = stock_of(Disc(diameter=diameter, thickness=9.0), resolution=resolution)
    first, last = tiles.work_in(stock.inside).T
    column = np.arange(stock.columns)
    np.testing.assert_array_equal((column >= first[:, None]) & (column < last[:, None]), stock.inside)
    depth = carved(sweep(FlatEnd(width=20.0), [[0.0, 0.0, -1.0]]), stock=stock)
    np.testing.assert_array_equal(depth, np.where(stock.inside, np.float32(1.0), np.float32(0.0)))


def test_a_single_ray_has_the_depth_that_it_has_in_its_grid():
    sweeps = list(rosettes(CUTTERS["profile"], 0.1))
    depth = carved(*sweeps, stock=WIDE)
    for row, column in ((200, 160), (250, 190), (90, 140)):
        assert carved(*sweeps, stock=WIDE.ray(row, column))[0, 0] == pytest.approx(depth[row, column], abs=2e-6)


def test_a_segment_across_the_whole_work_has_equal_depth_at_both_ends():
    tip = [[-19.0, -3.0, -0.5], [19.0, 4.0, -0.5]]
    stock = stock_of(Disc(diameter=40.0, thickness=9.0), resolution=0.04)
    x, y = np.meshgrid(stock.column_positions, stock.row_positions)
    along = np.array([38.0, 7.0]) / math.hypot(38.0, 7.0)
    off = np.abs((x + 19) * along[1] - (y + 3) * along[0])
    inner = stock.inside & (np.abs(x) < 17)
    depth = carved(sweep(CUTTERS["vee"], tip), stock=stock)
    np.testing.assert_allclose(depth[inner], np.maximum(0.5 - off, 0.0)[inner], rtol=0, atol=5e-6)


@pytest.mark.parametrize("wraps", [False, True])
def test_segments_are_binned_only_to_the_tiles_that_they_reach(wraps):
    random = np.random.default_rng(1)
    rows, columns = 300, 517
    low = random.integers(-700, 900, (200, 2))
    high = low + random.integers(-3, 600, (200, 2))
    bounds = np.stack([low[:, 0], high[:, 0], low[:, 1], high[:, 1]], axis=-1).astype(np.int32)
    binned, done = [], 0
    while done < len(bounds):
        starts, order, taken = tiles.bin_to_tiles(bounds[done:], rows, columns, wraps, 300)
        assert order.size <= 300
        for tile, (begin, end) in enumerate(itertools.pairwise(starts)):
            assert (np.diff(order[begin:end]) > 0).all()
            binned += [(tile, done + int(k)) for k in order[begin:end]]
        done += taken
    expected = set()
    for k, (top, bottom, left, right) in enumerate(bounds):
        down = {row // tiles.SIDE for row in range(max(top, 0), min(bottom, rows - 1) + 1)}
        reached = (column % columns if wraps else column for column in range(left, right + 1))
        across = {column // tiles.SIDE for column in reached if 0 <= column < columns}
        expected |= {(i * 5 + j, k) for i in down for j in across}
    assert len(binned) == len(set(binned))
    assert set(binned) == expected


def test_a_tile_is_written_back_unchanged_inside_the_work():
    random = np.random.default_rng(2)
    depth = random.random((300, 517)).astype(np.float32)
    work = np.stack([random.integers(0, 200, 300), random.integers(200, 518, 300)], axis=-1).astype(np.int32)
    work[:128] = 0, 517
    out = np.zeros_like(depth)
    for number in range(15):
        tile = tiles.blank_tile()
        row, column = tiles.corner(number, 517)
        tiles.load_tile(depth, row, column, tile)
        if number == 0:
            assert tile[5 * tiles.PATCHES + 3, 2 * tiles.PATCH + 1] == depth[22, 13]
        tiles.store_tile(tile, row, column, work, out)
    column = np.arange(517)
    np.testing.assert_array_equal(out, np.where((column >= work[:, :1]) & (column < work[:, 1:]), depth, np.float32(0.0)))


@njit
def worked(tile, a, b):
    x, y = simd.load(tile, 0), simd.load(tile, 1)
    simd.store(tile, 2, x + y * a)
    simd.store(tile, 3, simd.minimum(x, y) - simd.maximum(x, simd.broadcast(b)))
    simd.store(tile, 4, simd.sqrt(x * x) / y)
    simd.store(tile, 5, simd.where_at_most(x, y, simd.rows(), simd.columns()))
    simd.store(tile, 6, b - x / a)


def test_lane_arithmetic_equals_scalar_arithmetic():
    tile = np.zeros((7, 16), np.float32)
    tile[:2] = np.random.default_rng(3).normal(size=(2, 16))
    worked(tile, np.float32(2.0), np.float32(0.5))
    x, y = tile[:2].astype(float)
    lane = np.arange(16)
    expected = [
        x + 2 * y,
        np.minimum(x, y) - np.maximum(x, 0.5),
        np.abs(x) / y,
        np.where(x <= y, lane // 4, lane % 4),
        0.5 - x / 2,
    ]
    np.testing.assert_allclose(tile[2:], expected, rtol=1e-6, atol=1e-6)
