"""Contact of cam and follower: the lift, and the hollows of the cam that the follower bridges."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from lobework.errors import PluginError
from lobework.geometry.rigid import Array
from lobework.kernels.cam.contact import Shapes, Touch, reach_slope_by_psi, touch, window_of
from lobework.kinematics.finite_parts import cam_jumps, finite_cam, finite_nose, nose_jumps
from lobework.kinematics.periodic_spline import Curve, tabulate
from lobework.parts.protocols import Cam, Follower, not_continuous, require_rests
from lobework.quantities.tolerances import BRIDGE_RAD, TABLE_MM
from lobework.text.brief import Brief

__all__ = ["Bridge", "Lift", "largest_roller", "lift_of", "pressure_angle", "touch_at"]

_SCAN: Final = 192
"""Number of intervals into which a lobe is divided for the search for jumps of the contact."""
_TRIALS: Final = 16
"""Number of trial points within the follower's half-width."""
_NEAREST: Final = 0.01
"""Least distance of the two points of a touching circle, as a fraction of a lobe; for nearer points, the curvature is used."""
_PARTS: Final = 32
"""Number of polynomials that are fitted to the slope in each piece of a lobe."""
_NODES: Final = 16
_SHORT: Final = 32
"""A piece of a lobe that is shorter than the lobe divided by this number has its own trial points."""
_TRIALS_PER_PIECE: Final = 8
_MOST_TRIALS: Final = 2**20


@dataclass(frozen=True, slots=True, kw_only=True)
class Bridge:
    """A hollow of the cam that the follower bridges without touching its bottom.

    Parameters
    ----------
    first, last : float, rad
        Angles on the cam between which the follower does not touch the cam, in the lobe that starts at angle zero.
    width : float, mm
        Straight distance between the two points of contact.
    depth : float, mm
        Greatest gap between the surfaces of cam and follower, along the line of action.
    """

    first: float
    last: float
    width: float
    depth: float


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Lift(Brief):
    """The lift of a follower on a cam.

    Parameters
    ----------
    curve : Curve
        Lift above the rest position, mm, as a function of the angle of the follower in the cam's frame, rad. At rest, the
        follower stands on the base circle (edge cam) or the base of the wave (face cam).
    rest : float, mm
        Distance from the cam's centre (face cam: the base of the wave) to the follower's reference point at rest.
    bridges : tuple of Bridge
        Hollows of one lobe whose bottom the follower does not touch; empty if the follower touches the whole cam.
    """

    curve: Curve
    rest: float
    bridges: tuple[Bridge, ...]

    @property
    def travel(self) -> tuple[float, float]:
        """The least and the greatest lift, mm."""
        return self.curve.extent


@lru_cache(maxsize=256)
def shapes_of(cam: Cam, follower: Follower) -> Shapes:
    """Return the shapes of cam and follower as the argument of the contact kernels."""
    require_rests(cam, follower)
    trial = np.linspace(0, 2 * math.pi / cam.lobes, 1025)
    shape = finite_cam(cam)
    top = cam.base_radius + 1.001 * float(shape.at(trial).max())
    round_radius = follower.rest if follower.form == "round" else None
    nose, nose_slope = _nose_functions(follower)
    return Shapes(
        rise=shape.at,
        slope=shape.slope_at,
        nose=nose,
        nose_slope=nose_slope,
        half_width=follower.half_width,
        base=cam.base_radius,
        face=cam.on == "face",
        window=window_of(follower.half_width, round_radius, cam.base_radius, top, cam.on == "face"),
        pitch=2 * math.pi / cam.lobes,
        extra_trials=_close_trials(cam),
        has_corners=follower.form == "shaped",
    )


def _nose_functions(follower: Follower) -> tuple[Callable[[Array], Array], Callable[[Array], Array]]:
    """Return the nose and its slope as functions; beyond the nose's half-width, its sides are vertical."""
    wide, shape = follower.half_width, finite_nose(follower)
    if math.isinf(wide):
        return shape.at, shape.slope_at

    def nose(q: Array) -> Array:
        return shape.at(np.clip(q, -wide, wide))

    def slope(q: Array) -> Array:
        inside = shape.slope_at(np.clip(q, -wide, wide))
        return np.where(np.abs(q) > wide, -np.copysign(np.inf, q), inside)

    return nose, slope


def _smooth_pieces(cam: Cam) -> tuple[Array, Array]:
    """Return the starts and the widths, rad, of the cam's pieces between corners, without pieces of negligible width."""
    pitch = 2 * math.pi / cam.lobes
    starts = np.sort(np.asarray(cam.corners, dtype=np.float64))
    widths = np.diff(starts, append=starts[:1] + pitch)
    return starts[widths > 1e-9 * pitch], widths[widths > 1e-9 * pitch]


def _close_trials(cam: Cam) -> Array:
    """Return trial angles in those pieces of a lobe that are too short for evenly spaced trials."""
    starts, widths = _smooth_pieces(cam)
    short = widths < 2 * math.pi / cam.lobes / _SHORT
    return (starts[short, None] + widths[short, None] * (np.arange(_TRIALS_PER_PIECE) + 0.5) / _TRIALS_PER_PIECE).ravel()


def touch_at(cam: Cam, follower: Follower, phi: Array, *, backend: Literal["plain", "compiled"] = "plain") -> Touch:
    """Return the contact for (n,) angles of the follower in the cam's frame, rad, computed directly, without the stored lift.

    The compiled algorithm handles round and flat followers. For other followers, and for rollers that would need too many
    trial points, the plain algorithm is used.

    Examples
    --------
    >>> from lobework.parts.cam import EccentricCam
    >>> from lobework.parts.follower import Roller
    >>> touch_at(EccentricCam(radius=30.0, offset=10.0), Roller(8.0), np.array([np.pi / 3])).reach
    array([42.])
    """
    phi = np.asarray(phi, dtype=np.float64)
    shapes = shapes_of(cam, follower)
    trials = _trials_per_lobe(cam, follower)
    if backend == "plain" or follower.form == "shaped" or cam.lobes * trials > _MOST_TRIALS:
        return touch(shapes, phi)
    return _compiled_touch(cam, follower, phi, shapes.window, trials)


@lru_cache(maxsize=256)
def _trials_per_lobe(cam: Cam, follower: Follower) -> int:
    """Return the number of trial points per lobe, so that several are within the follower and in each piece of the cam."""
    pitch, shapes = 2 * math.pi / cam.lobes, shapes_of(cam, follower)
    if shapes.half_width == 0.0:
        return 1
    top = cam.base_radius if shapes.face else cam.base_radius + float(cam.rise_at(np.linspace(0, pitch, 1025)).max())
    within = min(shapes.window, shapes.half_width / top)
    shortest = float(_smooth_pieces(cam)[1].min(initial=pitch / _SHORT))
    return math.ceil(max(pitch * _TRIALS / within, pitch * _TRIALS_PER_PIECE / shortest))


def _compiled_touch(cam: Cam, follower: Follower, phi: Array, window: float, trials: int) -> Touch:
    """Return the contact of a round or flat follower, computed by the compiled kernel."""
    from lobework.kernels.cam.contact_compiled import CamEdge, contacts
    from lobework.kernels.cam.contact_compiled import Follower as Bearing

    edge = _rise_curve(cam)
    radius = follower.rest if follower.form == "round" else -1.0
    found = Touch(*(np.zeros_like(phi) for _ in range(3)))
    cubics = CamEdge(edge.period, edge.starts, edge.widths, edge.counts, edge.first, edge.cells)
    contacts(phi, cubics, Bearing(cam.base_radius, radius, cam.on == "face"), window, trials, *found)
    return found


@lru_cache(maxsize=256)
def _rise_curve(cam: Cam) -> Curve:
    """Return the cam's rise as a spline, accurate to `TABLE_MM`."""
    shape = finite_cam(cam)
    return tabulate(lambda psi: (shape.at(psi), shape.slope_at(psi)), np.asarray(cam.corners), 2 * math.pi / cam.lobes, TABLE_MM)


@lru_cache(maxsize=256)
def lift_of(cam: Cam, follower: Follower) -> Lift:
    """Return the lift of ``follower`` on ``cam``, accurate to `TABLE_MM` at every angle.

    Examples
    --------
    >>> from lobework.parts.cam import Scallop
    >>> from lobework.parts.follower import Roller
    >>> lift = lift_of(Scallop(lobes=4, base_radius=62.0, rise=5.0), Roller(3.0))
    >>> len(lift.bridges), round(lift.travel[1], 9)
    (1, 5.0)
    """
    pitch = 2 * math.pi / cam.lobes
    shapes, steps = shapes_of(cam, follower), _lift_jumps(cam, follower)
    rest = follower.rest + (0.0 if cam.on == "face" else cam.base_radius)

    def contact_at(phi: Array) -> Touch:
        return touch(shapes, phi)

    corners = np.asarray(cam.corners, dtype=np.float64)
    jumps = [] if follower.half_width == 0.0 else _contact_jumps(contact_at, shapes, corners, pitch)
    meets = _corner_contacts(shapes, contact_at, corners)

    def at(phi: Array) -> tuple[Array, Array]:
        found = contact_at(phi)
        return found.reach - rest, found.slope

    breaks = np.concatenate([meets, [jump.phi for jump in jumps], steps]).astype(np.float64)
    try:
        curve = tabulate(at, breaks, pitch, TABLE_MM)
    except PluginError as error:
        raise PluginError(
            f"cam {cam.kind!r} under follower {follower.kind!r}: their contact cannot be computed: one of the two shapes is "
            f"faulty ({error}), or the cam is too steep, or the follower too small; use less rise, fewer lobes, a larger "
            "follower, or a knife"
        ) from error
    bridges = tuple(_bridge(shapes, jump) for jump in jumps if jump.last - jump.first > BRIDGE_RAD)
    return Lift(curve, rest, bridges)


def _lift_jumps(cam: Cam, follower: Follower) -> list[float]:
    """Return the angles in one lobe, rad, at which the height of the cam jumps.

    Raises
    ------
    PartError
        If the height of the follower's nose jumps, or if the cam's height jumps and the follower is not a knife.
    """
    steps, across = cam_jumps(cam), nose_jumps(follower)
    if across:
        where = f"nose_at jumps by {across[0].size:.4g} mm at {across[0].after:.6g} mm from the middle of the nose"
        raise not_continuous("follower", follower.kind, follower, where)
    if steps and follower.half_width > 0:
        where = f"rise_at jumps by {steps[0].size:.4g} mm at {math.degrees(steps[0].after):.6g} degrees of the cam"
        raise not_continuous("cam", cam.kind, cam, f"{where}; only a knife can pass over such a jump")
    return [step.after % (2 * math.pi / cam.lobes) for step in steps]


@dataclass(frozen=True, slots=True)
class _ContactJump:
    """A jump of the contact from ``first`` to ``last`` on the cam, rad, when the follower passes ``phi``."""

    phi: float
    first: float
    last: float


def _contact_jumps(contact_at: Callable[[Array], Touch], shapes: Shapes, corners: Array, pitch: float) -> list[_ContactJump]:
    """Return the jumps of the contact over hollows; very fast motions of the contact are treated as jumps."""
    phi = np.linspace(0, pitch, _SCAN + 1) + 0.3183 * pitch / _SCAN
    psi = contact_at(phi).psi
    step = np.diff(psi)
    neighbours = np.maximum(np.roll(step, 1), np.roll(step, -1))
    fast = (step > 4 * pitch / _SCAN) | (step > 1.5 * neighbours + 1e-9)
    for corner in corners[_concave(shapes.slope, shapes.base, corners)]:
        fast[np.searchsorted(psi, psi[0] + (corner - psi[0]) % pitch, side="right") - 1] = True
    return [_located_jump(contact_at, float(phi[k]), float(phi[k + 1])) for k in np.nonzero(fast)[0]]


def _concave(slope: Callable[[Array], Array], base: float, corners: Array) -> NDArray[np.bool_]:
    """Return which corners are concave: at a concave corner, the slope increases."""
    sharp: NDArray[np.bool_] = slope(corners + 1e-9) - slope(corners - 1e-9) > 1e-6 * base
    return sharp


def _located_jump(contact_at: Callable[[Array], Touch], low: float, high: float) -> _ContactJump:
    """Return the steepest jump between ``low`` and ``high``; its bracket is narrowed about the intersection of the tangents."""
    reach, slope, psi = contact_at(np.array([low, high]))
    while True:
        bent = slope[1] - slope[0]
        crossing = (reach[0] - reach[1] - slope[0] * low + slope[1] * high) / bent if bent else math.inf
        if not low <= crossing <= high:
            crossing = 0.5 * (low + high)
        if high - low <= 1e-15 * (1 + abs(low)) or psi[1] - psi[0] < BRIDGE_RAD / 10:
            return _ContactJump(crossing, float(psi[0]), float(psi[1]))
        offsets = (high - low) * np.array([-0.02, 0.0, 0.02])
        tried = np.sort(np.clip(np.append(crossing + offsets, 0.5 * (low + high)), low, high))
        tried = tried[(tried > low) & (tried < high) & (np.diff(tried, append=math.inf) > 0)]
        here = contact_at(tried)
        at = np.concatenate([[low], tried, [high]])
        reach, slope, psi = (
            np.concatenate([ends[:1], inner, ends[1:]]) for ends, inner in zip((reach, slope, psi), here, strict=True)
        )
        steepest = int(np.argmax(np.diff(psi) / np.diff(at)))
        pair = slice(steepest, steepest + 2)
        low, high = float(at[steepest]), float(at[steepest + 1])
        reach, slope, psi = reach[pair], slope[pair], psi[pair]


def _corner_contacts(shapes: Shapes, contact_at: Callable[[Array], Touch], corners: Array) -> Array:
    """Return the angles of the follower at which the contact reaches or leaves a corner of the cam."""
    if not corners.size or shapes.half_width == 0.0:
        return corners
    psi = np.repeat(corners, 2)
    slope = shapes.slope(psi + np.tile([-1e-9, 1e-9], corners.size))
    low, high = np.full_like(psi, -shapes.window), np.full_like(psi, shapes.window)
    for _ in range(60):
        middle = 0.5 * (low + high)
        with np.errstate(divide="ignore"):
            reach_slope = reach_slope_by_psi(shapes, psi, psi - middle, slope)
        low, high = np.where(reach_slope > 0, middle, low), np.where(reach_slope > 0, high, middle)
    phi = psi - 0.5 * (low + high)
    met: Array = phi[np.abs(contact_at(phi).psi - psi) < 1e-6]
    return met


def _bridge(shapes: Shapes, jump: _ContactJump) -> Bridge:
    """Return the hollow over which the contact jumps."""
    psi = np.linspace(jump.first, jump.last, 1025)
    radius = shapes.rise(psi) + (0.0 if shapes.face else shapes.base)
    if shapes.face:
        across, along = shapes.base * (psi - jump.phi), radius
    else:
        across, along = radius * np.sin(psi - jump.phi), radius * np.cos(psi - jump.phi)
    reach = along[0] + shapes.nose(across[:1])[0]
    gap = reach - shapes.nose(across) - along
    width = math.hypot(across[-1] - across[0], along[-1] - along[0])
    return Bridge(first=jump.first, last=jump.last, width=width, depth=float(gap.max()))


def largest_roller(cam: Cam) -> float:
    """Return the radius, mm, of the largest roller that touches the whole cam; infinite if every roller does.

    This is the least radius of curvature of the hollows, or less if a roller of that radius touches the cam at two points. The
    circle that touches the edge at one point and passes through a second point has the radius ``|d|**2 / (2 n . d)``, where
    ``d`` is the vector between the points and ``n`` the outward normal; the result is the least radius over all pairs of points,
    or zero if the cam has a sharp hollow, which only a knife reaches.

    Examples
    --------
    >>> from lobework.parts.cam import Wave
    >>> round(largest_roller(Wave(lobes=4, base_radius=60.0, rise=20.0)), 2)
    36.0
    """
    pitch = 2 * math.pi / cam.lobes
    if _concave(cam.slope_at, cam.base_radius, np.asarray(cam.corners, dtype=np.float64)).any():
        return 0.0
    nearest = min(_NEAREST * pitch, float(_smooth_pieces(cam)[1].min(initial=pitch)) / _TRIALS_PER_PIECE)
    here, spread = np.linspace(0, pitch, 769), np.geomspace(nearest, min(1.5 * pitch, math.pi), 400)
    least, place, apart = _least_circle(cam, here, np.concatenate([-spread[::-1], spread]))
    wide, longer = 2 * pitch / 768, 1.2
    while math.isfinite(least) and wide > 1e-9 * pitch:
        closer = np.geomspace(max(abs(apart) / longer, nearest), abs(apart) * longer, 41)
        least, place, apart = _least_circle(cam, place + np.linspace(-wide, wide, 41), math.copysign(1, apart) * closer)
        wide, longer = wide / 8, longer ** (1 / 8)
    return min(least, _least_curvature(cam))


def _least_curvature(cam: Cam) -> float:
    """Return the least radius of curvature of the cam's hollows, mm; infinite if the cam has no hollow.

    The second derivative of the rise is taken from polynomials that are fitted to the slopes between corners.
    """
    starts, widths = _smooth_pieces(cam)
    if not starts.size:
        starts, widths = np.zeros(1), np.array([2 * math.pi / cam.lobes])
    edges = np.concatenate(
        [start + width * np.linspace(0, 1, _PARTS + 1)[:-1] for start, width in zip(starts, widths, strict=True)]
    )
    half = np.repeat(widths, _PARTS) / (2 * _PARTS)
    nodes = np.cos(np.pi * (np.arange(_NODES) + 0.5) / _NODES)
    middle = edges + half
    slopes = cam.slope_at((middle[:, None] + half[:, None] * nodes).ravel()).reshape(-1, _NODES)
    bends = chebyshev.chebder(chebyshev.chebfit(nodes, slopes.T, _NODES - 1))

    def radius(part: int, t: Array) -> Array:
        psi = middle[part] + half[part] * t
        height, slope, bend = cam.rise_at(psi), cam.slope_at(psi), chebyshev.chebval(t, bends[:, part]) / half[part]
        out = cam.base_radius + (0.0 if cam.on == "face" else height)
        into = cam.base_radius * bend if cam.on == "face" else out * bend - out**2 - 2 * slope**2
        with np.errstate(divide="ignore"):
            return np.where(into > 0, (out**2 + slope**2) ** 1.5 / np.where(into > 0, into, 1.0), np.inf)

    t = np.linspace(-1.0, 1.0, 2 * _NODES + 1)
    least = np.array([radius(part, t) for part in range(half.size)])
    best, column = np.unravel_index(int(least.argmin()), least.shape)
    found, wide = float(t[column]), float(t[1] - t[0])
    while math.isfinite(least.min()) and wide > 1e-6:
        tried = np.clip(found + wide * np.linspace(-1.0, 1.0, 33), -1.0, 1.0)
        found, wide = float(tried[radius(int(best), tried).argmin()]), wide / 8
    return float(radius(int(best), np.array([found]))[0])


def _least_circle(cam: Cam, here: Array, offsets: Array) -> tuple[float, float, float]:
    """Return the least radius of the circles that touch the cam at ``here`` and pass through its points at ``here + offsets``.

    Also returned are the angle of the touching point of this circle, and the offset of its second point.
    """
    slope, height = cam.slope_at(here)[:, None], cam.rise_at(here)[:, None]
    there = cam.rise_at(here[:, None] + offsets)
    if cam.on == "face":
        dx, dy = cam.base_radius * offsets, there - height
        normal = np.full_like(slope, cam.base_radius)
    else:
        normal = cam.base_radius + height
        other = cam.base_radius + there
        dx, dy = other * np.sin(offsets), other * np.cos(offsets) - normal
    facing = (normal * dy - slope * dx) / np.hypot(slope, normal)
    with np.errstate(divide="ignore"):
        radii = np.where(facing > 1e-12, (dx**2 + dy**2) / (2 * facing), np.inf)
    row, column = np.unravel_index(int(radii.argmin()), radii.shape)
    return float(radii[row, column]), float(here[row]), float(offsets[column])


def pressure_angle(cam: Cam, follower: Follower) -> float:
    """Return the greatest angle, degrees, between the line of action and the common normal at the contact.

    Examples
    --------
    >>> from lobework.parts.cam import EccentricCam
    >>> from lobework.parts.follower import Roller
    >>> round(pressure_angle(EccentricCam(radius=30.0, offset=10.0), Roller(8.0)), 3)
    15.258
    """
    require_rests(cam, follower)
    if math.isinf(follower.half_width):
        return 0.0
    lift = lift_of(cam, follower)
    phi = np.linspace(0, lift.curve.period, 4097)
    out = cam.base_radius if cam.on == "face" else lift.curve.at(phi) + lift.rest
    return float(np.degrees(np.arctan(np.abs(lift.curve.slope(phi) / out)).max()))
