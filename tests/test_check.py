"""What the check finds: closure, bridging, travel."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
import pytest

from lobework.checks.check import Finding, bridging_findings, closure_findings, ratio_findings, travel_findings
from lobework.checks.workpiece import carving_findings, work_findings
from lobework.errors import SettingError
from lobework.jobs.jobfile import read_job
from lobework.kinematics.closure import closure_of
from lobework.kinematics.motion import motion_of
from lobework.kinematics.trace import trace
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Pass, cuts_of
from lobework.parts.cam import Scallop, Wave
from lobework.parts.camshaft import CamShaft
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife, Roller
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Disc
from lobework.parts.slide import At
from tests.strategies import GearedArm, cut_on, fixed, sliding

WAVE = Wave(lobes=4, base_radius=60.0, rise=5.0)


def found_by(look, item, lathe=None):
    cuts = list(cuts_of(item, lathe or sliding()))
    return [str(finding) for finding in look(cuts, [trace(cut, chord=0.02) for cut in cuts])]


def rings(turns=1, cam=WAVE, follower=None, **drive):
    return Pass(name="rings", turns=turns, at=At(x=20.0), cams=(Drive(cam, follower=follower or Knife(), **drive),))


def test_a_pass_that_closes_is_noted_with_its_turns_and_lobes():
    (message,) = found_by(closure_findings, rings(ratio="3/4"))
    assert message == "note (closure): rings: closes after 1 turn; the pattern has 3 lobes of cam 1 per turn"


def test_a_pass_that_does_not_close_gives_a_warning_with_gap_and_remedy():
    """4 lobes at 2/3 are 8/3 a turn: one turn leaves a third of a lobe, 1/3 * 360 / (8/3) = 45 degrees of the work."""
    (message,) = found_by(closure_findings, rings(ratio="2/3"))
    assert message.startswith("warning (closure): rings: 1 turn leaves a gap of ")
    assert "ends -45 degrees from its start" in message
    assert "closes after 3 turns: set turns = 3" in message


def test_a_travelling_slide_does_not_close():
    item = replace(rings(turns=2), travel=At(x=-3.0))
    (message,) = found_by(closure_findings, item)
    assert "the slides travel, so the pass does not close; the path ends 3 mm from its start" in message


def test_a_bridged_hollow_is_reported_once_per_series():
    cam = Scallop(lobes=6, base_radius=50.0, rise=4.0)
    findings = found_by(bridging_findings, rings(cam=cam, follower=Roller(3.0)).series(5, x=-1.0))
    assert len(findings) == 1
    assert "warning (bridging): rings, cam 1: the roller bridges the cam from " in findings[0]
    assert "in each of 6 lobes" in findings[0]
    assert findings[0].endswith("only a knife would reach the bottom")


def test_a_roller_too_large_for_a_wave_is_reported_with_the_largest_that_reaches():
    """r^2 / (r'' - r) in the hollow: 3600 / (288 - 60) = 15.789 mm, to the formula of METU *Mechanisms* 8.5."""
    cam = Wave(lobes=12, base_radius=60.0, rise=4.0)
    (message,) = found_by(bridging_findings, rings(cam=cam, follower=Roller(20.0)))
    assert "a roller of 15.789 mm radius or less would reach the bottom" in message
    assert found_by(bridging_findings, rings(cam=cam, follower=Roller(15.0))) == []


def test_an_axis_that_leaves_its_travel_is_a_problem_with_both_numbers():
    lathe = sliding()
    short = replace(lathe, axes=tuple(replace(axis, low=-5.0, high=18.5) if axis.moves == "x" else axis for axis in lathe.axes))
    findings = found_by(travel_findings, rings().series(2, x=-1.0), short)
    assert findings == [
        "problem (travel): rings 1, x: goes to 20 mm; the travel of X ends at 18.5 mm",
        "problem (travel): rings 2, x: goes to 19 mm; the travel of X ends at 18.5 mm",
    ]
    assert found_by(travel_findings, rings(), lathe) == []


def test_a_rotary_axis_with_limits_is_checked():
    lathe = sliding()
    stopped = replace(lathe, axes=(Axis(moves="cam 1", letter="A", low=-90.0, high=720.0),))
    (message,) = found_by(travel_findings, rings(ratio="-1"), stopped)
    assert message == "problem (travel): rings, cam 1: goes to -360 degrees; the travel of A ends at -90 degrees"


def driven(steps=0.0, **shaft):
    """Return a bench whose cam is turned so."""
    axes = (Axis(moves="cam 1", letter="A", steps=steps),) if shaft.get("turned_by") == "motor" else ()
    return Lathe(name="bench", headstock=Headstock(sideways="slides"), axes=axes, cams=(CamShaft(number=1, **shaft),))


def test_a_rounded_percent_is_noted_with_the_gap_and_the_turns_until_it_is_visible():
    """Worked by hand: 3 turns of 0.6667 are 2.0001 of the cam, 0.0001 / 0.6667 of a turn of the work: 0.054 degrees, and 0.024 mm
    at the wave's crest, a radius of 25 mm; 0.0079 mm a turn passes 0.05 mm at the seventh."""
    lathe = driven(turned_by="motor", percent_places=2)
    (message,) = found_by(ratio_findings, rings(ratio="2/3", turns=3), lathe)
    assert message == (
        "note (ratio): rings, cam 1: runs at 66.67 %, not 2/3 (percent, 2 decimals): after 3 turns the gap at "
        "the join is 0.054 degrees, 0.024 mm at a radius of 25 mm; this is visible after 7 turns; use a ratio that the drive "
        "can make, or gears"
    )
    (warned,) = found_by(ratio_findings, rings(ratio="2/3", turns=9), lathe)
    assert warned == message.replace("note", "warning", 1)


def test_a_ratio_that_its_drive_makes_exactly_is_noted_with_the_drive():
    by_percent = found_by(ratio_findings, rings(ratio="3/4"), driven(turned_by="motor", percent_places=0, steps=16000.0))
    assert by_percent == ["note (ratio): rings, cam 1: runs at 3/4 exactly: percent, no decimals; motor, 16000 steps a turn"]
    by_wheels = found_by(ratio_findings, rings(ratio="2/3", turns=3), driven(turned_by="gears", wheels=(20, 30, 45, 60)))
    assert by_wheels == ["note (ratio): rings, cam 1: runs at 2/3 exactly: 20 drives 30"]


def test_only_visible_motor_steps_give_a_warning():
    """From the wave 2.5 (1 - cos 4 a): half of 200 steps, pi/200 rad, moves it 5 sin(2 pi / 200) = 0.157 mm at its steepest."""
    (message,) = found_by(ratio_findings, rings(ratio="3/4"), driven(turned_by="motor", steps=200.0))
    assert message == (
        "warning (ratio): rings, cam 1: half a step of the cam's motor moves the headstock 0.157 mm; use more "
        "than 200 steps a turn"
    )
    assert found_by(ratio_findings, rings(ratio="3/4"), driven(turned_by="motor", steps=16000.0)) == []


def test_a_cam_on_the_spindle_or_in_software_has_no_ratio_to_miss():
    assert found_by(ratio_findings, rings(), driven(turned_by="spindle")) == []
    assert found_by(ratio_findings, rings(ratio="2/3", turns=3)) == []


def test_a_finding_is_one_line():
    finding = Finding(kind="travel", level="problem", where="lid", message="too far")
    assert str(finding) == "problem (travel): lid: too far"
    with pytest.raises(AttributeError):
        finding.kind = "other"


def test_a_geared_chuck_is_not_reported_as_closed():
    """Geometry: at a gear of one third the arm's work stands as it began after three turns, not after one."""
    lathe = fixed(GearedArm(arm=5.0, gear=1 / 3))
    open_cut = cut_on(lathe, at=At(x=10.0), turns=1)
    (found,) = closure_findings([open_cut], [trace(open_cut)])

    assert found.level == "note"
    assert "a chuck does not return to its starting position with the spindle" in found.message
    assert closure_of(motion_of(open_cut)).turns is None


DISC = Disc(diameter=40.0, thickness=5.0)


def found_on(piece, item, lathe=None):
    return [
        str(finding) for finding in work_findings(piece, [trace(cut, chord=0.02) for cut in cuts_of(item, lathe or sliding())])
    ]


def plain(x=15.0, depth=0.3, **given):
    return Pass(name="rings", at=At(x=x, depth=depth), **given)


def test_work_that_contains_the_whole_pattern_gives_no_finding():
    assert found_on(DISC, plain().series(5, x=1.0)) == []
    assert found_on(DISC, plain(depth=0.0)) == []


def test_a_tip_beyond_the_edge_gives_a_warning_with_distance_and_first_cut():
    """A disc of 40 mm ends 20 mm out: rings at 15, 18, 21 and 24 mm leave it by 4 mm at most, the third first."""
    (message,) = found_on(DISC, plain().series(4, x=3.0))
    assert message.startswith("warning (work): rings: the tip cuts up to 4 mm beyond the edge of the work, first in rings 3")


def test_the_overrun_of_a_wave_is_measured_at_its_crest():
    (message,) = found_on(DISC, rings())
    assert "up to 5 mm beyond the edge" in message


def test_a_tip_beyond_the_edge_but_clear_of_the_face_gives_no_edge_warning():
    findings = found_on(DISC, plain(x=30.0, depth=-1.0))
    assert findings == [
        "warning (work): rings: the tip stays at least 1 mm away from the face and cuts nothing; depth is positive into the work"
    ]


def test_a_tip_through_the_back_of_the_work_gives_a_warning():
    (message,) = found_on(DISC, plain(depth=2.0).series(4, depth=1.25))
    assert (
        message == "warning (work): rings: the tip goes 5.75 mm deep, first in rings 4, but the work is 5 mm thick; "
        "keep the tip clear of what holds the work"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """A square, 40 mm across its sides, its edge given in no particular sense."""

    form: ClassVar[str] = "plate"
    turn: int = 1

    @property
    def outline(self):
        along = np.linspace(-20.0, 20.0, 81)[:-1]
        sides = [np.stack([along, np.full(80, -20.0)], -1) @ np.array([[c, s], [-s, c]]) for c, s in TURNS]
        return np.concatenate([*sides, sides[0][:1]])[:: self.turn]


TURNS = ((1, 0), (0, 1), (-1, 0), (0, -1))


@pytest.mark.parametrize("turn", [1, -1])
def test_the_edge_of_another_form_is_its_outline(turn):
    assert found_on(Plate(turn=turn), plain(x=19.9)) == []
    (message,) = found_on(Plate(turn=turn), plain(x=24.0))
    assert "up to 4 mm beyond the edge" in message


IN_INCHES = """
units = "inch"
resolution = 0.02
lathe = "rocking-bench"

[piece]
form = "turned"
profile = [[0, 0.6], [-1, 0.9], [-2, 0.7]]

[cutter]
kind = "ball"
radius = 0.03
holder = { kind = "cutting frame", radius = 0.5, angle = "26 deg" }

[[pass]]
name = "flutes"
turns = 0
at = { depth = 0.06 }
template = { of = "piece", from = -0.2, to = -0.9 }

[[pass]]
name = "far ring"
at = { x = 0.9, z = -2.6, depth = -0.3 }

[[pass.cam]]
shape = "wave"
lobes = 40
base_radius = 1.5
rise = 0.2
follower = { kind = "roller", radius = 0.5 }
ratio = "2/3"
"""


def test_findings_of_an_inch_job_are_in_inches(tmp_path):
    path = tmp_path / "tub.toml"
    path.write_text(IN_INCHES, encoding="utf-8")
    job = read_job(path)
    found = [*job.trace().check(), *carving_findings(job.carve(backend="plain"), job.units)]
    message = [f"{each.kind}: {each.message}" for each in found if each.kind != "program"]
    assert [each for each in message if " mm" in each or "1.27" in each] == []
    assert {each.kind for each in found} >= {"travel", "work", "template", "closure", "bridging", "frame", "carving"}
    assert "travel: goes to -2.6 in; the travel of Z ends at -2.3622 in" in message
    assert sum("use a rubber with the radius of the cutter's sweep: rubber = '0.5 in'" in each for each in message) == 1
    assert sum("26 deg off the groove at z " in each and " in; set the frame to" in each for each in message) == 1


def test_work_that_does_not_clear_the_bed_is_reported_in_the_units_of_the_job(tmp_path):
    path = tmp_path / "tub.toml"
    piece, cutter = '{ form = "disc", diameter = 20, thickness = 1 }', '{ kind = "ball", radius = 0.05 }'
    message = f'units = "inch"\nlathe = "plain-bench"\npiece = {piece}\ncutter = {cutter}\npass = [{{ at = {{ x = 1 }} }}]\n'
    path.write_text(message, encoding="utf-8")
    with pytest.raises(SettingError, match=r"reaches 10 in from the spindle's axis, and the swing of .* is 6\.2\d+ in"):
        read_job(path).trace()
