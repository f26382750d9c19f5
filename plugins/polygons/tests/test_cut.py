"""Cuts on a built-in lathe: with a knife, and the cutter at the least radius of the cam, the path is the outline of the cam."""

from math import pi

import numpy as np
import pytest
from lobework_polygons import ConstantWidth, Polygon

from lobework import At, Disc, Drive, Job, Knife, Pass, Pen, read_lathe

CHORD = 1e-4


def line_of(cam):
    job = Job(
        lathe=read_lathe("sliding-bench"),
        piece=Disc(diameter=120.0, thickness=10.0),
        cutter=Pen(),
        passes=[Pass(at=At(x=cam.base_radius), cams=[Drive(cam, follower=Knife())])],
        chord=CHORD,
    )
    (traced,) = job.trace()
    assert traced.closure.turns == 1
    return traced.x + 1j * traced.y


@pytest.mark.parametrize("sides", [3, 4, 6])
def test_a_polygon_is_cut_with_straight_sides(sides):
    z = line_of(Polygon(sides=sides, base_radius=30.0))
    side = np.round((np.angle(z) - pi / sides) / (2 * pi / sides))
    square = z * np.exp(-1j * (pi / sides + side * 2 * pi / sides))
    assert np.abs(square.real - 30).max() < 1e-6
    assert np.abs(z).max() == pytest.approx(30 / np.cos(pi / sides), abs=1e-6)


def test_the_cut_of_a_constant_width_cam_has_the_length_pi_times_width():
    """E. Barbier, J. math. pures appl. 5 (1860), 273-286 (from memory). The traced line is too short by at most a third of the
    chord tolerance per radian of turning.
    """
    z = line_of(ConstantWidth(sides=5, width=70.0, corner=4.0))
    assert 0 <= 70 * pi - np.abs(np.diff(z)).sum() <= 1.05 * CHORD / 3 * 2 * pi
