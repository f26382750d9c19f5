"""Solids of revolution on their way round the work: many short steps as one piece, and rays that leap or kink."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lobework.carve.compiled import CompiledBackend
from lobework.carve.compiled_path import JOINED_MM, pieces_of
from lobework.carve.stock import stock_of
from lobework.carve.sweep import Sweep
from lobework.parts.cutter import Ball, FlatEnd, Profiled, Vee
from lobework.parts.holder import CuttingFrame, EccentricFrame
from lobework.parts.piece import Barrel, Disc, Turned
from tests.carving import JUDGE, UP, about, assert_same, carved, cutters, holders_by_kind, on_face, on_round, surfaces
from tests.search import examples
from tests.strategies import numbers

AGREE_MM = 2e-4
MOST_TURN_RAD = 0.03


def ring(samples, rise=0.4, waves=6.0):
    """Half a ring round a barrel of 20 mm, waved: what goes with a ball of 1 mm, half a millimetre deep."""
    turn = np.linspace(0.0, math.pi, samples)
    out = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=-1)
    ball = Ball(radius=1.0)
    return Sweep(ball.edge, ball.holder, 9.5 * out + (rise * np.sin(waves * turn) - 4.0)[:, None] * UP, out, UP)


def gone_through(sweep, turn=MOST_TURN_RAD, reach=2.0):
    """Every piece of a path: where it begins and how far it turns, and its tips."""
    some = list(pieces_of(sweep, True, turn, reach=reach))
    polar, swept = (np.concatenate([getattr(each, name) for each in some]) for name in ("polar", "swept"))
    return polar, swept, [np.concatenate([each.tips[k] for each in some]) for k in range(3)]


def test_many_short_steps_are_merged_into_pieces_near_every_sample():
    sweep = ring(3000)
    polar, swept, (low, middle, high) = gone_through(sweep)
    assert len(polar) < len(sweep.tip) / 8
    assert swept.sum() == pytest.approx(math.pi, abs=1e-12)
    np.testing.assert_allclose(polar[1:], polar[:-1] + swept[:-1], rtol=0, atol=1e-12)
    np.testing.assert_allclose(low[1:], high[:-1], rtol=0, atol=1e-12)
    at = np.arctan2(sweep.tip[:, 1], sweep.tip[:, 0])
    piece = np.clip(np.searchsorted(polar, at, side="right") - 1, 0, len(polar) - 1)
    t = ((at - polar[piece]) / swept[piece])[:, None]
    passes = low[piece] * (2 * t - 1) * (t - 1) + middle[piece] * 4 * t * (1 - t) + high[piece] * t * (2 * t - 1)
    seen = np.stack([np.hypot(sweep.tip[:, 0], sweep.tip[:, 1]), 0 * at, sweep.tip[:, 2]], axis=-1)
    assert np.linalg.norm(passes - seen, axis=-1).max() <= JOINED_MM


def test_long_steps_are_not_merged():
    sweep = ring(120)
    assert len(gone_through(sweep)[0]) == 119
    assert len(gone_through(sweep, reach=math.inf)[0]) == 119


def test_steps_are_not_merged_across_a_corner():
    """Two straight runs meet at a right angle in the middle of what could be one piece of sixteen."""
    turn = np.concatenate([np.linspace(0.0, 0.008, 9), np.full(8, 0.008)])
    z = np.concatenate([np.full(9, -4.0), -4.0 - np.arange(1, 9) * 0.01])
    out = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=-1)
    ball = Ball(radius=1.0)
    polar, swept, (low, _, high) = gone_through(Sweep(ball.edge, ball.holder, 9.5 * out + z[:, None] * UP, out, UP))
    assert len(polar) == 2
    np.testing.assert_allclose(swept, [0.008, 0.0], rtol=0, atol=1e-12)
    np.testing.assert_allclose([high[0, 2], low[1, 2]], [-4.0, -4.0], rtol=0, atol=1e-12)


def test_sampling_a_fine_path_8_times_finer_does_not_change_the_depths():
    stock = stock_of(Barrel(diameter=20.0, length=8.0), resolution=0.1)
    finer = carved(CompiledBackend(), stock, ring(4001)), carved(CompiledBackend(), stock, ring(32001))
    np.testing.assert_allclose(finer[0], finer[1], rtol=0, atol=2 * JOINED_MM)


@st.composite
def dense(draw, kind):
    """A stock and a smooth path of steps so short that some are joined."""
    surface = draw(st.sampled_from(["face", "round"]))
    stock, cutter = draw(surfaces[surface]), draw(cutters(holders_by_kind[kind]))
    samples, step = draw(st.integers(60, 250)), draw(st.sampled_from([0.01, 0.02, 0.03]))
    t, span = np.linspace(0.0, 1.0, samples), step * samples
    start, wave, slope = draw(numbers(0.0, 1.0)), draw(numbers(-0.3, 0.3)), draw(numbers(-0.5, 0.5))
    aside = span * (wave * np.sin(draw(numbers(1.0, 6.0)) * t) + slope * t)
    depth = draw(numbers(0.05, 0.7)) + draw(numbers(-0.1, 0.1)) * np.cos(5 * t)
    lean = draw(st.sampled_from([0.0, 0.3]))
    if surface == "face":
        place = (2 * start - 1) * stock.surface.radius
        outward = np.array([[0.0, math.sin(lean), math.cos(lean)]])
        return stock, on_face(cutter, np.stack([place + span * t, place + aside, -depth], axis=-1), outward)
    around = draw(st.sampled_from([1.0, -1.0, 0.3])) * span / stock.profile[:, 0].max() * t
    s = np.clip(start * stock.surface.length + aside, 0.0, stock.surface.length)
    return stock, on_round(cutter, stock.surface, draw(numbers(-3.0, 3.0)) + around, s, depth, lean)


@pytest.mark.parametrize("holder", ["drilling spindle", "cutting frame", "eccentric frame"])
@settings(max_examples=examples(12))
@given(data=st.data())
def test_a_path_of_short_steps_agrees_with_the_reference(holder, data):
    stock, sweep = data.draw(dense(holder))
    assert_same(
        lambda shift: carved(JUDGE, stock, sweep, shift=shift),
        lambda shift: carved(CompiledBackend(), stock, sweep, shift=shift),
        within=AGREE_MM,
    )


HOURGLASS = stock_of(Turned(profile=((0.0, 4.0), (-5.0, 5.5), (-10.0, 4.0))), resolution=0.45)
SPINDLE = stock_of(Turned(profile=((0.0, 2.0), (-15.0, 2.8), (-30.0, 1.6))), resolution=0.5)
BARREL, LONG_BARREL = (stock_of(Barrel(diameter=10.0, length=long), resolution=cell) for long, cell in ((9.0, 0.5), (30.0, 0.8)))
SINKING = Vee(angle_deg=25.0, width=0.8, holder=EccentricFrame(radius=0.5))
ASKEW = FlatEnd(width=2.0, holder=CuttingFrame(radius=40.0, angle_deg=130.03809701424433))


def from_tips(cutter, tips, outward):
    """A sweep through places on the work, leaning as it does at the first."""
    tip = np.array(tips)
    polar = np.arctan2(tip[:, 1], tip[:, 0])
    along = np.full(len(tip), outward[2])
    out = np.stack([outward[0] * np.cos(polar), outward[0] * np.sin(polar), along], axis=-1)
    level = np.stack([-along * np.cos(polar), -along * np.sin(polar), np.full(len(tip), outward[0])], axis=-1)
    return Sweep(cutter.edge, cutter.holder, tip, out, level)


HARD = {
    "a flat end's rim, met where its depth turns from rising slowly to falling steeply": (
        HOURGLASS,
        from_tips(
            FlatEnd(width=2.0),
            [[5.26108924, 0.0, -6.7323909], [4.93606389, -2.42595821, -5.0], [3.77763731, -0.54392394, -9.18611223]],
            [0.96833712, 0.0, -0.24964617],
        ),
    ),
    "a ring that sinks as it goes along, its near wall's cut overtaken by its far one's": (
        BARREL,
        from_tips(SINKING, [[5.0, 0.0, 0.0], [4.7, 0.0, -0.5]], [1.0, 0.0, 0.0]),
    ),
    "a flat end that cuts less deep at both ends of a piece than between, its depth rising at both": (
        SPINDLE,
        on_round(
            FlatEnd(width=2.0),
            SPINDLE.surface,
            [-2.338570844998523, -2.3339369853593133, -2.3151443013157, -2.0229014138740427],
            [0.0, 0.0, 2.7221340542715473, 14.638454913439295],
            [0.5358147294500806, 0.5568988964309411, 0.0855441563620925, 0.6039490086358907],
        ),
    ),
    "a frame whose wheel a ray's line leaves far outside the work as a piece begins": (
        LONG_BARREL,
        on_round(
            ASKEW,
            LONG_BARREL.surface,
            [2.594214256211729, 2.8656822370346244],
            [20.75961667215878, 18.354497224927805],
            [0.3136509521547915, 0.9146981084022431],
            0.3,
            -0.2,
        ),
    ),
}
GRAZED_BARREL, GRAZED_DISC = (
    stock_of(piece, resolution=cell)
    for piece, cell in ((Barrel(diameter=10.0, length=9.0), 0.4), (Disc(diameter=30.0, thickness=5.0), 0.75))
)


def leaning(cutter, tip, outward, level):
    """A sweep through poses as they are."""
    return Sweep(cutter.edge, cutter.holder, np.array(tip), *about(np.array(outward), np.array(level)))


NARROW = [
    [[4.47469606, 1.89187115, -2.01642079], [2.59806264, 3.27396999, -9.60010192]],
    [[0.79029356, 0.11843458, 0.6011733], [0.63676728, 0.48282304, 0.6011733]],
    [[-0.56497925, -0.2388694, 0.78977203], [-0.38129585, -0.4804931, 0.78977203]],
]
THROUGH = [
    [[3.0, 0.0, 0.0], [2.63274769, 1.43827662, -8.0]],
    [[0.64099686, 0.0, 0.7675435], [0.56252766, 0.30731026, 0.7675435]],
    [[-0.7675435, 0.0, 0.64099686], [-0.67358279, -0.36797996, 0.64099686]],
]
HARD |= {
    "a wheel through the axis of the work, where rays end": (
        HOURGLASS,
        leaning(Vee(angle_deg=15.0, width=0.8, holder=CuttingFrame(radius=9.0)), *THROUGH),
    ),
    "a narrow wheel that a ray leaves and meets again within one piece": (
        HOURGLASS,
        leaning(Vee(angle_deg=25.0, width=0.8, holder=CuttingFrame(radius=8.59375, angle_deg=7.5)), *NARROW),
    ),
    "a narrow wheel that meets a ray at the very end of its path": (
        replace(HOURGLASS, row_start=0.3396702169758375, column_start=0.03828169237242836),
        leaning(
            Vee(angle_deg=24.888, width=0.800346, holder=CuttingFrame(radius=8.608576, angle_deg=7.51725)),
            [
                [4.473602006420864, 1.8905139943585187, -2.0154591444483483],
                [2.5973423121650185, 3.2724725748607293, -9.602150691039062],
            ],
            [
                [0.7890888411342032, 0.11871955242081769, 0.6026976594201117],
                [0.6359639110996219, 0.48436030691466164, 0.6007869812707388],
            ],
            [
                [-0.5657379575067626, -0.2418139682837762, 0.7883315090613399],
                [-0.3800302346338904, -0.48100353769740334, 0.7900712736751621],
            ],
        ),
    ),
}

HARD |= {
    "a flat cone nearly parallel to the rays, which it turns away from": (
        GRAZED_BARREL,
        leaning(
            Vee(angle_deg=170.0, width=6.0),
            [
                [0.37271894889852575, 4.748410398131136, -1.097396577970898],
                [-1.1153966219261522, 4.283340188935039, -7.40009133158],
            ],
            [
                [-0.412349371497907, 0.8733321287164267, 0.25934338005223084],
                [-0.6752262665300177, 0.69051466328458, 0.259343380052],
            ],
            [
                [-0.023125259811373, -0.294614010026369, 0.95533648912561],
                [0.0744709602613, -0.285982986586559, 0.955336489125606],
            ],
        ),
    ),
    "a wheel that turns on a long step, and grazes a ray as the step begins": (
        GRAZED_DISC,
        leaning(
            FlatEnd(width=2.0, holder=CuttingFrame(radius=15.0, angle_deg=-145.15063306206417)),
            [
                [3.0636904979342, 1.3622934444450152, -0.649565794623789],
                [2.1621625682520715, -14.567085301808572, -0.0464694152084],
            ],
            [
                [-0.19247569953522267, -0.049219996820237, 0.980066577841],
                [-0.1909127135417, -0.05497125436717727, 0.9800665778412],
            ],
            [[0.9813017400822373, -0.0096541694895, 0.192233430815353], [0.9811497690600177, 0.0197848111042965, 0.192233430815]],
        ),
    ),
    "a stepped cutter whose shoulder is nearest a ray at ever other places along it": (
        GRAZED_BARREL,
        leaning(
            Profiled(points=((0.0, 0.0), (2.0, 0.1), (2.2, 0.5), (4.0, 0.6))),
            [
                [3.6919362595153684, -2.6854775269024236, -6.798590543610713],
                [1.970425223921003, -3.953191807740031, -6.9765676488120345],
                [3.4406595562590327, -2.311662420168789, -0.10561157111045916],
            ],
            [
                [0.9164209854205394, 0.2204629043984408, -0.3340189893779267],
                [0.9147739037551025, -0.22720039556215352, -0.33401898937792673],
                [0.9075674310857665, 0.2544654647832017, -0.3340189893779267],
            ],
            [
                [0.3877071033418375, -0.2820142710648025, 0.8775825618903728],
                [0.2138696398209769, -0.42907880887871375, 0.8775825618903728],
                [0.3979486211552991, -0.26736817683959024, 0.8775825618903728],
            ],
        ),
    ),
}


def bowed(cutter, begin, long, steps, tilt, bend, outward):
    """A sweep over a face along a parabola, in even steps along X."""
    along = np.linspace(0.0, long, steps + 1)
    tip = np.array(begin) + np.stack([along, tilt * along + bend * along**2, 0 * along], axis=-1)
    return on_face(cutter, tip, np.array([outward]))


HARD |= {
    "a wheel on a path that bows, where a ray goes over from its side to its rim soon after a piece begins": (
        stock_of(Disc(diameter=8.0, thickness=5.0), resolution=0.25),
        bowed(
            FlatEnd(width=2.0, holder=CuttingFrame(radius=2.5)),
            [-3.2, -4.26, -0.5],
            0.24,
            24,
            -0.34,
            0.6,
            [0.0, math.sin(0.3), math.cos(0.3)],
        ),
    ),
}


@pytest.mark.parametrize(("stock", "sweep"), HARD.values(), ids=HARD)
def test_a_difficult_ray_agrees_with_the_reference(stock, sweep):
    np.testing.assert_allclose(carved(CompiledBackend(), stock, sweep), carved(JUDGE, stock, sweep), rtol=0, atol=AGREE_MM)


@st.composite
def narrow(draw):
    """A narrow vee in a leaning frame, along a short helix: its wheel grazes the rays that it runs beside."""
    frame = CuttingFrame(radius=draw(numbers(5.0, 12.0)), angle_deg=draw(numbers(-40.0, 40.0)))
    cutter = Vee(angle_deg=draw(numbers(15.0, 40.0)), width=0.8, holder=frame)
    begin, turn, aside, lean = (draw(numbers(*span)) for span in ((-3.0, 3.0), (0.1, 0.7), (-0.3, 0.3), (0.3, 0.9)))
    at = np.array([begin, begin + turn])
    radius, z = (np.array([draw(numbers(*span)) for _ in range(2)]) for span in ((3.0, 5.0), (-10.0, 0.0)))
    x, y, same = np.cos(at + aside), np.sin(at + aside), np.ones(2)
    out = np.stack([math.cos(lean) * x, math.cos(lean) * y, math.sin(lean) * same], axis=-1)
    level = np.stack([-math.sin(lean) * x, -math.sin(lean) * y, math.cos(lean) * same], axis=-1)
    return leaning(cutter, np.stack([radius * np.cos(at), radius * np.sin(at), z], axis=-1), out, level)


@settings(max_examples=examples(12))
@given(sweep=narrow())
def test_a_narrow_wheel_agrees_with_the_reference(sweep):
    assert_same(
        lambda shift: carved(JUDGE, HOURGLASS, sweep, shift=shift),
        lambda shift: carved(CompiledBackend(), HOURGLASS, sweep, shift=shift),
        within=AGREE_MM,
    )


def test_a_frame_that_tilts_and_rotates_on_a_face_agrees_with_the_reference():
    """Its axis goes round a cone, not along the chord of it."""
    stock = stock_of(Disc(diameter=60.0, thickness=20.0), resolution=1.2)
    turn = 0.03 * np.arange(8)
    tip = np.stack([20 * np.cos(turn), 20 * np.sin(turn), -0.4 - 0 * turn], axis=-1)
    out = np.stack([math.sin(0.7) * np.cos(turn), math.sin(0.7) * np.sin(turn), np.full(8, math.cos(0.7))], axis=-1)
    level = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=-1)
    sweep = on_face(Ball(radius=1.5, holder=CuttingFrame(radius=40.0, angle_deg=30.0)), tip, *about(out, level))
    assert_same(
        lambda shift: carved(JUDGE, stock, sweep, shift=shift),
        lambda shift: carved(CompiledBackend(), stock, sweep, shift=shift),
        within=AGREE_MM,
    )
