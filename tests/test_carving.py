"""What is read off carved work: depth, wall, volume, land, ridges, and which pass and step went deepest."""

from __future__ import annotations

import math
import tracemalloc
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lobework.carve import Carving, stock_of
from lobework.carve.backend import EVERYTHING
from lobework.errors import SettingError, UnknownNameError
from lobework.jobs.job import Job
from lobework.jobs.jobfile import read_lathe
from lobework.lathe.passes import Pass
from lobework.parts.cutter import Ball, FlatEnd, Pen, Profiled, Vee
from lobework.parts.holder import CuttingFrame, EccentricFrame, FixedTool
from lobework.parts.piece import Barrel, Disc, Turned
from lobework.parts.slide import At
from lobework.plugins import registry
from tests.search import examples
from tests.strategies import numbers

DISC = Disc(diameter=24.0, thickness=3.0)
BARREL = Barrel(diameter=24.0, length=12.0, bore=18.0)
VEE = Vee(angle_deg=90.0, width=2.0)


def job(*passes, piece=DISC, cutter=VEE, resolution=0.4, **given):
    return Job(
        title="Tide box",
        lathe=read_lathe("plain-bench"),
        piece=piece,
        cutter=cutter,
        passes=passes,
        resolution=resolution,
        **given,
    )


def ring(x=8.0, depth=0.4, z=0.0, name="rings", **given):
    return Pass(name=name, at=At(x=x, z=z, depth=depth), **given)


def carved(*passes, **given):
    return job(*passes, **given).carve(backend="plain")


def bare(piece, depth, resolution=0.5):
    """A carving whose depths are what a test says."""
    stock = stock_of(piece, resolution)
    return Carving(title="", piece=piece, stock=stock, depth=depth(stock).astype(np.float32), sweeps=())


def test_a_ring_removes_the_volume_of_pappus_theorem():
    """Pappus: a right-angled vee d deep has the section d^2; its middle is a third of the way down."""
    face = carved(ring(x=8.0, depth=0.8), resolution=0.2)
    assert face.volume == pytest.approx(0.8**2 * 2 * math.pi * 8.0, rel=0.01)
    side = carved(ring(x=12.0, z=-6.0, depth=0.8), piece=BARREL, resolution=0.4)
    assert side.stock.row_step == pytest.approx(0.4)
    assert side.volume == pytest.approx(0.8**2 * 2 * math.pi * (12.0 - 0.8 / 3), rel=0.01)


def test_land_is_the_uncut_area():
    """A flat end 2 mm wide touches five rows 0.4 mm apart, all round a barrel of 24 mm; rows stand for their own width."""
    side = carved(ring(x=12.0, z=-6.0, depth=0.3), piece=BARREL, cutter=FlatEnd(width=2.0 + 1e-6), resolution=0.4)
    whole = math.pi * 24.0 * 12.0
    assert side.land == pytest.approx(whole - math.pi * 24.0 * 5 * 0.4, rel=1e-9)
    assert side.land_part == pytest.approx(side.land / whole)
    assert bare(DISC, lambda stock: np.zeros(stock.shape)).land_part == 1.0


def scallop(radius, apart):
    """R - sqrt(R^2 - (s/2)^2): how high the ridge between two grooves of a ball stands, from the circle through it (common
    practice, no source)."""
    return radius - math.sqrt(radius**2 - apart**2 / 4)


def rings_of_a_ball(radius, apart, depth, outermost, count):
    """Depths of rings about the middle, each the circle of the ball."""

    def depths(stock):
        out = np.hypot(stock.column_positions, stock.row_positions[:, None])
        beside = [np.minimum(np.abs(out - outermost + k * apart), radius) for k in range(count)]
        deepest = np.max([depth - radius + np.sqrt((radius - each) * (radius + each)) for each in beside], axis=0)
        return np.where(stock.inside, np.maximum(deepest, 0.0), 0.0)

    return depths


@given(numbers(0.5, 2.0), numbers(0.3, 1.7), numbers(0.2, 0.9), numbers(9.0, 10.0), st.integers(1, 5))
@settings(max_examples=examples(40))
def test_ridges_between_rings_have_the_scallop_height_and_flanks_are_not_ridges(radius, apart, depth, outermost, count):
    """Rays 0.1 mm apart come within 0.05 mm of a ridge, whose sides are as steep as the circle there."""
    apart, depth = apart * radius, depth * radius
    count = min(count, 1 + int((outermost - radius) / apart))
    height = scallop(radius, apart) if count > 1 else 0.0
    steep = apart / 2 / math.sqrt(radius**2 - apart**2 / 4)
    found = bare(DISC, rings_of_a_ball(radius, apart, depth, outermost, count), 0.1).cusp
    if height < depth - 0.1 * steep:
        assert height - 0.1 * steep <= found <= height + 1e-6
    elif height > depth + 0.1 * steep:
        assert found == 0.0


def test_the_ridge_between_carved_rings_is_the_scallop():
    """Floors and ridges fall on rays."""
    one = carved(ring(x=4.8, depth=0.5).series(2, x=-1.2), piece=Disc(diameter=14.4, thickness=3.0), cutter=Ball(radius=1.0),
                 resolution=0.3, chord=1e-4)  # fmt: skip
    assert one.cusp == pytest.approx(scallop(1.0, 1.2), abs=1e-4)


def test_the_ridge_between_rings_round_a_barrel_is_the_same_scallop():
    one = carved(ring(x=12.0, z=-6.0, depth=0.5).series(2, z=-1.2), piece=BARREL, cutter=Ball(radius=1.0), resolution=0.3)
    assert one.cusp == pytest.approx(scallop(1.0, 1.2), abs=1e-4)


LINES = {
    "one groove": ([0, 0, 1, 0, 0], 0.0),
    "two grooves that meet": ([0, 1, 0.4, 1.2, 0], 0.6),
    "two wide grooves with a wide ridge": ([0, 1, 1, 0.25, 0.25, 1, 1, 0], 0.75),
    "land between two grooves": ([0, 1, 0, 0, 1, 0], 0.0),
    "two ridges": ([0, 1, 0.75, 1, 0.5, 2, 0], 0.5),
    "stairs": ([0, 0.5, 1, 1.5, 1, 0.5, 0], 0.0),
    "rounding": ([0, 1, 1 - 1e-6, 1, 0], 0.0),
    "a groove at either end": ([1, 0.5, 1], 0.5),
    "a flank that ends in rounding": ([0, 1, 0.5, 2e-6, 0, 0, 1, 0], 0.0),
    "nothing": ([0, 0, 0], 0.0),
    "one level": ([1, 1, 1], 0.0),
}


@pytest.mark.parametrize("case", LINES)
@pytest.mark.parametrize("along", ["rows", "columns"])
@pytest.mark.parametrize("piece", [DISC, BARREL], ids=lambda piece: piece.form)
def test_the_height_of_a_ridge_is_measured_from_the_shallower_side(case, along, piece):
    line, height = LINES[case]

    def depth(stock):
        grid = np.zeros(stock.shape)
        middle = stock.rows // 2, stock.columns // 2
        if along == "rows":
            grid[middle[0] : middle[0] + 5, middle[1] : middle[1] + len(line)] = line
        else:
            grid[middle[0] : middle[0] + len(line), middle[1] : middle[1] + 5] = np.transpose([line])
        return grid

    assert bare(piece, depth).cusp == pytest.approx(height, abs=1e-6)


def test_a_terrace_beside_a_groove_is_not_a_ridge():
    """A ring 0.5 deep, and inside it a level one 0.4 deep: a row that runs along the terrace meets the groove on both sides."""

    def depths(stock):
        out = np.hypot(stock.column_positions, stock.row_positions[:, None])
        return np.where((out > 5.03) & (out < 6.03), 0.5, np.where((out > 4.03) & (out <= 5.03), 0.4, 0.0))

    assert bare(DISC, depths, 0.1).cusp == 0.0


def test_a_ridge_that_slopes_along_its_own_length_is_found():
    """A roof along X that falls by 0.1 mm a mm from one rim to the other, its sides by 1 mm a mm, the floors beside it level."""

    def depths(stock):
        x, y = stock.column_positions, stock.row_positions[:, None]
        roof = np.clip(1.5 + 0.1 * x + np.abs(y), 0.0, 2.5)
        return np.where(np.abs(y) < 4, roof, 0.0)

    assert bare(DISC, depths, 0.5).cusp == pytest.approx(2.5 - (1.5 - 0.1 * 12.0))


def test_ridges_are_found_across_the_seam_of_a_round_surface_and_up_to_both_ends():
    def seam(stock):
        grid = np.zeros(stock.shape)
        grid[5:10, [-2, -1, 0, 1]] = 1.0, 0.4, 0.4, 1.0
        return grid

    def end(stock):
        grid = np.zeros(stock.shape)
        grid[:3, 7:12] = [[1.0], [0.7], [1.0]]
        return grid

    assert bare(BARREL, seam).cusp == pytest.approx(0.6)
    assert bare(BARREL, end).cusp == pytest.approx(0.3)
    assert bare(DISC, seam).cusp == 0.0


def test_the_deepest_place_names_the_pass_and_the_step_that_cut_it():
    one = carved(ring(x=5.0, depth=0.3, name="rim"), ring(x=9.0, depth=0.2).series(3, x=-0.4, depth=0.15))
    assert one.deepest.cut == "rings 3"
    assert one.deepest.depth == pytest.approx(0.5, abs=0.02)
    assert math.hypot(*one.deepest.place) == pytest.approx(8.2, abs=0.02)
    assert one.thinnest == one.deepest
    assert one.thinnest.wall == pytest.approx(3.0 - one.deepest.depth)


def test_a_spot_is_named_by_angle_and_z_on_a_round_surface():
    one = carved(ring(x=12.0, z=-3.2, depth=0.5, turns=0, name="dot"), piece=BARREL, cutter=Ball(radius=1.0))
    assert one.deepest.cut == "dot"
    assert one.deepest.place == pytest.approx((0.0, -3.2))
    assert one.deepest.depth == pytest.approx(0.5, abs=1e-6)
    assert one.thinnest.wall == pytest.approx(2.5, abs=1e-6)


def test_the_thinnest_place_need_not_be_the_deepest():
    """Two cylinders' walls: 4 mm at one end, 2 at the other: a shallow ring leaves less there than a deep one here."""
    piece = Turned(profile=((0, 12), (-12, 12)), hollow=((0, 8), (-12, 10)))
    one = carved(ring(x=12.0, z=-2.0, depth=0.9, name="deep"), ring(x=12.0, z=-10.0, depth=0.6, name="thin"), piece=piece)
    assert (one.deepest.cut, one.thinnest.cut) == ("deep", "thin")
    assert one.deepest.depth == pytest.approx(0.9, abs=1e-6)
    assert one.thinnest.wall == pytest.approx(12 - (8 + 10 / 6) - 0.6, abs=0.01)


def test_of_equally_deep_cuts_the_first_is_named():
    one = carved(ring(name="first"), ring(name="second"))
    assert one.deepest.cut == "first"


def test_an_uncut_place_names_no_cut():
    one = carved(ring(x=8.0))
    middle = one.stock.rows // 2, one.stock.columns // 2
    assert one.spot(*middle).cut == ""
    assert one.spot(*middle).depth == 0.0
    assert one.spot(*middle).wall == 3.0


@pytest.mark.parametrize(
    "cutter",
    [
        Ball(radius=1.0, holder=FixedTool()),
        VEE,
        Vee(angle_deg=60.0, width=2.0, holder=CuttingFrame(radius=6.0, angle_deg=20.0)),
        Ball(radius=0.5, holder=EccentricFrame(radius=2.0)),
        Profiled(points=((0, 0), (0.5, 0), (1, 1))),
    ],
    ids=lambda cutter: f"{cutter.kind}, {cutter.holder.kind}",
)
@pytest.mark.parametrize("piece", [DISC, BARREL], ids=lambda piece: piece.form)
def test_a_spot_names_its_cut_for_every_holder(cutter, piece):
    z = -6.0 if piece is BARREL else 0.0
    x = 12.0 if piece is BARREL else 7.0
    one = carved(
        ring(x=x, z=z, depth=0.2, name="shallow", turns="1/8"), ring(x=x, z=z, depth=0.5, name="deep", turns="1/8"),
        piece=piece, cutter=cutter, resolution=0.8, chord=0.02,
    )  # fmt: skip
    assert one.deepest.cut == "deep"


def test_depth_behind_the_wall_does_not_count_as_removed():
    """A flat end 4 mm wide through a disc 1 mm thick takes a ring 1 mm high."""
    through = carved(ring(x=6.0, depth=2.5), piece=Disc(diameter=17.0, thickness=1.0), cutter=FlatEnd(width=4.0), resolution=0.4)
    assert through.volume == pytest.approx(math.pi * (8.0**2 - 4.0**2) * 1.0, rel=0.04)
    assert through.deepest.depth == pytest.approx(2.5)
    assert through.thinnest.wall == pytest.approx(-1.5)


def test_the_wall_is_the_remaining_thickness_and_nan_outside_the_work():
    one = carved(ring())
    assert np.isnan(one.wall[~one.stock.inside]).all()
    assert one.wall[one.stock.inside] == pytest.approx(3.0 - one.depth[one.stock.inside])
    side = carved(ring(x=12.0, z=-6.0), piece=BARREL)
    assert side.wall == pytest.approx(3.0 - side.depth)


def test_depths_are_read_only():
    one = carved(ring())
    assert one.depth.dtype == np.float32
    with pytest.raises(ValueError, match="read-only"):
        one.depth[0, 0] = 1.0


PASSES = (ring(x=8.0, depth=0.4), ring(x=7.0, depth=0.6), ring(x=9.0, depth=0.2, turns="1/3"))


def test_the_order_and_the_repetition_of_passes_do_not_matter():
    straight, back = carved(*PASSES), carved(*reversed(PASSES))
    twice = carved(*PASSES, *PASSES)
    assert np.array_equal(straight.depth, back.depth)
    assert np.array_equal(straight.depth, twice.depth)


@given(st.lists(st.sampled_from(PASSES), min_size=1, max_size=2, unique=True))
@settings(max_examples=examples(5))
def test_depths_never_decrease(passes):
    some, all_of_them = carved(*passes, resolution=0.8), carved(*PASSES, resolution=0.8)
    assert (all_of_them.depth >= some.depth).all()


def test_the_first_backend_is_the_default():
    one = job(ring(), resolution=0.6)
    first = next(iter(registry.installed().backends()))
    assert np.array_equal(one.carve().depth, one.carve(backend=first).depth)
    assert one.carve().depth == pytest.approx(one.carve(backend="plain").depth, abs=2e-4)
    with pytest.raises(UnknownNameError, match="no backend is called 'plane'; did you mean 'plain'"):
        one.carve(backend="plane")


def test_the_resolution_of_the_call_overrides_that_of_the_job():
    one = job(ring(), resolution=0.8)
    assert one.carve(backend="plain").stock.row_step == pytest.approx(0.8)
    assert one.carve(1.2, backend="plain").stock.row_step == pytest.approx(1.2)
    assert Job(lathe=one.lathe, piece=DISC, cutter=VEE, passes=[ring()]).resolution == 0.05


def test_traces_are_carved_once_for_all_targets():
    traces = job(ring(), resolution=0.8).trace()
    assert traces.carve_once() is traces.carve_once() is traces.shown("carving")
    assert np.array_equal(traces.carve_once().depth, traces.carve().depth)


def test_progress_goes_from_0_to_1_and_its_exception_stops_the_carving():
    told = []
    job(*PASSES, resolution=0.8).carve(backend="plain", progress=told.append)
    assert told == sorted(told)
    assert 0.0 <= told[0] <= told[-1] == 1.0

    class EnoughError(Exception):
        pass

    def stop(part):
        raise EnoughError

    with pytest.raises(EnoughError):
        job(*PASSES, resolution=0.8).carve(backend="plain", progress=stop)


def test_the_default_is_the_first_backend_that_can_carve_the_job(monkeypatch):
    """A way that is first but cannot carve the side of the work is passed over there."""
    faces = Limited(can=EVERYTHING - {"round"})
    plain = registry.installed().backend("plain")
    monkeypatch.setattr(registry.Plugins, "backends", lambda shelf: {"limited": faces, "plain": plain})
    side = job(ring(x=12.0, z=-6.0), piece=BARREL, resolution=0.8)
    assert np.array_equal(side.carve().depth, side.carve(backend="plain").depth)
    monkeypatch.setattr(registry.Plugins, "backends", lambda shelf: {"limited": faces})
    with pytest.raises(SettingError, match=r"^backend='limited': does not support: round; it supports: "):
        side.carve()


@dataclass(frozen=True)
class Limited:
    """A way of carving without one of the abilities, which fails the test if it is asked to carve."""

    can: frozenset
    name: str = "limited"
    message: str = "less than everything"

    def carve(self, stock, sweeps, depth, progress=None):
        pytest.fail("it carved")


@pytest.mark.parametrize("lacks", sorted(EVERYTHING - {"leaning"}))
def test_a_backend_that_cannot_carve_the_job_is_refused_before_carving(lacks, monkeypatch):
    way = Limited(can=EVERYTHING - {lacks})
    monkeypatch.setattr(registry.Plugins, "backend", lambda shelf, name: way)
    holder = {"fixed": FixedTool(), "cutting frame": CuttingFrame(radius=6.0), "eccentric frame": EccentricFrame(radius=2.0)}
    given = {"cutter": Ball(radius=1.0, holder=holder[lacks])} if lacks in holder else {}
    if lacks == "round":
        given |= {"piece": BARREL}
    with pytest.raises(SettingError) as told:
        job(ring(x=12.0, z=-6.0), **given).carve(backend="limited")
    can = ", ".join(sorted(way.can))
    assert (
        str(told.value)
        == f"backend='limited': does not support: {lacks}; it supports: {can}; use another backend, such as 'plain'"
    )


def test_a_pen_carves_nothing():
    with pytest.raises(SettingError, match=r"^cutter.kind='pen': has no edge, so it carves nothing; use a vee"):
        job(ring(), cutter=Pen()).carve(backend="plain")
    assert job(ring(), cutter=Pen()).uncarvable == "this cutter has no edge to carve with"
    assert job(ring()).uncarvable == ""


@pytest.mark.parametrize("given", [0.0, -1.0, math.nan, "0.1", None])
def test_a_job_refuses_an_invalid_resolution(given):
    with pytest.raises(SettingError, match="resolution="):
        job(ring(), resolution=given)


def test_reading_results_takes_no_more_memory_than_carving_may():
    """Carving may take twelve bytes a ray, four of them the depths: what is read off them stays well below the other eight."""
    one = bare(DISC, rings_of_a_ball(1.0, 1.2, 0.5, 9.0, 5), 0.015)
    tracemalloc.start()
    assert one.volume > one.land_part > 0
    assert one.cusp == pytest.approx(scallop(1.0, 1.2), abs=0.01)
    taken = tracemalloc.get_traced_memory()[1] / (one.stock.rows * one.stock.columns)
    tracemalloc.stop()
    assert taken < 4.0
