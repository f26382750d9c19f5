"""Oval and eccentric chucks against Cayley's equations and Ibbetson's printed settings."""

from __future__ import annotations

from math import hypot, pi

import numpy as np
import pytest
from hypothesis import given
from numpy.testing import assert_allclose

from lobework.chuck import EccentricChuck, Oval
from lobework.passes import Pass, cuts_of
from lobework.slide import At
from lobework.trace import trace
from tests.strategies import cut_on, fixed, numbers, on_work


def half_axes(path):
    """Half axes of an ellipse about its own centre, from its two circular parts: z = z0 + P e^{is} + Q e^{-is}."""
    parts = np.fft.fft(path) / path.size
    left = np.abs(np.delete(parts, [0, 1, -1])).max()
    assert left < 1e-11 * (1 + np.abs(parts).max()), "not an ellipse"
    return abs(parts[1]) + abs(parts[-1]), abs(abs(parts[1]) - abs(parts[-1]))


def oval_path(c, b, throw, ring=0.0):
    return on_work(cut_on(fixed(Oval(throw=throw, ring_angle_deg=ring)), at=At(x=c, y=b)), np.arange(64) / 64)


@given(throw=numbers(0.0, 20.0), c=numbers(-40.0, 40.0), b=numbers(-40.0, 40.0))
def test_the_oval_chuck_cuts_cayley_s_equations(throw, c, b):
    """A. Cayley, Proc. London Math. Soc. 4 (1872), 186-190; Papers VIII, p. 153. His Oy runs the other way from ours."""
    t = 2 * pi * np.arange(64) / 64
    x = b * np.sin(t) + (c - throw) * np.cos(t)
    y = -b * np.cos(t) + c * np.sin(t)
    assert_allclose(oval_path(c, b, throw), x - 1j * y, rtol=0, atol=1e-12)


@given(throw=numbers(0.0, 20.0), c=numbers(-40.0, 40.0), b=numbers(-40.0, 40.0), ring=numbers(-180.0, 180.0))
def test_any_fixed_point_cuts_an_ellipse_whose_half_axes_differ_by_the_throw(throw, c, b, ring):
    """From Cayley's equations; the long and short diameters differ by twice the throw (pledge.co.uk, ch. 5d).

    A point inside the circle that stands on the throw cuts it the other way round: there the sum is the throw.
    """
    long, short = half_axes(oval_path(c, b, throw, ring))
    a, k = np.exp(1j * np.radians(ring)) * throw, c + 1j * b
    inside = abs(k - a / 2) < throw / 2
    assert (long + short if inside else long - short) == pytest.approx(throw, abs=1e-10)


@pytest.mark.parametrize(
    ("c", "throw", "b", "long", "short", "area"),
    [(30, 5, 0, 30, 25, 750), (30, 5, 4, 30.28938646, 25.28938646, 766), (20, 8, 3, 20.27882060, 12.27882060, 249)],
)
def test_table_of_ovals(c, throw, b, long, short, area):
    """From Cayley: half axes hypot(b, c - a/2) +- a/2, area pi (c (c - a) + b^2)."""
    assert half_axes(oval_path(c, b, throw)) == pytest.approx((long, short), abs=5e-9)
    path = on_work(trace(cut_on(fixed(Oval(throw=throw)), at=At(x=c, y=b)), chord=1e-5))
    enclosed = abs(np.sum((path[:-1].conj() * path[1:]).imag)) / 2
    assert 0 <= area * pi - enclosed <= 2 / 3 * 1.1e-5 * 2 * pi * long


def centre_and_radius(path):
    """The circle through a cut, by least squares on x^2 + y^2 = 2 ax + 2 by + c about a point near its middle."""
    near = path.mean()
    about = path - near
    lines = np.stack([2 * about.real, 2 * about.imag, np.ones(path.size)], axis=-1)
    (a, b, c), *_ = np.linalg.lstsq(lines, np.abs(about) ** 2, rcond=None)
    assert np.ptp(np.abs(about - (a + 1j * b))) < 1e-10, "not a circle"
    return near + a + 1j * b, np.sqrt(c + a**2 + b**2)


def circles(first, second, each, count, cutter):
    lathe = fixed(EccentricChuck(shift=first), EccentricChuck(shift=second))
    series = Pass(at=At(x=cutter)).series(count, each)
    found = [centre_and_radius(on_work(trace(cut, chord=0.05))) for cut in cuts_of(series, lathe)]
    centres, radii = (np.array(column) for column in zip(*found, strict=True))
    assert_allclose(radii, cutter, atol=1e-10)
    return centres


SPECIMEN_X = {
    0: (-28, 0, 28),
    1: (-27.837425, 2.873257, 27.985314),
    2: (-27.352152, 5.707419, 27.941275),
    24: (16, 12, 20),
    32: (14, -3.464102, 14.422205),
    48: (-4, 0, 4),
    72: (16, -12, 20),
}


def test_ibbetson_s_specimen_x_lays_96_circles_on_a_snail_of_pascal():
    """J. H. Ibbetson, *Specimens in Eccentric Circular Turning*, pp. 168-169: inner slide 16 turns, outer 12, both wheels on by
    1/96 after each circle; the centres lie on Pascal's snail r = 12 + 32 cos about a pole 16 off centre (from his settings).
    """
    z = circles(16.0, 12.0, {"chuck 1.index": "1/96 turn", "chuck 2.index": "1/96 turn"}, 97, cutter=5.0)
    assert z[96] == pytest.approx(z[0], abs=1e-10)
    z = z[:96]
    assert min(abs(a - b) for k, a in enumerate(z) for b in z[:k]) > 0.1
    for n, (x, y, out) in SPECIMEN_X.items():
        assert (z[n].real, z[n].imag, abs(z[n])) == pytest.approx((x, y, out), abs=5.1e-7)
    pole = z - 16
    theta = np.angle(-pole)
    snail = np.minimum(
        np.abs(np.abs(pole) - np.abs(12 + 32 * np.cos(theta))), np.abs(np.abs(pole) - np.abs(12 - 32 * np.cos(theta)))
    )
    assert snail.max() < 1e-10
    assert (np.abs(z).max(), np.abs(z).min()) == pytest.approx((28, 4), abs=1e-10)


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
def test_sum_and_difference_of_two_throws_are_half_axes_of_the_oval_of_centres(throw_1, throw_2, total, difference):
    """Ibbetson, the table before Specimen X (its columns inferred): wheel 1 two divisions back for each one of wheel 2."""
    each = {"chuck 1.index": "-2/48 turn", "chuck 2.index": "1/48 turn"}
    z = circles(throw_1, throw_2, each, 48, cutter=2.0)
    assert half_axes(z) == pytest.approx((total, difference), abs=1e-9)


def test_shift_carries_a_circle_off_centre_by_just_that():
    centre, radius = centre_and_radius(on_work(trace(cut_on(fixed(EccentricChuck(shift=7.0)), at=At(x=3.0, y=4.0)))))
    assert (abs(centre), radius) == pytest.approx((7, hypot(3, 4)), abs=1e-12)
