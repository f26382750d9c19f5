"""What is no number is never within a limit: the proof says so, wherever it comes in."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from lobework.errors import SettingError
from lobework.kinematics.motion import Motion
from lobework.kinematics.trace import trace
from lobework.lathe.lathe import Axis
from lobework.parts.cutter import Vee
from lobework.parts.piece import Barrel, Disc
from lobework.parts.slide import At
from lobework.proof import prove
from lobework.proof.compare import Comparison, WorstPlace
from lobework.proof.contact import contact_test
from lobework.proof.limits import Use, limit_findings
from lobework.proof.prove import path_findings
from lobework.proof.report import Deviation, Proof, fine
from lobework.proof.setups import set_ups
from lobework.text.cautions import READY
from tests.strategies import cut_on, fixed

NAN = math.nan
OPENING = f"(MSG, {'; '.join(READY)})\nM0\n".encode()
PROGRAM = OPENING + b"G21 G61 G90\nG0 Z5\nG0 X20 C0\nG1 Z-0.2 F60\nG93\nG1 C360 F2\nG94\nG0 Z5\nM2\n"
DISC, VEE = Disc(diameter=60.0, thickness=8.0), Vee(angle_deg=90.0, width=3.0)


def ring():
    return trace(cut_on(fixed(), at=At(x=20.0, depth=0.2)), chord=2.5e-4)


def proved(traced):
    return prove(PROGRAM, [traced], DISC, VEE, tolerance=0.005)


def test_a_correct_program_is_proved():
    assert proved(ring()).proved


@pytest.mark.parametrize("axis", "xyz")
def test_a_job_with_a_non_finite_path_is_not_proved(axis):
    traced = ring()
    values = np.array(getattr(traced, axis), dtype=np.float64)
    values[values.size // 3] = NAN
    with pytest.raises(SettingError, match=r"pass\[1\]: the path of the job is not finite"):
        proved(replace(traced, **{axis: values}))


def test_a_program_with_a_non_finite_path_is_not_proved(monkeypatch):
    """The lathe's model gives no number from 100 to 107 degrees of the spindle."""
    traced, sound = ring(), Motion.place_of

    def place_of(self, axes):
        degrees = np.atleast_1d(axes.get("spindle", np.zeros(1)))
        return np.where(((degrees > 100) & (degrees < 107))[:, None], NAN, sound(self, axes))

    monkeypatch.setattr(Motion, "place_of", place_of)
    with pytest.raises(SettingError, match=r"the lathe's model gives a position that is not finite, with spindle 10[\d.]+, x 20"):
        proved(traced)


@pytest.mark.parametrize("cut", [None, WorstPlace(NAN, 4, 0, 0.3, (NAN, 0.0, 0.0))])
@pytest.mark.parametrize(
    "deviation", [WorstPlace(NAN, 4, 0, 0.3, (20.0, 0.0, 0.0)), WorstPlace(0.0, 4, 0, 0.3, (20.0, 0.0, 0.0))]
)
def test_a_nan_distance_is_a_finding(deviation, cut):
    (setup,) = set_ups([ring()])
    found = list(path_findings(setup, Comparison(cut, [deviation], [0.0]), 0.005, "mm"))
    assert [each.level for each in found] == ["problem"] * (math.isnan(deviation.mm) + (cut is not None))


@pytest.mark.parametrize("piece", [DISC, Barrel(diameter=60.0, length=50.0)], ids=lambda each: each.form)
def test_a_nan_position_counts_as_contact(piece):
    touches = contact_test(piece, VEE, 0.005)
    places = np.array([[NAN, 0.0, 0.0], [0.0, NAN, -1.0], [0.0, 0.0, NAN], [NAN, NAN, NAN], [500.0, 0.0, 500.0]])
    assert touches(places).tolist() == [True, True, True, True, False]


@pytest.mark.parametrize("wrong", ["low", "high", "speed", "acceleration"])
def test_a_nan_axis_value_is_a_finding(wrong):
    axis = Axis(moves="x", letter="X", low=0.0, high=50.0, top_speed=20.0, acceleration=100.0)
    sound = Use(axis, 0.0, 40.0, 10.0, 50.0, (1, 2, 3, 4))
    assert list(limit_findings([sound])) == []
    (found,) = limit_findings([replace(sound, **{wrong: NAN})])
    assert found.level == "problem"


def test_a_nan_deviation_is_never_within_tolerance():
    astray = Deviation(NAN, 4, 1, 0.3, True, (20.0, 0.0, 0.0))
    message = "\n".join(Proof(title="", units="mm", allowed=0.005, deviation=astray).lines())
    assert "keeps within" not in message
    assert fine(NAN, "mm") == "no finite length"
