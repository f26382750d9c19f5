"""Figures of the geometric chuck, traced on a built-in lathe and compared with published figures."""

from math import pi

import numpy as np
import pytest
from lobework_epicyclic import Epicyclic, Stage

from lobework import At, Job, Pass, Pen, read_lathe
from lobework.parts.piece import Disc

CHORD = 1e-4
LUKIN = "J. Lukin, The Lathe & Its Uses, on the epicycloidal chuck, figures 313-317"


def job(x, *stages, chord=CHORD):
    chuck = Epicyclic(stages=stages)
    return Job(
        lathe=read_lathe("sliding-bench").mount(chuck),
        piece=Disc(diameter=70.0, thickness=8.0),
        cutter=Pen(),
        passes=[Pass(turns=chuck.period_turns, at=At(x=x))],
        chord=chord,
    )


def path_of(x, *stages, **settings):
    """Return the traced line as complex numbers, after checking that it closes after the period of the chuck."""
    (traced,) = job(x, *stages, **settings).trace()
    z = traced.x + 1j * traced.y
    assert abs(z[0] - z[-1]) < 1e-9
    assert traced.closure.turns == traced.cut.passed.turns
    return z


def moving(z):
    """Return samples of the closed path and their velocities."""
    return z[:-1], (np.roll(z[:-1], -1) - np.roll(z[:-1], 1))


def turned_back(z):
    """Return how often the path reverses as seen from the centre: once in each loop that does not enclose the centre."""
    at, velocity = moving(z)
    onward = np.sign((at.conj() * velocity).imag)
    return int((onward != np.roll(onward, 1)).sum()) // 2


def times_round(z):
    """Return the winding number of the path about the centre."""
    return round(abs(np.angle(z[1:] / z[:-1]).sum()) / (2 * pi))


def crossings(z):
    """Return the number of self-intersections of the path."""
    a, along = z[:-1], np.diff(z)
    first, second = np.triu_indices(along.size, 2)
    apart = a[second] - a[first]
    across = (along[first].conj() * along[second]).imag
    with np.errstate(divide="ignore", invalid="ignore"):
        t, s = (apart.conj() * along[second]).imag / across, (apart.conj() * along[first]).imag / across
    return int(((t >= 0) & (t < 1) & (s >= 0) & (s < 1) & ~((first == 0) & (second == along.size - 1))).sum())


def half_axes(z):
    """Return the half axes of an ellipse, from samples evenly spaced in its parameter."""
    parts = np.fft.fft(z) / z.size
    order = np.argsort(-np.abs(parts))
    assert np.abs(parts[order[2:]]).max() < 1e-12 * np.abs(parts).max(), "not an ellipse"
    assert (order[0] + order[1]) % z.size == 0, "not an ellipse"
    big, small = np.abs(parts[order[:2]])
    return big + small, big - small


def evenly(x, *stages, samples=64):
    """Return the line at even steps of the spindle."""
    (traced,) = job(x, *stages).trace()
    u = np.arange(samples) / samples * float(traced.cut.passed.turns)
    x, y, _ = traced.motion.place(u).T
    return x + 1j * y


@pytest.mark.parametrize(
    ("change", "loops"),
    [
        (60, 2),
        (40, 3),
        (30, 4),
        (24, 5),
        (48, 5),
        (80, 3),
    ],  # 60 and 40 are Lukin's own; the rest follow: q loops where t/120 = p/q
)
def test_a_change_wheel_on_a_wheel_of_120_gives_the_loops_that_lukin_counts(change, loops):
    assert turned_back(path_of(2.0, Stage(arm=3.0, train=[(change, 120)]))) == loops, LUKIN


@pytest.mark.parametrize(("change", "loops"), [(60, 2), (40, 3), (30, 4), (24, 5)])
def test_loops_that_do_not_reach_the_middle_cross_themselves_once_each(change, loops):
    assert crossings(path_of(2.0, Stage(arm=3.0, train=[(change, 120)]), chord=0.01)) == loops, LUKIN


def test_without_eccentricity_there_is_no_figure():
    """Lukin: with the slide at its middle the chuck turns a circle, with any wheels."""
    z = path_of(9.0, Stage(arm=0.0, train=[(40, 120)]))
    assert np.abs(np.abs(z) - 9.0).max() < 1e-12, LUKIN


def test_three_loops_overlap_in_the_middle_if_x_exceeds_the_arm():
    """Lukin, figure 316: the tool moved outward, the three loops overlap the centre, where curved triangles are left."""
    short, past = (path_of(x, Stage(arm=3.0, train=[(40, 120)]), chord=0.01) for x in (2.4, 3.6))
    assert times_round(past) - times_round(short) == 3, LUKIN
    assert (crossings(short), turned_back(past)) == (3, 0)
    assert crossings(past) > 3


@pytest.mark.parametrize(
    ("change", "idler"), [(60, False), (40, False), (30, False), (48, False), (80, False), (40, True), (30, True)]
)
def test_with_x_equal_to_the_arm_the_curve_is_a_rose(change, idler):
    """Every loop goes through the centre: r = 2 arm cos(k a) with k = 1 / (1 + 2 ratio).

    *Encyclopedia of Mathematics*, "Roses (curves)": m petals if m and n of k = m/n are both odd, else 2 m.
    """
    stage = Stage(arm=5.0, train=[(change, 120)], idler=idler)
    k = 1 / (1 + 2 * stage.ratio)
    petals = abs(k.numerator) if k.numerator % 2 and k.denominator % 2 else 2 * abs(k.numerator)
    z = path_of(5.0, stage)[:-1]
    out = np.abs(z)
    far = (out > np.roll(out, 1)) & (out >= np.roll(out, -1)) & (out > 9.999)
    tips = z[far]
    assert sum(all(abs(a - b) > 0.2 for b in tips[:n]) for n, a in enumerate(tips)) == petals
    near = (out < np.roll(out, 1)) & (out <= np.roll(out, -1)) & (out < 1e-6 + 0.1)
    assert near.sum() == stage.ratio.denominator
    assert out.max() == pytest.approx(10, abs=1e-4)


def rolled(b, cusps):
    """Return the curve of a circle of radius b that rolls outside a fixed one (cusps above zero) or inside it."""
    return b, Stage(arm=abs(cusps + 1) * b, train=[(1, abs(cusps))], idler=cusps < 0)


@pytest.mark.parametrize("cusps", [1, 2, 3, 5, -3, -4, -5, -7])
def test_cusps_of_rolled_curves(cusps):
    """An epicycloid of R/r = p has p cusps (Wikipedia, "Epicycloid", a copy); a hypocycloid likewise (CRC, Weisstein)."""
    x, stage = rolled(3.0, cusps)
    z = evenly(x, stage, samples=40_321 * abs(cusps))
    speed = np.abs(np.roll(z, -1) - z)
    slow = (speed < np.roll(speed, 1)) & (speed <= np.roll(speed, -1)) & (speed < 1e-3 * speed.max())
    assert slow.sum() == abs(cusps)


@pytest.mark.parametrize(("x", "loops"), [(0.9, 0), (1.1, 3)])
def test_cusps_separate_curves_with_loops_from_curves_without(x, loops):
    """A cutter inside the rolling circle draws no loops, one outside it a loop for each cusp: |1 + ratio| x and |ratio| arm."""
    assert turned_back(path_of(x, rolled(1.0, 3)[1])) == loops


@pytest.mark.parametrize(
    ("name", "cusps", "length", "area", "turned"),
    [
        ("cardioid", 1, 16, 6, 3),  # Encyclopedia of Mathematics, "Cardioid": 16 b and 6 pi b^2
        ("nephroid", 2, 24, 12, 4),  # 8 (k + 1) b: everything2.com, "Epicycloid"; (k + 1)(k + 2) pi b^2: Gosper, math-fun 2019
        ("deltoid", -3, 16, 2, 1),  # balmoralsoftware.com, deltoid: 16 and 6.283185 for b = 1
        ("astroid", -4, 24, 6, 2),  # imagsts.com, "Astroid"
        ("five cusps outside", 5, 48, 42, 7),  # the same general formulas
        ("six cusps inside", -6, 40, 20, 4),  # 8 (n - 1) b and (n - 1)(n - 2) pi b^2: MathWorld, "Hypocycloid"
    ],
)
def test_lengths_and_areas_of_rolled_curves(name, cusps, length, area, turned):
    """Measured on the traced line, which is too short by at most a third of the chord tolerance per radian of turning."""
    b = 3.0
    z = path_of(*rolled(b, cusps))
    found = np.abs(np.diff(z)).sum()
    assert -1e-9 <= length * b - found <= 1.05 * CHORD / 3 * turned * pi, name
    assert abs(np.sum((z[:-1].conj() * z[1:]).imag)) / 2 == pytest.approx(area * pi * b**2, abs=0.7 * CHORD * found), name


def test_the_hypotrochoid_of_a_circle_rolled_in_one_twice_as_large_is_an_ellipse():
    """HandWiki, "Hypotrochoid": R = 10, r = 5, d = 1 gives half axes r + d and r - d, 6 and 4."""
    assert half_axes(evenly(5.0, Stage(arm=1.0, train=[(60, 120)], idler=True))) == pytest.approx((6, 4), abs=1e-12)


@pytest.mark.parametrize(
    ("throw_1", "throw_2", "total", "difference"),
    [
        (54, 6, 60, 48),
        (33, 3, 36, 30),
        (36, 6, 42, 30),
        (69, 3, 72, 66),
        (58.5, 1.5, 60, 57),
        (298.5, 1.5, 300, 297),
        (151.5, 148.5, 300, 3),
    ],
)
def test_two_opposite_circles_make_an_ellipse_of_their_sum_and_difference(throw_1, throw_2, total, difference):
    """J. H. Ibbetson, *Specimens in Eccentric Circular Turning*, the table before Specimen X (its columns inferred); here
    in tenths of a millimetre.
    """
    stage = Stage(arm=throw_2 / 10, train=[(60, 120)], idler=True)
    assert half_axes(evenly(throw_1 / 10, stage)) == pytest.approx((total / 10, difference / 10), abs=1e-10)


def test_two_stages_of_equal_wheels_draw_the_snail_of_pascal():
    """Ibbetson, Specimen X, pp. 168-169: with the slides 16 and 12 turns off centre and equal steps of both wheels, the curve
    through the centres is Pascal's snail, here r = 12 + 32 cos about a pole 16 from the middle; greatest distance 28, least 4.
    """
    z = path_of(0.0, Stage(arm=16.0, train=[(96, 96)]), Stage(arm=12.0, train=[(96, 96)]), chord=0.01)
    pole = z - 16
    angle = np.angle(-pole)
    off = np.minimum(*(np.abs(np.abs(pole) - np.abs(12 + sign * 32 * np.cos(angle))) for sign in (1, -1)))
    assert off.max() < 1e-10
    assert (np.abs(z).max(), np.abs(z).min()) == pytest.approx((28, 4), abs=1e-3)


def test_a_second_stage_is_geared_to_the_first():
    """Three superposed circles with rates 1 + a + b, a + b and b: a is the first ratio, b its product with the second."""
    first, second = Stage(arm=7.0, train=[(36, 120)]), Stage(arm=2.0, train=[(48, 32)], idler=True)
    z = evenly(11.0, first, second, samples=640)
    turns = 20
    parts = np.fft.fft(z) / z.size
    rates = {round(rate): abs(parts[round(rate)]) for rate in np.flatnonzero(np.abs(parts) > 1e-9)}
    a, b = float(first.ratio), float(first.ratio * second.ratio)
    expected = {round(-turns * rate) % z.size: out for rate, out in ((1 + a + b, 11.0), (a + b, 7.0), (b, 2.0))}
    assert rates == pytest.approx(expected, abs=1e-9)
