"""Chucks against Cayley's and Blake's curves, Ibbetson's printed settings, and what each is for."""

from __future__ import annotations

from math import hypot, pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from lobework.carve.sweep import sweep_of
from lobework.geometry.surface import Round
from lobework.kinematics.motion import motion_of
from lobework.kinematics.trace import trace
from lobework.lathe.passes import Pass, cuts_of
from lobework.parts.cam import Wave
from lobework.parts.chuck import Dome, EccentricChuck, Oval, StraightLine
from lobework.parts.cutter import Vee
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife
from lobework.parts.holder import EccentricFrame
from lobework.parts.slide import At
from lobework.quantities.units import Phase
from tests.strategies import cut_on, fixed, numbers, on_work, sliding


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


def test_a_hypotrochoid_of_ten_and_five_is_the_oval_of_six_and_four():
    """A circle of 5 rolling in one of 10, the pencil 1 from its centre, draws an ellipse with half axes 5 + 1 and 5 - 1
    (Lawrence, *A Catalog of Special Plane Curves*, 1972, pp. 165-168): the oval chuck's, thrown 2, the cutter at 4 or 6."""
    t = 2 * pi * np.arange(64) / 64
    hypotrochoid = (10 - 5) * np.exp(1j * t) + 1 * np.exp(-1j * (10 - 5) / 5 * t)
    assert half_axes(oval_path(6, 0, 2)) == pytest.approx((6, 4), abs=1e-12)
    assert_allclose(oval_path(4, 0, 2, ring=180), np.conj(hypotrochoid), rtol=0, atol=1e-12)


phase_of_a_ring = st.fractions(-1, 1, max_denominator=96).map(Phase)


def moving(c, b, lam, **ring):
    return on_work(cut_on(fixed(Oval(swing_phase=lam, **ring)), at=At(x=c, y=b)), np.arange(240) / 240)


@given(k=numbers(0.0, 20.0), c=numbers(-40.0, 40.0), b=numbers(-40.0, 40.0), lam=phase_of_a_ring)
def test_an_oscillating_ring_cuts_cayley_s_equations(k, c, b, lam):
    """Cayley 1872 (Papers VIII, p. 153): a = k cos(t + lambda) in place of a; his Oy runs the other way from ours."""
    t = 2 * pi * np.arange(240) / 240
    x = b * np.sin(t) + (c - k * np.cos(t + lam.in_radians())) * np.cos(t)
    y = -b * np.cos(t) + c * np.sin(t)
    assert_allclose(moving(c, b, lam, throw=0.0, swing=k), x - 1j * y, rtol=0, atol=1e-12)


def fits(path, degree):
    """How far the path is from every curve of this degree: the least singular value of its monomials, against the largest."""
    x, y = path.real / np.abs(path).max(), path.imag / np.abs(path).max()
    powers = [x**p * y**q for p in range(degree + 1) for q in range(degree + 1 - p)]
    found = np.linalg.svd(np.stack(powers, axis=-1), compute_uv=False)
    return found[-1] / found[0]


@pytest.mark.parametrize(("c", "b", "k", "lam"), [(20, 3, 8, "0.1 turn"), (15, -6, 5, "1/3 turn"), (9, 2, 12, "-40 deg")])
def test_the_curves_are_quartics_and_of_no_lower_degree(c, b, k, lam):
    """The title of Cayley's paper: certain quartic curves."""
    path = moving(c, b, Phase.of(lam), throw=0.0, swing=k)
    assert fits(path, 4) < 1e-13
    assert fits(path, 3) > 1e-4
    assert fits(moving(c, b, Phase(), throw=7.0), 2) < 1e-13


@given(throw=numbers(0.5, 20.0), c=numbers(-40.0, 40.0), b=numbers(-40.0, 40.0))
def test_a_stationary_ring_cuts_the_plain_oval(throw, c, b):
    still = moving(c, b, Phase.of("1/3 turn"), throw=throw, swing=0.0, swings="5/7")
    assert np.array_equal(still, on_work(cut_on(fixed(Oval(throw=throw)), at=At(x=c, y=b)), np.arange(240) / 240))


def on_the_bench(chuck, point, count=64):
    """Where a pencil fixed to the work marks the bench: complex, over one turn."""
    u = np.arange(count) / count
    x, y, _ = motion_of(cut_on(fixed(chuck))).work(u).apply(np.array([point.real, point.imag, 0.0])).T
    return x + 1j * y


@given(throw=numbers(0.1, 20.0), x=numbers(-40.0, 40.0), y=numbers(-40.0, 40.0))
def test_a_pencil_fixed_to_the_work_marks_a_limacon_on_the_bench(throw, x, y):
    """E. M. Blake, "The Ellipsograph of Proclus" (1900): every point of the fixed plane traces a limacon on the moving one.

    z = B e^(it) + A e^(2it) is a limacon (A and B any complex numbers); here A is half the throw, B the pencil's place.
    """
    parts = np.fft.fft(on_the_bench(Oval(throw=throw), complex(x, y))) / 64
    assert np.abs(np.delete(parts, [0, 1, 2])).max() < 1e-12 * (1 + np.abs(parts).max())
    assert (abs(parts[1]), abs(parts[2])) == pytest.approx((abs(complex(x, y)), throw / 2), abs=1e-12)


@pytest.mark.parametrize(("b", "a"), [(4.0, 2.0), (10.0, 10.0), (7.0, 12.0)])
def test_the_limacon_of_a_pencil_on_the_slide_s_line(b, a):
    """r = b + a cos about the spindle's axis; half the integral of r^2 is pi (b^2 + a^2 / 2): 18 pi for 4 and 2."""
    z = on_the_bench(Oval(throw=a), complex(b), count=720)
    theta = 2 * pi * np.arange(720) / 720
    assert_allclose(z * np.exp(-1j * theta), b + a * np.cos(theta), rtol=0, atol=1e-12)
    assert np.mean(np.abs(z) ** 2) * pi == pytest.approx(pi * (b**2 + a**2 / 2), rel=1e-13)
    assert (b, a) != (4.0, 2.0) or np.mean(np.abs(z) ** 2) * pi == pytest.approx(18 * pi)


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


def test_ibbetson_s_specimen_x_has_96_circles_on_a_snail_of_pascal():
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


def test_an_eccentric_chuck_offsets_a_circle_by_its_shift():
    centre, radius = centre_and_radius(on_work(trace(cut_on(fixed(EccentricChuck(shift=7.0)), at=At(x=3.0, y=4.0)))))
    assert (abs(centre), radius) == pytest.approx((7, hypot(3, 4)), abs=1e-12)


@given(per_turn=numbers(-20.0, 20.0), way=numbers(-180.0, 180.0), index=phase_of_a_ring, start=numbers(-10.0, 10.0))
def test_a_straight_line_chuck_cuts_the_waves_of_a_rosette_along_a_line(per_turn, way, index, start):
    """From its definition: seen from work that does not turn, the slide's way and the headstock's wave and nothing else."""
    line = StraightLine(per_turn=per_turn, travel=60.0, start=start, direction_deg=way, index=index)
    drive = Drive(Wave(lobes=8, base_radius=60.0, rise=2.0), follower=Knife())
    u = np.linspace(0, 2, 301)
    wave = -(1 + np.cos(8 * 2 * pi * u))
    laid = (3.0 + 1j - wave - np.exp(1j * np.radians(way)) * (start + per_turn * u)) * np.exp(-1j * index.in_radians())
    cut = cut_on(sliding(line), drive, turns=2, at=At(x=3.0, y=1.0))
    assert_allclose(on_work(cut, u), laid, rtol=0, atol=1e-9)


def test_without_a_cam_the_cut_is_a_straight_line_of_per_turn_mm():
    path = on_work(trace(cut_on(fixed(StraightLine(per_turn=7.0, travel=30.0)), turns=3, at=At(x=5.0))))
    assert np.ptp(path.real) < 1e-12
    assert np.ptp(path.imag) == pytest.approx(21.0, abs=1e-12)


@given(tilt=numbers(-100.0, 100.0), radius=numbers(5.0, 40.0), index=phase_of_a_ring)
def test_tilting_a_dome_about_its_centre_does_not_move_its_centre(tilt, radius, index):
    """A sphere looks alike from all sides: with the axis as far behind as its radius, its centre does not move, and the cutter
    at its rim cuts the place whose latitude the tilt brings round."""
    dome = Dome(tilt_deg=tilt, behind=radius, index=index)
    motion = motion_of(cut_on(fixed(dome), turns=0, at=At(x=radius, z=-radius)))
    centre = np.array([[0.0, 0.0, -radius]])
    assert_allclose(motion.work(np.zeros(1)).apply(centre), centre, rtol=0, atol=1e-12)
    (cut,) = motion.place(np.zeros(1)) - centre
    assert np.linalg.norm(cut) == pytest.approx(radius, abs=1e-12)
    assert cut[2] == pytest.approx(radius * np.sin(np.radians(tilt)), abs=1e-12)


def test_a_dome_tilted_square_shows_its_axis_to_the_cutter_at_the_side():
    axis = motion_of(cut_on(fixed(Dome(tilt_deg=90.0, behind=12.0)), turns=0)).work(np.zeros(1)).rotation[0] @ [0, 0, 1]
    assert axis == pytest.approx([1, 0, 0], abs=1e-15)


@given(tilt=numbers(-80.0, 80.0), index=phase_of_a_ring)
def test_the_cutter_is_normal_to_a_dome_at_any_tilt(tilt, index):
    """A sphere's normal goes through its centre; the slide rest does not move, so on the bench it is X."""
    radius, along = 20.0, np.pi / 2

    def profile(s):
        out, up = np.sin(s / radius), np.cos(s / radius)
        return np.stack([radius * out, radius * (up - 1), out, up], axis=-1)

    ball = Round(length=along * 2 * radius, profile=profile, wall=lambda s: np.full_like(s, radius), straight=False)
    path = trace(cut_on(fixed(Dome(tilt_deg=tilt, behind=radius, index=index)), turns=0, at=At(x=radius - 0.3, z=-radius)))
    sweep = sweep_of(path, Vee(angle_deg=90.0, width=2.0, holder=EccentricFrame(radius=2.0)), ball)
    (normal,) = (sweep.tip - [0, 0, -radius]) / (radius - 0.3)
    assert_allclose(sweep.outward[0], normal, rtol=0, atol=2e-3)
