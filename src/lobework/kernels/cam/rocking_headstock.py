"""Rotation of a rocking headstock about its pivot, while a cam on the spindle bears on a fixed follower."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["follower_position", "psi_at_direction", "rotation", "steadiness"]

_ROUNDS: Final = 120
_FREE_STEPS: Final = 8
_BRACKET_MARGIN: Final = 1e-6


def follower_position(
    alpha: Array, height: float, upright_distance: float, side: int, gain: float, flat: bool
) -> tuple[Array, Array, Array, Array]:
    """Return the position of the follower relative to the spindle, in the headstock's frame.

    Parameters
    ----------
    alpha : (n,) float64, rad
        Rotation of the headstock, positive towards +X.
    height : float, mm
        Height of the spindle above the pivot.
    upright_distance : float, mm
        Distance from the spindle to the follower's reference point with the headstock upright.
    side : 1 or -1
        1 if the follower is on the side of +X.
    gain : float
        Gain of the lever, which moves the follower's support by the fraction ``1 - 1 / gain`` of the spindle's travel.
    flat : bool
        Whether the follower is an upright face instead of a round nose.

    Returns
    -------
    distance, derivative of the distance, direction relative to the nominal one, derivative of the direction: (n,) mm and rad
        The derivatives are with respect to alpha.
    """
    sine, cosine = np.sin(alpha), np.cos(alpha)
    ahead, ahead_slope = upright_distance - side * height * sine / gain, -side * height * cosine / gain
    if flat:
        return ahead, ahead_slope, alpha, np.ones_like(alpha)
    up, up_slope = height * (1 - cosine), height * sine
    distance = np.hypot(ahead, up)
    turned = side * np.arctan2(up, ahead) + alpha
    turned_slope = side * (ahead * up_slope - up * ahead_slope) / distance**2 + 1
    return distance, (ahead * ahead_slope + up * up_slope) / distance, turned, turned_slope


def rotation(
    reach: Callable[[Array], tuple[Array, Array]],
    extent: tuple[float, float],
    psi: Array,
    height: float,
    upright_distance: float,
    side: int,
    gain: float,
    flat: bool,
) -> tuple[Array, Array, Array]:
    """Return the rotation of the headstock for ``psi``, (n,) rad, the follower's nominal direction in the cam's frame.

    The function ``reach`` returns the cam's reach and the slope of the reach for an array of directions; ``extent`` is the least
    and the greatest reach. Also returned are the derivative of the rotation with respect to ``psi``, and the residual of the
    contact condition, mm. The residual is not zero, or is infinite, if the cam is so steep that the headstock would jump.

    The rotation is found by Newton's method, in a bracket that follows from ``extent``. A step that would leave the
    bracket is replaced by a bisection; after `_FREE_STEPS` steps, every second step is a bisection.
    """
    ends = _turn_at(np.array(extent), height, upright_distance, side, gain, flat)
    low, high = np.full_like(psi, ends.min() - _BRACKET_MARGIN), np.full_like(psi, ends.max() + _BRACKET_MARGIN)
    out, _ = reach(psi)
    alpha = np.arcsin(np.clip(side * gain * (upright_distance - out) / height, -0.99, 0.99))
    for attempt in range(_ROUNDS):
        distance, closing, turned, turning = follower_position(alpha, height, upright_distance, side, gain, flat)
        out, slope = reach(psi + turned)
        misfit, steep = distance - out, closing - slope * turning
        beyond = side * misfit > 0
        low, high = np.where(beyond, alpha, low), np.where(beyond, high, alpha)
        with np.errstate(divide="ignore", invalid="ignore"):
            wanted = alpha - misfit / steep
        halve = ~((wanted >= low) & (wanted <= high)) | (attempt > _FREE_STEPS and attempt % 2 == 1)
        wanted = np.where(halve, 0.5 * (low + high), wanted)
        step, alpha = wanted - alpha, wanted
        if height * np.abs(step).max(initial=0.0) <= 1e-13:
            break
    distance, closing, turned, turning = follower_position(alpha, height, upright_distance, side, gain, flat)
    out, slope = reach(psi + turned)
    steep = closing - slope * turning
    left = np.where(side * steep < 0, distance - out, np.inf)
    return alpha, slope / steep, left


def psi_at_direction(
    out: Array, direction: Array, height: float, upright_distance: float, side: int, gain: float, flat: bool
) -> Array:
    """Return ``psi``, (n,) rad, for a contact at ``direction`` in the cam's frame, with the reach ``out``."""
    _, _, turned, _ = follower_position(
        _turn_at(out, height, upright_distance, side, gain, flat), height, upright_distance, side, gain, flat
    )
    psi: Array = direction - turned
    return psi


def steadiness(out: Array, slope: Array, height: float, upright_distance: float, side: int, gain: float, flat: bool) -> Array:
    """Return the derivative of ``psi`` with respect to the contact's direction, for (n,) reaches ``out`` with slopes ``slope``.

    If the derivative is one, the contact moves with the cam; if near zero, the contact moves much faster than the cam; if zero or
    less, the headstock jumps.
    """
    _, closing, _, turning = follower_position(
        _turn_at(out, height, upright_distance, side, gain, flat), height, upright_distance, side, gain, flat
    )
    steady: Array = 1 - turning * slope / closing
    return steady


def _turn_at(out: Array, height: float, upright_distance: float, side: int, gain: float, flat: bool) -> Array:
    """Return the rotation of the headstock, (n,) rad, at which the follower is at the distance ``out`` from the spindle."""
    alpha = np.arcsin(np.clip(side * gain * (upright_distance - out) / height, -0.99, 0.99))
    for _ in range(_ROUNDS):
        distance, closing, _, _ = follower_position(alpha, height, upright_distance, side, gain, flat)
        step = (distance - out) / closing
        alpha = alpha - step
        if height * np.abs(step).max(initial=0.0) <= 1e-13:
            break
    return alpha
