"""Contact of cam and follower: the lift, and the parts of the cam that the follower bridges."""

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
from lobework.kernels.cam.contact import Shapes, Touch, tilt, touch, window_of
from lobework.kinematics.finite_parts import cam_jumps, finite_cam, finite_nose, nose_jumps
from lobework.kinematics.periodic_spline import Curve, tabulate
from lobework.parts.protocols import Cam, Follower, not_continuous, require_rests
from lobework.quantities.tolerances import BRIDGE_RAD, TABLE_MM
from lobework.text.brief import Brief

__all__ = ["Bridge", "Lift", "largest_roller", "lift_of", "pressure_angle", "touch_at"]

_SCAN: Final = 192
_TRIALS: Final = 16
_NEAREST: Final = 0.01
"""Of a lobe: from nearer a circle touches a cam as its curvature says."""
_PARTS: Final = 32
_NODES: Final = 16
_SHORT: Final = 32
_IN_A_PIECE: Final = 8
_MOST_AROUND: Final = 2**20


@dataclass(frozen=True, slots=True, kw_only=True)
class Bridge:
    """A hollow of the cam that the follower spans without touching the bottom.

    Parameters
    ----------
    first, last : float, rad
        Angles on the cam between which it does not touch, in the lobe that starts at angle zero.
    width : float, mm
        Straight across, from touching point to touching point.
    depth : float, mm
        The most that the cam's surface falls short of the follower's, along the line of action.
    """

    first: float
    last: float
    width: float
    depth: float


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Lift(Brief):
    """What a follower makes of a cam.

    Parameters
    ----------
    curve : Curve
        Lift above the rest position, mm, by the direction of the follower in the cam's frame, rad. At rest the
        follower stands on the base circle (edge cam) or the base of the wave (face cam).
    rest : float, mm
        From the cam's centre (face cam: the base of the wave) to the follower's counting point at rest.
    bridges : tuple of Bridge
        What is never touched in one lobe; empty where the follower reaches everything.
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
    """Return cam and follower as the contact kernels take them."""
    require_rests(cam, follower)
    trial = np.linspace(0, 2 * math.pi / cam.lobes, 1025)
    shape = finite_cam(cam)
    top = cam.base_radius + 1.001 * float(shape.at(trial).max())
    round_radius = follower.rest if follower.form == "round" else None
    nose, nose_slope = _nose_of(follower)
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
        close=_close_trials(cam),
        shaped=follower.form == "shaped",
    )


def _nose_of(follower: Follower) -> tuple[Callable[[Array], Array], Callable[[Array], Array]]:
    """Return the nose and its slope, with upright sides at its rims."""
    wide, shape = follower.half_width, finite_nose(follower)
    if math.isinf(wide):
        return shape.at, shape.slope_at

    def nose(q: Array) -> Array:
        return shape.at(np.clip(q, -wide, wide))

    def slope(q: Array) -> Array:
        inside = shape.slope_at(np.clip(q, -wide, wide))
        return np.where(np.abs(q) > wide, -np.copysign(np.inf, q), inside)

    return nose, slope


def _pieces(cam: Cam) -> tuple[Array, Array]:
    """Return where the cam's pieces between two corners start, and how wide they are, rad; slivers left out."""
    pitch = 2 * math.pi / cam.lobes
    starts = np.sort(np.asarray(cam.corners, dtype=np.float64))
    widths = np.diff(starts, append=starts[:1] + pitch)
    return starts[widths > 1e-9 * pitch], widths[widths > 1e-9 * pitch]


def _close_trials(cam: Cam) -> Array:
    """Return angles all through the pieces of a lobe that are too short for even trials."""
    starts, widths = _pieces(cam)
    short = widths < 2 * math.pi / cam.lobes / _SHORT
    return (starts[short, None] + widths[short, None] * (np.arange(_IN_A_PIECE) + 0.5) / _IN_A_PIECE).ravel()


def touch_at(cam: Cam, follower: Follower, phi: Array, *, way: Literal["plain", "compiled"] = "plain") -> Touch:
    """Return the contact, found afresh, with the follower at (n,) rad in the cam's frame.

    The compiled way takes round and flat followers; others, and rollers too small for its table, go the plain way.

    Examples
    --------
    >>> from lobework.parts.cam import EccentricCam
    >>> from lobework.parts.follower import Roller
    >>> touch_at(EccentricCam(radius=30.0, offset=10.0), Roller(8.0), np.array([np.pi / 3])).reach
    array([42.])
    """
    phi = np.asarray(phi, dtype=np.float64)
    shapes = shapes_of(cam, follower)
    around = _trials_around(cam, follower)
    if way == "plain" or follower.form == "shaped" or cam.lobes * around > _MOST_AROUND:
        return touch(shapes, phi)
    return _touch_compiled(cam, follower, phi, shapes.window, around)


@lru_cache(maxsize=256)
def _trials_around(cam: Cam, follower: Follower) -> int:
    """Return how many trial points in a lobe let several fall within the follower, and into each piece of the cam."""
    pitch, shapes = 2 * math.pi / cam.lobes, shapes_of(cam, follower)
    if shapes.half_width == 0.0:
        return 1
    top = cam.base_radius if shapes.face else cam.base_radius + float(cam.rise_at(np.linspace(0, pitch, 1025)).max())
    within = min(shapes.window, shapes.half_width / top)
    shortest = float(_pieces(cam)[1].min(initial=pitch / _SHORT))
    return math.ceil(max(pitch * _TRIALS / within, pitch * _IN_A_PIECE / shortest))


def _touch_compiled(cam: Cam, follower: Follower, phi: Array, window: float, around: int) -> Touch:
    from lobework.kernels.cam.contact_compiled import bear

    edge = _edge_of(cam)
    radius = follower.rest if follower.form == "round" else -1.0
    found = Touch(*(np.zeros_like(phi) for _ in range(3)))
    cubics = (edge.period, edge.starts, edge.widths, edge.counts, edge.first, edge.cells)
    bear(phi, cubics, (cam.base_radius, radius, cam.on == "face"), window, around, *found)
    return found


@lru_cache(maxsize=256)
def _edge_of(cam: Cam) -> Curve:
    """Return the cam's own rise as cubics, within `TABLE_MM`."""
    shape = finite_cam(cam)
    return tabulate(lambda psi: (shape.at(psi), shape.slope_at(psi)), np.asarray(cam.corners), 2 * math.pi / cam.lobes, TABLE_MM)


@lru_cache(maxsize=256)
def lift_of(cam: Cam, follower: Follower) -> Lift:
    """Return the lift of ``follower`` on ``cam``, within `TABLE_MM` of the contact at every angle.

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

    def touched(phi: Array) -> Touch:
        return touch(shapes, phi)

    corners = np.asarray(cam.corners, dtype=np.float64)
    jumps = [] if follower.half_width == 0.0 else _jumps(touched, shapes, corners, pitch)
    meets = _meets(shapes, touched, corners)

    def at(phi: Array) -> tuple[Array, Array]:
        found = touched(phi)
        return found.reach - rest, found.slope

    breaks = np.concatenate([meets, [jump.phi for jump in jumps], steps]).astype(np.float64)
    try:
        curve = tabulate(at, breaks, pitch, TABLE_MM)
    except PluginError as error:
        raise PluginError(
            f"cam {cam.kind!r} under follower {follower.kind!r}: of one of them, {error}; or the cam is too steep, or the "
            "follower too small, for contact to be known: use less rise, fewer lobes, a larger follower, or a knife"
        ) from error
    bridges = tuple(_bridge(shapes, jump) for jump in jumps if jump.last - jump.first > BRIDGE_RAD)
    return Lift(curve, rest, bridges)


def _lift_jumps(cam: Cam, follower: Follower) -> list[float]:
    """Return the directions in one lobe, rad, at which a knife falls off a step of the cam; refuse any other follower there.

    Raises
    ------
    PartError
        Where the cam or the follower's nose jumps, and the follower is no knife.
    """
    steps, across = cam_jumps(cam), nose_jumps(follower)
    if across:
        where = f"nose_at jumps by {across[0].size:.4g} mm at {across[0].after:.6g} mm across it"
        raise not_continuous("follower", follower.kind, follower, where)
    if steps and follower.half_width > 0:
        where = f"rise_at jumps by {steps[0].size:.4g} mm at {math.degrees(steps[0].after):.6g} degrees of the cam"
        raise not_continuous("cam", cam.kind, cam, f"{where}; no follower but a knife is led over it")
    return [step.after % (2 * math.pi / cam.lobes) for step in steps]


@dataclass(frozen=True, slots=True)
class _Jump:
    """The contact leaps from ``first`` to ``last`` on the cam when the follower passes ``phi``."""

    phi: float
    first: float
    last: float


def _jumps(touched: Callable[[Array], Touch], shapes: Shapes, corners: Array, pitch: float) -> list[_Jump]:
    """Return where the contact leaps over a hollow, and where it runs so fast that it might as well."""
    phi = np.linspace(0, pitch, _SCAN + 1) + 0.3183 * pitch / _SCAN
    psi = touched(phi).psi
    step = np.diff(psi)
    around = np.maximum(np.roll(step, 1), np.roll(step, -1))
    fast = (step > 4 * pitch / _SCAN) | (step > 1.5 * around + 1e-9)
    for corner in corners[_hollow(shapes.slope, shapes.base, corners)]:
        fast[np.searchsorted(psi, psi[0] + (corner - psi[0]) % pitch, side="right") - 1] = True
    return [_pinned(touched, float(phi[k]), float(phi[k + 1])) for k in np.nonzero(fast)[0]]


def _hollow(slope: Callable[[Array], Array], base: float, corners: Array) -> NDArray[np.bool_]:
    """Return which corners are sharp hollows: the slope steps up."""
    sharp: NDArray[np.bool_] = slope(corners + 1e-9) - slope(corners - 1e-9) > 1e-6 * base
    return sharp


def _pinned(touched: Callable[[Array], Touch], low: float, high: float) -> _Jump:
    """Close in on the steepest leap between ``low`` and ``high``, about the crossing of the tangents of its two sides."""
    reach, slope, psi = touched(np.array([low, high]))
    while True:
        bent = slope[1] - slope[0]
        crossing = (reach[0] - reach[1] - slope[0] * low + slope[1] * high) / bent if bent else math.inf
        if not low <= crossing <= high:
            crossing = 0.5 * (low + high)
        if high - low <= 1e-15 * (1 + abs(low)) or psi[1] - psi[0] < BRIDGE_RAD / 10:
            return _Jump(crossing, float(psi[0]), float(psi[1]))
        around = (high - low) * np.array([-0.02, 0.0, 0.02])
        tried = np.sort(np.clip(np.append(crossing + around, 0.5 * (low + high)), low, high))
        tried = tried[(tried > low) & (tried < high) & (np.diff(tried, append=math.inf) > 0)]
        here = touched(tried)
        at = np.concatenate([[low], tried, [high]])
        reach, slope, psi = (
            np.concatenate([ends[:1], inner, ends[1:]]) for ends, inner in zip((reach, slope, psi), here, strict=True)
        )
        steepest = int(np.argmax(np.diff(psi) / np.diff(at)))
        pair = slice(steepest, steepest + 2)
        low, high = float(at[steepest]), float(at[steepest + 1])
        reach, slope, psi = reach[pair], slope[pair], psi[pair]


def _meets(shapes: Shapes, touched: Callable[[Array], Touch], corners: Array) -> Array:
    """Return the follower's directions at which it comes to, or leaves, a corner of the cam that it can touch."""
    if not corners.size or shapes.half_width == 0.0:
        return corners
    psi = np.repeat(corners, 2)
    slope = shapes.slope(psi + np.tile([-1e-9, 1e-9], corners.size))
    low, high = np.full_like(psi, -shapes.window), np.full_like(psi, shapes.window)
    for _ in range(60):
        middle = 0.5 * (low + high)
        with np.errstate(divide="ignore"):
            leaning = tilt(shapes, psi, psi - middle, slope)
        low, high = np.where(leaning > 0, middle, low), np.where(leaning > 0, high, middle)
    phi = psi - 0.5 * (low + high)
    met: Array = phi[np.abs(touched(phi).psi - psi) < 1e-6]
    return met


def _bridge(shapes: Shapes, jump: _Jump) -> Bridge:
    psi = np.linspace(jump.first, jump.last, 1025)
    radius = shapes.rise(psi) + (0.0 if shapes.face else shapes.base)
    if shapes.face:
        across, along = shapes.base * (psi - jump.phi), radius
    else:
        across, along = radius * np.sin(psi - jump.phi), radius * np.cos(psi - jump.phi)
    holder = along[0] + shapes.nose(across[:1])[0]
    short = holder - shapes.nose(across) - along
    width = math.hypot(across[-1] - across[0], along[-1] - along[0])
    return Bridge(first=jump.first, last=jump.last, width=width, depth=float(short.max()))


def largest_roller(cam: Cam) -> float:
    """Return the radius, mm, of the largest roller that touches all of the cam; infinite if any does.

    It is the least radius of curvature of the hollows, or less where a roller as round as that touches the cam in two places. The
    largest circle that touches the edge at one point and passes through another has the radius ``|d|**2 / (2 n . d)``, ``d``
    from the one to the other and ``n`` the outward normal; the least of these over all pairs is wanted. A sharp hollow gives
    zero: only a knife reaches it.

    Examples
    --------
    >>> from lobework.parts.cam import Wave
    >>> round(largest_roller(Wave(lobes=4, base_radius=60.0, rise=20.0)), 2)
    36.0
    """
    pitch = 2 * math.pi / cam.lobes
    if _hollow(cam.slope_at, cam.base_radius, np.asarray(cam.corners, dtype=np.float64)).any():
        return 0.0
    nearest = min(_NEAREST * pitch, float(_pieces(cam)[1].min(initial=pitch)) / _IN_A_PIECE)
    here, spread = np.linspace(0, pitch, 769), np.geomspace(nearest, min(1.5 * pitch, math.pi), 400)
    least, place, apart = _least_circle(cam, here, np.concatenate([-spread[::-1], spread]))
    wide, longer = 2 * pitch / 768, 1.2
    while math.isfinite(least) and wide > 1e-9 * pitch:
        closer = np.geomspace(max(abs(apart) / longer, nearest), abs(apart) * longer, 41)
        least, place, apart = _least_circle(cam, place + np.linspace(-wide, wide, 41), math.copysign(1, apart) * closer)
        wide, longer = wide / 8, longer ** (1 / 8)
    return min(least, _least_curvature(cam))


def _least_curvature(cam: Cam) -> float:
    """Return the least radius of curvature of the cam's hollows, mm; infinite where it has none.

    The second derivative of the rise is that of polynomials through the slopes, in each piece between two corners.
    """
    starts, widths = _pieces(cam)
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
    """Return the least radius of a circle that touches the cam ``here`` and passes through it ``offsets`` on, and where."""
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
