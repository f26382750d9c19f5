"""What goes wrong is said in one line."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest

from lobework.errors import (
    InputError,
    LobeworkError,
    OutputExistsError,
    SettingError,
    TooLargeError,
    UnknownNameError,
    nearest,
    require,
)
from lobework.kinematics.trace import trace
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Pass
from lobework.parts.cam import EccentricCam, MotionLaw, Scallop, Wave
from lobework.parts.chuck import EccentricChuck, Oval
from lobework.parts.cutter import Ball, Pen, Vee
from lobework.parts.drive import Drive
from lobework.parts.follower import FlatFollower, Knife, Roller
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Disc
from lobework.parts.slide import At
from tests.strategies import cut_on, fixed, rocking, sliding

WAVE = Wave(lobes=4, base_radius=60.0, rise=5.0)
FACE = Wave(lobes=4, base_radius=60.0, rise=5.0, on="face")


def test_at_prefixes_the_location_to_the_message():
    error = SettingError("radius=-3: must be above zero").at("cam[1]").at("lid.toml: pass[2]")
    assert str(error) == "lid.toml: pass[2]: cam[1]: radius=-3: must be above zero"
    assert isinstance(error, SettingError)


def test_error_classes_derive_from_the_matching_builtin_exceptions():
    assert issubclass(SettingError, InputError)
    assert issubclass(TooLargeError, InputError)
    assert issubclass(InputError, ValueError)
    assert issubclass(UnknownNameError, LookupError)
    assert issubclass(OutputExistsError, FileExistsError)
    assert all(issubclass(kind, LobeworkError) for kind in (InputError, UnknownNameError, OutputExistsError))


def test_require_names_value_limit_and_remedy():
    require(True, "radius", 3, "above zero")
    with pytest.raises(SettingError, match=r"^lobes=0: must be 1 or more; count the tops$"):
        require(0, "lobes", 0, "1 or more", "count the tops")


def test_the_nearest_known_name_is_suggested_only_if_it_is_similar():
    assert nearest("folower", ["follower", "ratio"]) == "; did you mean 'follower'?"
    assert nearest("zzz", ["follower", "ratio"]) == ""


def test_an_unknown_name_lists_what_is_installed():
    message = str(UnknownNameError("cam", "scalop", ["wave", "scallop"]))
    assert message == "no cam is called 'scalop'; did you mean 'scallop'?; installed: scallop, wave"


def test_an_existing_output_is_reported_with_the_remedy():
    assert str(OutputExistsError("out/x.svg")) == "out/x.svg: exists already; name another folder or file, or add --overwrite"


REFUSED = [
    (lambda: Roller(-3.0), "radius=-3: must be above zero; use a knife for a sharp edge"),
    (lambda: Roller(math.nan), "radius=nan: must be above zero"),
    (lambda: Wave(lobes=0, base_radius=60.0, rise=5.0), "lobes=0: must be a whole number from 1 to 1000"),
    (lambda: Wave(lobes=4, base_radius=0.0, rise=5.0), "base_radius=0: must be above zero"),
    (lambda: Wave(lobes=4, base_radius=60.0, rise=-5.0), "rise=-5: must be zero or more"),
    (lambda: Roller(radius=1e-40), "radius=1e-40: must be at least 0.001 mm; use a knife for a sharp edge"),
    (lambda: Roller(radius=1e5), "radius=100000: must be at most 1000 mm; use a flat follower for a straight face"),
    (lambda: Wave(lobes=4, base_radius=60.0, rise=5.0, on="rim"), "on=rim: must be 'edge' or 'face'"),
    (lambda: Scallop(lobes=12, base_radius=60.0, rise=30.0), "a higher lobe would overhang"),
    (lambda: EccentricCam(radius=30.0, offset=30.0), "offset=30: must be from 0 to less than the radius, 30"),
    (lambda: MotionLaw(law="cycloidal", lobes=1, base_radius=9.0, rise=1.0, rise_part=Fraction(3, 4)), "dwell_part"),
    (
        lambda: MotionLaw(law="harmonic", lobes=1, base_radius=9.0, rise=1.0, rise_part=Fraction(0)),
        "rise_part=0: must be between 0 and 1",
    ),
    (lambda: Drive(WAVE, follower=Knife(), ratio="1/0"), "divides by zero"),
    (lambda: Drive(WAVE, follower=Knife(), side="left"), "side=left: must be 'front' or 'back'"),
    (lambda: Drive(WAVE, follower=Knife(), gain=0.0), "gain=0: must be above zero"),
    (lambda: Drive(FACE, follower=FlatFollower()), "this flat is too wide for the waves of a face cam"),
    (lambda: Headstock(sideways="rocks"), "pivot_height=0: must be above zero; measure from the pivot up to the spindle"),
    (lambda: Oval(throw=-1.0), "throw=-1: must be zero or more; set the ring to the other side"),
    (lambda: EccentricChuck(shift=math.inf), "shift=inf: must be a finite length"),
    (lambda: Vee(angle_deg=180.0, width=3.0), "angle=180: must be above 0 and below 180 degrees"),
    (lambda: Ball(radius=0.0), "radius=0: must be above zero"),
    (lambda: Pen(line=-1.0), "line=-1: must be above zero"),
    (lambda: Disc(diameter=0.0, thickness=8.0), "diameter=0: must be above zero"),
    (lambda: At(x=math.nan), "x=nan: must be a length within a kilometre"),
    (lambda: Pass(turns=-1), "turns=-1: must be zero or more, at most a million"),
    (
        lambda: Pass(cams=(Drive(WAVE, follower=Knife(), name="a"), Drive(WAVE, follower=Knife(), name="a"))),
        "different for each cam",
    ),
    (lambda: Pass().series(0), "count=0: must be a whole number, one or more"),
    (lambda: Axis(moves="x", letter="A"), "letter=A: must be X for the x axis"),
    (lambda: Axis(moves="turret", letter="A"), "moves=turret: must be 'spindle', 'x', 'y', 'z'"),
    (lambda: Axis(moves="x", letter="X", low=5.0, high=5.0), "high=5: must be above low, 5"),
    (
        lambda: Lathe(name="l", headstock=Headstock(sideways="fixed"), axes=(Axis(moves="x", letter="X"),) * 2),
        "given to one axis only",
    ),
    (lambda: fixed(Oval(throw=1.0)).mount(Oval(throw=1.0), name="chuck 1"), "given to one chuck only"),
    (
        lambda: trace(cut_on(fixed(), Drive(WAVE, follower=Knife()))),
        r"cam[1]: on='edge': an edge cam moves the headstock sideways, but this headstock cannot move sideways",
    ),
    (
        lambda: trace(cut_on(Lathe(name="l", headstock=Headstock(sideways="slides")), Drive(WAVE, follower=Knife(), ratio=2))),
        "cam does not turn with",
    ),
    (
        lambda: trace(cut_on(Lathe(name="l", headstock=Headstock(sideways="slides")), Drive(FACE, follower=Knife()))),
        "on='face': a face cam moves the headstock endways, but this headstock cannot move endways",
    ),
    (
        lambda: trace(cut_on(Lathe(name="l", headstock=Headstock(sideways="fixed")), travel=At(x=1.0))),
        "'l' has no axis that moves the x; its axes move: none",
    ),
    (
        lambda: trace(cut_on(rocking(200.0), Drive(WAVE, follower=Knife()), Drive(WAVE, follower=Knife()), together="sum")),
        "together='sum': must be 'furthest': the displacements of two cams on one rocking headstock cannot be added",
    ),
    (
        lambda: trace(
            cut_on(sliding(), Drive(WAVE, follower=Knife()), Drive(WAVE, follower=Knife(), side="back"), together="furthest")
        ),
        "are on opposite sides; put all of them on the same side",
    ),
    (
        lambda: trace(cut_on(sliding(), Drive(WAVE, follower=Knife()), turns=10**6), chord=1e-6),
        "GB; use fewer turns, less twist or a coarser chord",
    ),
]


@pytest.mark.parametrize(("wrong", "message"), REFUSED, ids=[message[:40] for _, message in REFUSED])
def test_invalid_values_are_refused_in_one_line(wrong, message):
    with pytest.raises(InputError) as error:
        wrong()
    assert message in str(error.value)
    assert "\n" not in str(error.value)
