"""The shapes of cams."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from tests.strategies import edge_cams, face_cams, laws


@given(cam=st.one_of(edge_cams, face_cams))
def test_an_edge_is_in_one_piece_and_its_slope_is_its_own(cam):
    """Calculus: between corners, the rise is the sum of its slopes (trapezoid rule, error of the second order)."""
    psi = np.linspace(-1, 2 * np.pi, 40_001)
    rise, slope = cam.rise_at(psi), cam.slope_at(psi)
    step = psi[1] - psi[0]

    assert_allclose(np.diff(rise), step * (slope[1:] + slope[:-1]) / 2, rtol=0, atol=step * np.abs(np.diff(slope)).max() + 1e-12)
    assert rise.min() >= -1e-12
    assert_allclose(cam.rise_at(np.zeros(1)), rise.max(), atol=1e-5)


@given(cam=laws())
def test_a_law_rises_dwells_and_falls_for_its_parts_of_the_lobe(cam):
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
