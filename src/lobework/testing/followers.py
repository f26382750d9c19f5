"""The promises of every follower."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

import numpy as np

import lobework.testing.settings  # noqa: F401  (the promises of every part come first)
from lobework.errors import InputError, PartError
from lobework.kinematics.contact import lift_of, touch_at
from lobework.kinematics.finite_parts import finite_nose, nose_jumps, nose_places
from lobework.kinematics.trace import trace
from lobework.parts.cam import EccentricCam, Wave
from lobework.parts.drive import Drive
from lobework.quantities.tolerances import CONTACT_MM, JUMP_MM
from lobework.testing.arrays import each_alone, finite_of_shape, leaves_alone, same_again
from lobework.testing.benches import cut_on, rocking, sliding
from lobework.testing.compare import Broken, assert_close
from lobework.testing.derivative import slope_of
from lobework.testing.promise import promised
from lobework.testing.refusal import refused

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.parts.protocols import Follower
    from lobework.plugins.sample import Sample

__all__: list[str] = []

_HALF_WIDTH: Final = 50.0
"""Half width, mm, of the tested region of a flat follower, whose own width is unlimited."""
_GRID_FACTOR: Final = 4
_DISC: Final = EccentricCam(radius=30.0, offset=10.0)
_INSIDE: Final = 1 - 1e-3
"""Fraction of the half width within which slopes are measured: at the sides of the nose the slopes may be unbounded."""


def _across(follower: Follower, inside: float = 1.0) -> Array:
    """Return positions across the nose, including the middle and the sides; for a knife, only the middle."""
    half = min(follower.half_width, _HALF_WIDTH) * inside
    return np.linspace(-half, half, 401) if half > 0 else np.zeros(1)


def _midpoints(places: Array) -> Array:
    """Return the midpoints between neighbouring positions; no corner of the nose is at such a midpoint."""
    return (places[1:] + places[:-1]) / 2


def _methods(follower: Follower) -> dict[str, Callable[[Array], Array]]:
    return {"nose_at": follower.nose_at, "nose_slope_at": follower.nose_slope_at}


@promised(
    "follower",
    "has valid attributes",
    "The attributes form, half_width and rest are valid, nose_at is finite, and the greatest value of nose_at is rest.",
    "1e-9 mm",
)
def _valid(sample: Sample) -> int:
    follower = sample.part
    for sound, message in (
        (follower.form in ("round", "flat", "shaped"), f"form is {follower.form!r}"),
        (0 <= follower.half_width <= math.inf, f"half_width is {follower.half_width!r}"),
        (0 <= follower.rest < math.inf, f"rest is {follower.rest!r}"),
    ):
        if not sound:
            raise Broken(f"{message}; see lobework.plugins.Follower for the definition")
    across = _across(follower)
    finite_of_shape("nose_at", follower.nose_at(across.copy()), across.shape)
    finite_of_shape("nose_slope_at", follower.nose_slope_at(across[1:-1].copy()), across[1:-1].shape)
    try:
        finite_nose(follower)
    except PartError as error:
        raise Broken(error.message) from None
    nose = follower.nose_at(across)
    assert_close(nose.max(), follower.rest, 1e-9, what="the greatest value of nose_at, compared with rest")
    if follower.form != "shaped":
        assert_close(
            follower.nose_at(np.zeros(1)), [follower.rest], 1e-9, what="nose_at at the middle of the nose, compared with rest"
        )
    return 6


@promised(
    "follower",
    "has a nose of continuous height",
    "The height of the nose is continuous over its whole width.",
    f"{JUMP_MM:g} mm",
)
def _continuous(sample: Sample) -> int:
    if steps := nose_jumps(sample.part, finer=_GRID_FACTOR):
        worst = max(steps, key=lambda each: each.size)
        more = f" (and at {len(steps) - 1} more positions)" if len(steps) > 1 else ""
        raise Broken(f"nose_at jumps by {worst.size:.4g} mm at {worst.after:.6g} mm from the middle of the nose{more}")
    return max(nose_places(sample.part, finer=_GRID_FACTOR).size - 1, 1)


@promised(
    "follower",
    "has the form that it declares",
    "A round nose is a circle whose radius is its half width; a flat nose is level and unlimited.",
    "1e-9 mm",
)
def _form(sample: Sample) -> int:
    follower = sample.part
    across = _across(follower, _INSIDE)
    if follower.form == "flat":
        assert_close(follower.half_width, math.inf, 0.0, what="half_width of a flat follower")
        for what, function in _methods(follower).items():
            assert_close(function(across), np.zeros(across.size), 0.0, what=f"{what} of a flat follower")
    elif follower.form == "round":
        assert_close(
            follower.half_width, follower.rest, 1e-9, what="half_width of a round follower, compared with rest, its radius"
        )
        circle = np.sqrt(np.maximum((follower.rest - across) * (follower.rest + across), 0.0))
        assert_close(follower.nose_at(across), circle, 1e-9, what="nose_at of a round follower")
        for setting, part in (("radius", 1.0), ("diameter", 0.5)):
            if isinstance(given := getattr(follower, setting, None), float):
                assert_close(follower.rest, part * given, 1e-9, what=f"its radius, compared with its {setting}")
    return 2 * int(across.size)


@promised(
    "follower",
    "has the slope of its nose",
    "The method nose_slope_at returns the slope of nose_at.",
    "1e-6 of the steepest slope",
)
def _slopes(sample: Sample) -> int:
    follower = sample.part
    if follower.half_width == 0:
        assert_close(follower.nose_slope_at(np.zeros(1)), [0.0], 0.0, unit="", what="nose_slope_at of a knife edge")
        return 1
    across = _midpoints(_across(follower, _INSIDE))
    half = min(follower.half_width, _HALF_WIDTH)
    expected, unsure = slope_of(follower.nose_at, across, np.minimum(half - np.abs(across), 1e-3 * half) / 4)
    slope = follower.nose_slope_at(across)
    beyond = np.abs(slope - expected) - 1e-6 * (1 + np.abs(expected)) - 4 * unsure
    if not (beyond <= 0).all():
        k = int(np.where(np.isnan(beyond), np.inf, beyond).argmax())
        raise Broken(
            f"nose_slope_at: {slope[k]:.9g} instead of {expected[k]:.9g} at {across[k]:.6g} mm from the middle (sample {k})"
        )
    return int(across.size)


@promised(
    "follower",
    "treats each position independently",
    "The nose at one position does not depend on the other positions of the array.",
    "1e-9 mm",
)
def _each_alone(sample: Sample) -> int:
    return each_alone(_methods(sample.part), _across(sample.part, _INSIDE), 1e-9, along="across")


@promised(
    "follower",
    "does not change its input",
    "The methods of the follower do not write to the array of positions that they receive.",
)
def _leaves_alone(sample: Sample) -> int:
    return leaves_alone(_methods(sample.part), _across(sample.part, _INSIDE))


@promised(
    "follower",
    "gives the same result again",
    "Equal positions give equal results, and the next call does not overwrite an earlier result.",
)
def _same_again(sample: Sample) -> int:
    across = _across(sample.part, _INSIDE)

    def within(function: Callable[[Array], Array]) -> Callable[[Array], Array]:
        return lambda q: function(np.clip(q, across[0], across[-1]))

    return same_again({name: within(function) for name, function in _methods(sample.part).items()}, across)


def _reach_by_search(follower: Follower, phi: Array) -> Array:
    """Return the reach on the test disc, by a search over the half of the edge that faces the follower.

    The search is repeated on finer and finer grids around the best point.
    """
    reach = np.full(phi.size, -math.inf)
    for k, direction in enumerate(phi):
        middle, half = float(direction), math.pi / 2
        for _ in range(8):
            psi = middle + np.linspace(-half, half, 2001)
            radius = _DISC.base_radius + _DISC.rise_at(psi)
            across, along = radius * np.sin(psi - direction), radius * np.cos(psi - direction)
            bears = np.abs(across) <= follower.half_width
            tried = np.where(bears, along + follower.nose_at(np.where(bears, across, 0.0)), -math.inf)
            best = int(tried.argmax())
            reach[k], middle, half = max(reach[k], tried[best]), float(psi[best]), half / 400
    return reach


def _closed_form(follower: Follower, phi: Array) -> Array:
    """Return the reach on the test disc in closed form.

    The reach is e cos + sqrt((R + q)^2 - (e sin)^2) for a round nose of radius q, and R + e cos for a flat follower.

    Source: derived; the round follower is a slider-crank with crank e and rod R + q, the flat follower is a tangent of the disc.
    """
    radius, off = _DISC.radius, _DISC.offset
    if follower.form == "flat":
        return radius + off * np.cos(phi)
    return off * np.cos(phi) + np.sqrt((radius + follower.rest) ** 2 - (off * np.sin(phi)) ** 2)


@promised(
    "follower",
    "has the right reach on a disc",
    "The reach on an eccentric disc equals the closed form, or for a shaped follower the result of a search.",
    "1e-8 mm",
)
def _reach(sample: Sample) -> int:
    follower = sample.part
    phi = np.radians(np.arange(0.0, 360.0, 7.5))
    expected = _reach_by_search(follower, phi) if follower.form == "shaped" else _closed_form(follower, phi)
    found = touch_at(_DISC, follower, phi)
    assert_close(found.reach, expected, 10 * CONTACT_MM, phi, along="cam", what="its reach")
    assert_close(
        touch_at(_DISC, follower, phi, backend="compiled").reach,
        expected,
        10 * CONTACT_MM,
        phi,
        along="cam",
        what="its reach in compiled code",
    )
    lift = lift_of(_DISC, follower)
    assert_close(lift.curve.at(phi) + lift.rest, expected, 10 * CONTACT_MM, phi, along="cam", what="its lift")
    return 3 * int(phi.size)


@promised(
    "follower",
    "is refused where it cannot touch the cam",
    "A shaped follower on a rocking headstock, or a follower too wide for a face cam, is refused in one line; others are not.",
)
def _refused(sample: Sample) -> int:
    follower = sample.part
    edge, face = Wave(lobes=3, base_radius=60.0, rise=1.0), Wave(lobes=3, base_radius=60.0, rise=1.0, on="face")
    tries: tuple[tuple[Callable[[], object], bool, str], ...] = (
        (lambda: trace(cut_on(sliding(), Drive(edge, follower=follower))), True, "an edge cam on a sliding headstock"),
        (lambda: trace(cut_on(rocking(300.0), Drive(edge, follower=follower))), follower.form != "shaped", "a rocking headstock"),
        (lambda: trace(cut_on(sliding(), Drive(face, follower=follower))), follower.half_width <= 60.0, "a face cam"),
    )
    for act, accepted, where in tries:
        if not accepted:
            refused(act, f"{where} accepts a follower of form {follower.form} and half width {follower.half_width:g} mm")
            continue
        try:
            act()
        except InputError as error:
            raise Broken(f"{where} refuses the follower: {error}") from None
    return len(tries)
