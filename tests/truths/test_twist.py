"""What winds: the crest of a pattern whose phase drifts along the work, and grooves of a known lead."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from lobework.jobs.job import Job
from lobework.kinematics.trace import trace
from lobework.lathe.passes import Pass, cuts_of
from lobework.parts.cam import Wave
from lobework.parts.cutter import Ball
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife
from lobework.parts.piece import Barrel
from lobework.parts.slide import Approach, At
from lobework.parts.twist import Twist
from tests.strategies import cut_on, rocking, sliding

INCH = 25.4
WOUND = math.degrees(math.atan(math.pi / 4))
"""A quarter of a turn over 2 in at 2 in diameter: a quarter of pi times 2 in across, in 2 in along."""
WINDS = Twist(angle="90 deg", over=2 * INCH)
WAVE = Wave(lobes=4, base_radius=60.0, rise=2.0)
SIDE = Approach(axis="x", surface=INCH)


def top(where, out, within):
    """Where a way stands furthest out: the vertex of a parabola about its furthest sample."""
    about = where[out.argmax()]
    close = np.abs(where - about) < within
    bent, leaning, _ = np.polyfit(where[close] - about, out[close], 2)
    return about - leaning / (2 * bent)


def crest(angle, out, near):
    """The angle, close to another, at which a way round the work stands furthest out."""
    seen = np.angle(np.exp(1j * (angle - near)))
    close = np.abs(seen) < math.pi / WAVE.lobes
    return near + top(seen[close], out[close], 0.1)


def winding(ends):
    """The angle to the axis, degrees, of the line through two places, (angle, z), on a cylinder of 2 in."""
    (angle, z), (later, further) = ends
    return math.degrees(math.atan2(abs(later - angle) * INCH, abs(further - z)))


def drive(**given):
    return Drive(WAVE, follower=Knife(), side="back", **{"twist": WINDS, **given})


def test_a_quarter_turn_over_two_inches_of_two_inch_work_winds_at_38_1_degrees():
    """Common practice, no source: 38.1 degrees; by the tangent, atan(pi / 4) = 38.146."""
    assert pytest.approx(38.1, abs=0.05) == WOUND


def test_the_crest_of_rings_winds_at_38_1_degrees():
    """Twenty-one rings along 2 in; the crest is followed from ring to ring."""
    rings = cuts_of(Pass(at=At(x=INCH), cams=drive()).series(21, z=-0.1 * INCH), sliding(), approach=SIDE)
    places, near = [], 0.5
    for path in (trace(cut, chord=1e-4) for cut in rings):
        near = crest(np.arctan2(path.y, path.x), np.hypot(path.x, path.y), near)
        places.append((near, path.z[0]))
    assert [winding(ends) for ends in pairwise(places)] == pytest.approx([WOUND] * 20, abs=0.02)


@pytest.mark.parametrize("lathe", [sliding(), rocking(250.0)], ids=["slides", "rocks"])
def test_the_crest_of_a_close_helix_winds_at_38_1_degrees(lathe):
    """Forty turns, 0.05 in apart: the crest turn by turn."""
    path = trace(cut_on(lathe, drive(), turns=40, at=At(x=INCH), travel=At(z=-2 * INCH)), chord=1e-4)
    out, angle, lead = np.hypot(path.x, path.y), np.arctan2(path.y, path.x), -2 * INCH / 40
    places, near = [], -1.0
    for turn in range(1, 39):
        here = np.abs(path.u - (turn - near / (2 * math.pi))) < 1 / 8
        near = crest(angle[here], out[here], near)
        places.append((near, lead * (turn - near / (2 * math.pi))))
    assert [winding(ends) for ends in pairwise(places)] == pytest.approx([WOUND] * 37, abs=0.02)


def test_the_crests_of_flutes_along_the_work_wind_at_38_1_degrees():
    """Flutes five degrees of the spindle apart: each goes over the crest where the rings have it."""
    flute = Pass(turns=0, at=At(x=INCH), travel=At(z=-2 * INCH), cams=drive())
    places = []
    for path in (trace(cut, chord=1e-4) for cut in cuts_of(flute.series(9, spindle="-5 deg"), sliding(), approach=SIDE)):
        places.append((math.atan2(path.y[0], path.x[0]), top(path.z, np.hypot(path.x, path.y), 0.1 * INCH)))
    assert [winding(ends) for ends in pairwise(places)] == pytest.approx([WOUND] * 8, abs=0.02)


def test_the_crests_in_the_wood_wind_at_38_1_degrees():
    """Rings 0.1 in apart, carved: where round the work the waves stand, row by row of the rays."""
    rings = Pass(at=At(x=INCH, z=-0.1 * INCH, depth=1.5), cams=drive()).series(21, z=-0.1 * INCH)
    piece = Barrel(diameter=2 * INCH, length=2.2 * INCH)
    job = Job(title="Wound", lathe=sliding(), piece=piece, cutter=Ball(radius=6.0), passes=[rings], resolution=0.5, chord=0.01)
    carving = job.carve()
    inside = (carving.stock.row_positions > 0.2 * INCH) & (carving.stock.row_positions < 2 * INCH)
    waves = np.fft.rfft(carving.depth[inside])[:, WAVE.lobes]
    slope = np.polyfit(carving.stock.row_positions[inside], np.unwrap(np.angle(waves)) / WAVE.lobes, 1)[0]
    assert math.degrees(math.atan(abs(slope) * INCH)) == pytest.approx(WOUND, abs=0.1)


@pytest.mark.parametrize(("turns", "travel"), [(1, -10.0), ("1/4", -50.8), ("7/3", -20.0)])
def test_a_groove_makes_one_turn_in_its_lead_at_the_angle_of_its_tangent(turns, travel):
    """Helix: the lead is travel over turns, and its angle to the axis atan(pi d / lead). From memory."""
    path = trace(cut_on(sliding(), turns=turns, at=At(x=INCH), travel=At(z=travel)), chord=1e-3)
    lead = travel / float(Fraction(turns))
    assert np.angle(np.exp(1j * (np.arctan2(path.y, path.x) + 2 * math.pi * path.z / lead))) == pytest.approx(0, abs=1e-9)
    steps = np.diff(np.stack([path.x, path.y, path.z], axis=-1), axis=0)
    leans = np.degrees(np.arctan2(np.hypot(steps[:, 0], steps[:, 1]), np.abs(steps[:, 2])))
    assert leans == pytest.approx(math.degrees(math.atan(math.pi * 2 * INCH / abs(lead))), abs=0.02)
