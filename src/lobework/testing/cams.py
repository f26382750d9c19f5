"""The promises of every cam."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import TYPE_CHECKING, Final

import numpy as np

import lobework.testing.settings  # noqa: F401  (the promises of every part come first)
from lobework.errors import PartError
from lobework.kinematics.contact import lift_of, touch_at
from lobework.kinematics.finite_parts import cam_jumps, cam_places, finite_cam
from lobework.kinematics.trace import trace
from lobework.parts.drive import Drive
from lobework.parts.follower import FlatFollower, Knife, Roller
from lobework.parts.slide import At
from lobework.quantities.tolerances import CONTACT_MM, JUMP_MM
from lobework.quantities.units import format_number
from lobework.testing.angles import TURNING
from lobework.testing.arrays import each_alone, finite_of_shape, leaves_alone, same_again
from lobework.testing.benches import cut_on, sliding
from lobework.testing.compare import Broken, assert_close, worst
from lobework.testing.derivative import jump_between, slope_of
from lobework.testing.promise import promised

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.parts.protocols import Cam, Follower
    from lobework.plugins.sample import Sample

__all__: list[str] = []

_FINE: Final = 4096
_GRID_FACTOR: Final = 4
_SEVERAL: Final = (2, 3, 5, 7)
_EDGE: Final = 1e-3
"""Fraction of the interval between two corners, at each of its ends, in which slopes are not measured."""


def _pitch(cam: Cam) -> float:
    return 2 * math.pi / cam.lobes


def _methods(cam: Cam) -> dict[str, Callable[[Array], Array]]:
    return {"rise_at": cam.rise_at, "slope_at": cam.slope_at}


def _stretches(cam: Cam) -> Iterator[tuple[float, float]]:
    """Yield the smooth intervals of one lobe: from each corner to the next, or the whole lobe if the cam has no corners."""
    pitch = _pitch(cam)
    corners = sorted({float(each) % pitch for each in cam.corners}) or [0.0]
    for first, last in zip(corners, [*corners[1:], corners[0] + pitch], strict=True):
        if last - first > 1e-9 * pitch:
            yield first, last


def _places(cam: Cam, count: int, edge: float = _EDGE) -> Array:
    """Return angles spread over one lobe, none of which is near a corner."""
    inner = np.linspace(edge, 1 - edge, count)
    return np.concatenate([first + (last - first) * inner for first, last in _stretches(cam)])


def _all_angles(cam: Cam) -> Array:
    """Return angles spread over one lobe, including the corners and the two ends of the lobe."""
    return np.unique(np.concatenate([np.linspace(0.0, _pitch(cam), _FINE + 1), np.asarray(cam.corners, dtype=np.float64)]))


@promised(
    "cam",
    "has valid attributes",
    "The number lobes is whole, base_radius is above zero, on is edge or face, and all corners are within the first lobe.",
)
def _valid(sample: Sample) -> int:
    cam = sample.part
    for sound, message in (
        (isinstance(cam.lobes, int) and not isinstance(cam.lobes, bool) and cam.lobes >= 1, f"lobes is {cam.lobes!r}"),
        (0 < cam.base_radius < math.inf, f"base_radius is {cam.base_radius!r}"),
        (cam.on in ("edge", "face"), f"on is {cam.on!r}"),
        (
            all(0 <= each < _pitch(cam) for each in cam.corners),
            f"corners are {list(cam.corners)!r}, not all within the first lobe",
        ),
    ):
        if not sound:
            raise Broken(f"{message}; see lobework.plugins.Cam for the definition")
    for what, function in _methods(cam).items():
        for at in (TURNING[:1], TURNING, _all_angles(cam)):
            finite_of_shape(what, function(at.copy()), at.shape)
    try:
        finite_cam(cam)
    except PartError as error:
        raise Broken(error.message) from None
    return 4 + 6


@promised(
    "cam",
    "rises continuously",
    "The height of the cam is continuous at all angles, including the corners.",
    f"{JUMP_MM:g} mm",
)
def _continuous(sample: Sample) -> int:
    if steps := cam_jumps(sample.part, finer=_GRID_FACTOR):
        worst = max(steps, key=lambda each: each.size)
        more = f" (and at {len(steps) - 1} more positions)" if len(steps) > 1 else ""
        raise Broken(f"rise_at jumps by {worst.size:.4g} mm at cam {math.degrees(worst.after):.9g} deg{more}")
    return cam_places(sample.part, finer=_GRID_FACTOR).size - 1


@promised(
    "cam",
    "has equal lobes",
    "Every lobe equals the first lobe, after any number of turns in either direction, and lobes is the true number of lobes.",
    "1e-9 mm",
)
def _equal_lobes(sample: Sample) -> int:
    cam, pitch = sample.part, _pitch(sample.part)
    at = _places(cam, 97)
    first = cam.rise_at(at)
    rounds = sorted({1, cam.lobes - 1, cam.lobes, -1, -cam.lobes, 7 * cam.lobes})
    for lobe in rounds:
        within = 1e-9 + 1e-13 * abs(lobe) * float(np.abs(cam.slope_at(at)).max())
        assert_close(cam.rise_at(at + lobe * pitch), first, within, at, along="cam", what=f"{lobe} lobes further")
    for several in _SEVERAL if np.ptp(first) > 1e-6 else ():
        if worst(cam.rise_at(at + pitch / several), first).error <= 1e-9:
            raise Broken(f"lobes is {cam.lobes}, but the cam has {several} times as many lobes")
    return at.size * len(rounds)


@promised("cam", "has the top of a lobe at angle zero", "The height of the cam is greatest at angle zero.", "1e-9 mm")
def _top(sample: Sample) -> int:
    cam, at = sample.part, _all_angles(sample.part)
    rise, top = cam.rise_at(at), float(cam.rise_at(np.zeros(1))[0])
    assert_close(np.maximum(rise, top), np.full(at.size, top), 1e-9, at, along="cam", what="higher than at angle zero")
    return at.size


@promised(
    "cam",
    "has its lowest point at its base radius",
    "The lowest point of the cam is at its base radius; if the cam has a setting rise, this setting is the full height.",
    "1e-6 of the height",
)
def _base(sample: Sample) -> int:
    cam, at = sample.part, _all_angles(sample.part)
    rise = cam.rise_at(at)
    height = float(np.ptp(rise))
    assert_close(np.minimum(rise, 0.0), np.zeros(at.size), 1e-9, at, along="cam", what="below its base")
    assert_close(rise.min(), 0.0, 1e-9 + 1e-6 * height, what="its lowest height")
    if isinstance(setting := getattr(cam, "rise", None), float):
        assert_close(height, setting, 1e-9 + 1e-6 * height, what="its full height, compared with its rise")
    return at.size


@promised(
    "cam",
    "has the slope of its rise",
    "The method slope_at returns the slope of rise_at; at a corner, the slope on either of the two sides.",
    "1e-6 of the steepest slope",
)
def _slopes(sample: Sample) -> int:
    cam = sample.part
    at = _places(cam, 257)
    steps = np.concatenate([np.full(257, (last - first) * _EDGE / 4) for first, last in _stretches(cam)])
    expected, unsure = slope_of(cam.rise_at, at, steps)
    slope = cam.slope_at(at)
    steepest = max(float(np.abs(expected).max()), 1e-9)
    error = worst(slope, expected)
    allowed = 1e-6 * steepest + 4 * unsure
    beyond = np.abs(slope - expected) - allowed
    if not (beyond <= 0).all():
        k = int(np.where(np.isfinite(beyond), beyond, np.inf).argmax())
        error = worst(slope[k : k + 1], expected[k : k + 1], at[k : k + 1])
        raise Broken(f"slope_at: {error._replace(place=(k,)).as_text('cam', 'mm/rad')}")
    corners = np.asarray(cam.corners, dtype=np.float64)
    for corner, given in zip(corners, cam.slope_at(corners), strict=True):
        sides = cam.slope_at(np.array([corner - 1e-9, corner + 1e-9]))
        if not np.abs(sides - given).min() <= 1e-4 * steepest + 1e-9:
            raise Broken(
                f"slope_at: {given:g} mm/rad at the corner {math.degrees(corner):g} deg; "
                f"the slopes on its two sides are {sides.tolist()}"
            )
    return at.size + corners.size


@promised(
    "cam",
    "lists every corner",
    "The slope and curvature of the cam are continuous except at the listed corners.",
    "2 % of the steepest slope",
)
def _corners(sample: Sample) -> int:
    cam, cases = sample.part, 0
    steepest = max(float(np.abs(cam.slope_at(_places(cam, 257))).max()), 1e-9)
    smooth = list(_stretches(cam))
    if not len(cam.corners):
        smooth.append((-_pitch(cam) / 2, _pitch(cam) / 2))
    for first, last in smooth:
        for order, what in ((1, "slope"), (2, "curvature")):
            jump = jump_between(cam.slope_at, first, last, order, steepest)
            if jump is not None:
                place = format_number(round(math.degrees(jump), 6) % math.degrees(_pitch(cam)), 6)
                named = ", ".join(format_number(math.degrees(each), 6) for each in cam.corners) or "none"
                raise Broken(
                    f"its {what} jumps at {place} deg of the cam, which is not listed in corners; corners lists: {named}"
                )
            cases += 1
    return cases


@promised(
    "cam",
    "treats each angle independently",
    "The height at one angle does not depend on the other angles of the array.",
    "1e-9 mm",
)
def _each_alone(sample: Sample) -> int:
    return each_alone(_methods(sample.part), TURNING[:120], 1e-9, along="cam")


@promised("cam", "does not change its input", "The methods of the cam do not write to the array of angles that they receive.")
def _leaves_alone(sample: Sample) -> int:
    return leaves_alone(_methods(sample.part), TURNING)


@promised(
    "cam",
    "gives the same result again",
    "Equal angles give equal heights, and the next call does not overwrite an earlier result.",
)
def _same_again(sample: Sample) -> int:
    return same_again(_methods(sample.part), TURNING)


def _followers(cam: Cam) -> tuple[Follower, ...]:
    small = min(3.0, cam.base_radius / 8)
    return (Knife(), Roller(small)) if cam.on == "face" else (Knife(), Roller(small), FlatFollower())


@promised(
    "cam",
    "gives the same lift in compiled code",
    "The contact of each follower is the same in compiled and in plain code, and a knife follows the cam exactly.",
    f"{10 * CONTACT_MM:g} mm",
)
def _followed(sample: Sample) -> int:
    cam, cases = sample.part, 0
    phi = np.concatenate([np.linspace(0.0, _pitch(cam), 181), TURNING[:60]])
    for follower in _followers(cam):
        plain, compiled = (touch_at(cam, follower, phi, backend=backend) for backend in ("plain", "compiled"))
        within = 10 * CONTACT_MM
        assert_close(
            compiled.reach, plain.reach, within, phi, along="cam", what=f"{follower.kind}, compiled, compared with plain"
        )
        lift = lift_of(cam, follower)
        assert_close(
            lift.curve.at(phi) + lift.rest, plain.reach, within, phi, along="cam", what=f"{follower.kind}, from its lift table"
        )
        cases += 2 * phi.size
    away = _places(cam, 181)
    assert_close(lift_of(cam, Knife()).curve.at(away), cam.rise_at(away), 10 * CONTACT_MM, away, along="cam", what="a knife")
    return cases + away.size


@promised(
    "cam",
    "gives the same trace in compiled code",
    "On a moving headstock, compiled code gives the same path as plain code.",
    "1e-9 mm",
)
def _same_trace(sample: Sample) -> int:
    drive = Drive(sample.part, follower=Knife(), ratio=Fraction(3, 2))
    cut = cut_on(sliding(), drive, turns=2, at=At(x=12.0, y=1.0, depth=0.3))
    plain, compiled = (trace(cut, chord=0.01, backend=backend) for backend in ("plain", "compiled"))
    for axis in "xyz":
        assert_close(
            getattr(compiled, axis),
            getattr(plain, axis),
            1e-9,
            2 * math.pi * plain.u,
            what=f"{axis}, compiled, compared with plain",
        )
    return 1
