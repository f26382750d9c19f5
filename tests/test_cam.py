"""The shapes of cams."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from lobework.errors import SettingError
from lobework.jobs.job import Job
from lobework.jobs.jobfile import read_lathe
from lobework.lathe.passes import Pass
from lobework.parts.cam import EccentricCam, Wave
from lobework.parts.cutter import Pen
from lobework.parts.drive import Drive
from lobework.parts.follower import Roller
from lobework.parts.piece import Disc
from lobework.parts.slide import At
from tests.strategies import edge_cams, face_cams, laws


@given(cam=st.one_of(edge_cams, face_cams))
def test_the_rise_is_continuous_and_its_slope_is_its_derivative(cam):
    """Calculus: between corners, the rise is the sum of its slopes (trapezoid rule, error of the second order)."""
    psi = np.linspace(-1, 2 * np.pi, 40_001)
    rise, slope = cam.rise_at(psi), cam.slope_at(psi)
    step = psi[1] - psi[0]

    assert_allclose(np.diff(rise), step * (slope[1:] + slope[:-1]) / 2, rtol=0, atol=step * np.abs(np.diff(slope)).max() + 1e-12)
    assert rise.min() >= -1e-12
    assert_allclose(cam.rise_at(np.zeros(1)), rise.max(), atol=1e-5)


@given(cam=laws())
def test_rise_dwell_and_fall_have_their_parts_of_the_lobe(cam):
    """Counted on a fine grid of the lobe, from the definition of the parts."""
    count = 24_000
    psi = (np.arange(count) + 0.5) * 2 * np.pi / cam.lobes / count
    slope = cam.slope_at(psi)
    if cam.rise == 0:
        assert not slope.any()
        return
    moving = Fraction(int((slope > 0).sum()), count), Fraction(int((slope < 0).sum()), count)

    assert abs(moving[0] - cam.rise_part) <= Fraction(4, count)
    assert abs(moving[1] - cam.fall_part) <= Fraction(4, count)
    top = float((cam.rise_at(psi) > cam.rise * (1 - 1e-9)).mean())
    assert top >= float(cam.dwell_part) - 4 / count


@pytest.mark.parametrize(
    ("shape", "message"),
    [
        (lambda: Wave(lobes=8, base_radius=60.0, rise=821956.0), "rise=821956: must be at most 1000 mm"),
        (lambda: Wave(lobes=8, base_radius=1e6, rise=1.0), "base_radius=1e\\+06: must be at most 1000 mm"),
        (lambda: EccentricCam(radius=1e6, offset=1.0), "radius=1e\\+06: must be at most 1000 mm"),
    ],
)
def test_a_cam_beyond_any_lathe_is_refused(shape, message):
    with pytest.raises(SettingError, match=message):
        shape()


def test_the_largest_cam_is_traced():
    largest = Wave(lobes=8, base_radius=1000.0, rise=1000.0)
    rings = Pass(at=At(x=20.0), cams=[Drive(largest, follower=Roller(radius=3.0))])
    job = Job(
        lathe=read_lathe("sliding-bench"), piece=Disc(diameter=70.0, thickness=8.0), cutter=Pen(), passes=[rings], chord=1.0
    )
    assert np.isfinite(job.trace()[0].x).all()
