"""Curves that everyone's handbook knows, cut by cams and by stacked turns."""

from __future__ import annotations

from fractions import Fraction
from math import pi, sqrt

import numpy as np
import pytest

from lobework.kinematics.trace import trace
from lobework.parts.cam import Wave
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife
from lobework.parts.slide import At
from tests.strategies import GearedArm, cut_on, fixed, on_work, sliding

CHORD = 1e-4


def length_and_area(path):
    """Of the polyline through the samples; the area swept about the origin, counted as often as it is swept."""
    return np.abs(np.diff(path)).sum(), abs(np.sum((path[:-1].conj() * path[1:]).imag)) / 2


def assert_measures(path, length, area, turned):
    """The polyline is too short by at most CHORD / 3 a radian of turning, and in area by 2/3 CHORD times the length."""
    found_length, found_area = length_and_area(path)
    assert -1e-9 * length <= length - found_length <= 1.05 * CHORD / 3 * turned
    assert abs(area - found_area) <= 1.05 * 2 / 3 * CHORD * length


def rose(k):
    """r = 10 cos(k theta): a harmonic cam of 20 mm rise at ratio k, the cutter set 10 mm beyond the axis."""
    k = Fraction(k)
    drive = Drive(Wave(lobes=1, base_radius=50.0, rise=20.0), ratio=k, follower=Knife())
    return cut_on(sliding(), drive, turns=k.denominator, at=At(x=-10.0))


ROSES = {
    "1": 1, "2": 4, "3": 3, "4": 8, "5": 5, "1/2": 2, "3/2": 6, "5/2": 10, "7/2": 14,
    "1/3": 1, "2/3": 4, "4/3": 8, "5/3": 5, "7/3": 7, "1/6": 2, "13/6": 26,
}  # fmt: skip


@pytest.mark.parametrize(("k", "petals"), ROSES.items())
def test_petals_and_closure_of_a_rose(k, petals):
    """*Encyclopedia of Mathematics*, "Roses (curves)": k = m/n has m petals if both are odd, else 2m; jasondavies.com/rhodonea:
    it closes at pi n if both are odd, else at 2 pi n.
    """
    cut = rose(k)
    k = Fraction(k)
    path = trace(cut)
    z = on_work(path)
    out = np.abs(z[:-1])
    peak = (out > np.roll(out, 1)) & (out >= np.roll(out, -1)) & (out > 9.99)
    peaks = z[:-1][peak]
    distinct = [a for n, a in enumerate(peaks) if all(abs(a - b) > 0.2 for b in peaks[:n])]
    assert len(distinct) == petals
    assert out.max() == pytest.approx(10, abs=1e-3)
    both_odd = k.numerator % 2 == 1 and k.denominator % 2 == 1
    u = np.linspace(0, 1, 97)
    apart = {turns: np.abs(on_work(cut, u + turns) - on_work(cut, u)).max() for turns in np.arange(1, 2 * k.denominator + 1) / 2}
    closes = k.denominator / 2 if both_odd else k.denominator
    assert min(turns for turns, gap in apart.items() if gap < 1e-7) == closes
    assert path.closure.turns == k.denominator
    assert path.closure.gap_mm < 1e-8


@pytest.mark.parametrize("k", [2, 3, 5])
def test_area_of_one_petal(k):
    """*Encyclopedia of Mathematics*, "Roses (curves)": pi a^2 / (4 k)."""
    path = on_work(trace(rose(k), chord=CHORD))
    petals = 2 * k
    assert length_and_area(path)[1] / petals == pytest.approx(pi * 10**2 / (4 * k), abs=CHORD * 25)


def test_cardioid_cut_by_a_harmonic_cam():
    """*Encyclopedia of Mathematics*, "Cardioid": r = 2 b (1 + cos), length 16 b, area 6 pi b^2; the cutter starts on the axis."""
    b = 2.5
    drive = Drive(Wave(lobes=1, base_radius=50.0, rise=4 * b), follower=Knife())
    assert_measures(on_work(trace(cut_on(sliding(), drive, at=At()), chord=CHORD)), 16 * b, 6 * pi * b**2, turned=3 * pi)


def trochoid(b, cusps):
    """A circle of radius b rolled outside (cusps above zero) or inside a fixed one, by an arm and a geared turn."""
    chuck = GearedArm(arm=abs(cusps + 1) * b, gear=1 / cusps)
    return cut_on(fixed(chuck), turns=abs(cusps), at=At(x=b))


# Each length, in b, and area, in pi b^2, with where it is published; the nephroid's are those of an epicycloid of k = 2.
@pytest.mark.parametrize(
    ("name", "cusps", "length", "area", "turned"),
    [
        ("cardioid", 1, 16, 6, 3),  # Encyclopedia of Mathematics, "Cardioid"
        (
            "nephroid",
            2,
            24,
            12,
            4,
        ),  # 8 (k + 1) b: everything2.com, "Epicycloid"; (k + 1)(k + 2) pi b^2: R. W. Gosper, math-fun 2019
        ("deltoid", -3, 16, 2, 1),  # balmoralsoftware.com, deltoid: 16 and 6.283185 for b = 1
        ("astroid", -4, 24, 6, 2),  # imagsts.com, "Astroid"
        ("five cusps outside", 5, 48, 42, 7),  # the same general formulas
        ("six cusps inside", -6, 40, 20, 4),  # 8 (n - 1) b and (n - 1)(n - 2) pi b^2: MathWorld, "Hypocycloid"
    ],
)
def test_lengths_and_areas_of_rolled_curves(name, cusps, length, area, turned):
    b = 3.0
    path = on_work(trace(trochoid(b, cusps), chord=CHORD))
    assert abs(path[0] - path[-1]) < 1e-11
    assert_measures(path, length * b, area * pi * b**2, turned * pi)


@pytest.mark.parametrize("cusps", [1, 2, 3, 5, -3, -4, -5, -7])
def test_cusps_of_rolled_curves(cusps):
    """An epicycloid of R/r = p has p cusps (Wikipedia, "Epicycloid", a copy); a hypocycloid likewise (CRC, Weisstein)."""
    u = np.arange(40_320 * abs(cusps)) / 40_320 + 0.3e-5
    path = on_work(trochoid(3.0, cusps), u)
    speed = np.abs(np.roll(path, -1) - path)
    slow = (speed < np.roll(speed, 1)) & (speed <= np.roll(speed, -1)) & (speed < 1e-3 * speed.max())
    assert slow.sum() == abs(cusps)


def limacon(b, a):
    """r = b + a cos(theta), a harmonic cam of rise 2 a."""
    drive = Drive(Wave(lobes=1, base_radius=50.0, rise=2 * a), follower=Knife())
    return cut_on(sliding(), drive, at=At(x=b - a))


def test_swept_area_of_a_limacon():
    """calculator.academy, limacon: pi (b^2 + a^2 / 2); the example 4 and 2 gives 18 pi."""
    length, area = length_and_area(on_work(trace(limacon(4.0, 2.0), chord=CHORD)))
    assert area == pytest.approx(18 * pi, abs=CHORD * length)


def test_loop_of_a_limacon():
    """r = 1 + 2 cos: inner loop pi - 3 sqrt(3)/2, outer 2 pi + 3 sqrt(3)/2, by integration."""
    path = trace(limacon(1.0, 2.0), chord=1e-5)
    inner = np.abs(path.u - 0.5) <= 1 / 6
    loop, outer = on_work(path)[inner], on_work(path)[~inner]
    assert length_and_area(loop)[1] == pytest.approx(pi - 3 * sqrt(3) / 2, abs=1e-4)
    assert length_and_area(outer)[1] == pytest.approx(2 * pi + 3 * sqrt(3) / 2, abs=1e-4)


@pytest.mark.parametrize(("b", "a", "dents"), [(4.0, 2.0, 0), (5.0, 2.0, 0), (3.0, 2.0, 2), (2.2, 2.0, 2)])
def test_a_limacon_is_dented_only_below_b_of_two_a(b, a, dents):
    """Convex from b = 2a, dimpled between a and 2a (knowt.com, a card on limacons); two inflections by the sign of the bend."""
    z = on_work(limacon(b, a), np.arange(7200) / 7200 + 1e-5)
    velocity = np.roll(z, -1) - np.roll(z, 1)
    bend = np.roll(z, -1) - 2 * z + np.roll(z, 1)
    turning = (velocity.conj() * bend).imag
    assert int((np.sign(turning) != np.sign(np.roll(turning, 1))).sum()) == dents


def test_tusi_couple_is_a_straight_segment():
    """mathworld.wolfram.com/TusiCouple: a circle rolled inside one twice as large draws a diameter, 4 r long; a point d off its
    centre an ellipse of r + d and r - d (Hypotrochoid, example 10, 5, 1: 6 and 4).
    """
    straight = on_work(trochoid(5.0, -2), np.linspace(0, 2, 401))
    turned = straight * np.exp(-1j * np.angle(straight[np.abs(straight).argmax()]))
    assert np.abs(turned.imag).max() < 1e-12
    assert np.ptp(turned.real) == pytest.approx(20, abs=1e-12)
    out = np.abs(on_work(cut_on(fixed(GearedArm(arm=5.0, gear=-0.5)), at=At(x=1.0)), np.linspace(0, 2, 401)))
    assert (out.max(), out.min()) == pytest.approx((6, 4), abs=1e-12)
