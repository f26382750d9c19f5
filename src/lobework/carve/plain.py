"""The plain backend, the reference for the others: walls separate rays from the cutter; a box that no wall clears is halved.

Three ideas. A cutter is a union of convex parts; a point is at least as far from a part as from any wall, a plane or a cone, that
separates the point from the part (`_Part`). Seen from a cutter that moves and turns uniformly, the path of a point is close to
its chord (`_Path`). So one wall can clear a whole box of rays and poses; a box that no wall clears is halved (`_branch`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lobework.geometry.cutter_edge import ArcSegment, LineSegment
from lobework.geometry.rigid import Array, Rigid
from lobework.geometry.surface import Face
from lobework.parts.holder import CuttingFrame, EccentricFrame, FixedTool, Holder

if TYPE_CHECKING:
    from lobework.carve.backend import Ability, Progress
    from lobework.carve.stock import Depth, Stock
    from lobework.carve.sweep import Sweep

__all__ = ["PlainBackend"]

_FAR_MM: Final = 1e4  # deeper than any work
_WITHIN_MM: Final = 1e-7  # greatest depth that may remain uncut along a ray
_LEAST_MM: Final = 1e-10  # a smaller box is not halved
_CONTACT_MM: Final = 4e-10  # a cutter this near meets a ray: the error bound of a box that is too small to be halved
_NUDGE_MM: Final = 1e-4  # step along a ray for the slope of its distance from a wall
_ROUNDING: Final = 1e-12  # smaller values are rounding errors
_WALLS: Final = 3  # walls tried in each box, each at the depth where the ray crosses the wall before it
_BATCH: Final = 1 << 14  # boxes examined together
_STEPS: int = 1 << 8  # steps of a path carved together


@dataclass(frozen=True, slots=True)
class PlainBackend:
    """Carving in plain numpy, written for readability: the reference for all faster backends.

    A depth is at most 1e-7 mm too small. A point of a ray counts as cut only if the cutter comes within 4e-10 mm of it.

    Parameters
    ----------
    stamps : bool
        Whether to cut only at the points of each path. A fixed blade, which has no thickness, then cuts almost nothing.
    name, description, can : as in `Backend`
        Set by the class; not arguments.

    Examples
    --------
    >>> from lobework.carve import Sweep, stock_of
    >>> from lobework import Disc, Vee
    >>> stock, vee = stock_of(Disc(diameter=20.0, thickness=5.0), resolution=0.5), Vee(angle_deg=90.0, width=3.0)
    >>> tip, up, level = (np.array(of) for of in ([[-4.0, 0.0, -0.75], [4.0, 0.0, -0.75]], [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]]))
    >>> PlainBackend().carve(stock, [Sweep(vee.edge, vee.holder, tip, up, level)], depth := stock.uncut())
    >>> depth[18:23, 20].round(6).tolist()
    [0.0, 0.25, 0.75, 0.25, 0.0]
    """

    stamps: bool = False
    name: str = field(default="plain", init=False)
    description: str = field(default="numpy, slow and simple: the reference for the other backends", init=False)
    can: frozenset[Ability] = field(
        default=frozenset(("face", "round", "leaning", "drilling spindle", "fixed", "cutting frame", "eccentric frame")),
        init=False,
    )

    def carve(self, stock: Stock, sweeps: Sequence[Sweep], depth: Depth, progress: Progress | None = None) -> None:
        """Increase the depths in ``depth`` in place wherever a sweep cuts deeper; see `Backend.carve`."""
        rays = _Rays(stock)
        for number, sweep in enumerate(sweeps):
            path, best = _Path(sweep, rays.around), depth.astype(np.float64)
            place = np.arange(len(sweep.tip) if self.stamps else len(path.move))
            step = np.minimum(place, len(path.move) - 1)
            ends = (0, 0, step, place - step, 0.0), (*rays.last, step, place - step + (not self.stamps), rays.limit.max())
            boxes = np.stack([np.column_stack(np.broadcast_arrays(*end)) for end in ends])
            for begin in range(0, len(place), _STEPS):
                for each in sweep.edge.parts:
                    part, waiting = _Part.of(each, sweep.holder), [boxes[:, begin : begin + _STEPS]]
                    while waiting:
                        left = _branch(rays, path, part, waiting.pop(), best)
                        waiting += [left[:, first : first + _BATCH] for first in range(0, left.shape[1], _BATCH)]
                if progress is not None:
                    progress((number + min(1.0, (begin + _STEPS) / len(place))) / len(sweeps))
            np.maximum(depth, best, out=depth, casting="same_kind")


def _branch(rays: _Rays, path: _Path, part: _Part, boxes: Array, best: Array) -> Array:
    """Return the halves of boxes in which a cut may exceed ``best``; increase ``best`` where the cutter meets their middle rays.

    ``boxes``, (2, n, 5), holds the lower and upper bounds of row, column, step, fraction of the step, and depth, mm. A wall that
    clears both ends of a chord, or of a part of a ray, clears all between the ends: the region in front of a wall is convex.
    Branch and bound: Land and Doig, Econometrica 28 (1960); by cutting planes: Kelley, J. SIAM 8 (1960); both from memory.
    """
    low, high, middle = *boxes, boxes.mean(axis=0)
    middle[:, :3] = np.floor(middle[:, :3])
    row, column, step = middle[:, :3].astype(np.intp).T
    alone, work, ray = (low == high)[:, :2].all(axis=1), rays.stock.inside[row, column], np.stack(rays.stock.rays(row, column))
    shallowest, trial = np.where(alone, best[row, column], 0.0), np.minimum(high[:, 4], rays.limit[row])  # depth to try
    deepest = np.maximum(np.where(alone, trial, high[:, 4]), shallowest)
    first, seen, last = poses = [path.in_cutter_axes(step, at[:, 3], ray) for at in (low, middle, high)]
    top, bottom = ([_along(each, deep) for each in (ray, *poses)] for deep in (shallowest, deepest))
    sagitta, spread = path.sagitta(step, (high - low)[:, 3] / 2, top[::2], bottom[::2]), rays.spread(low, middle, high, deepest)
    slack, far, halves = spread.sum(axis=1) + sagitta + _LEAST_MM, deepest, np.stack([deepest, deepest])
    for _ in range(_WALLS):
        met = np.clip(trial, shallowest, deepest)
        place = _along(seen, met)
        distance, wall = part.wall(place)
        above, below = (np.stack([wall(place) for place in ends[1:]]) - slack for ends in (top, bottom))
        cleared = np.where(below > above, np.maximum(below, 0.0) / np.maximum(below - above, _ROUNDING), 0.0)  # fraction cleared
        bound = np.where((above > 0) & (below > 0), shallowest, far - cleared * (far - shallowest))  # deepest cut, in each pose
        halves = np.minimum(halves, np.maximum(bound[:2], bound[1:]))  # and in each half, between two of the poses
        deepest = halves.max(axis=0)
        wall_slope = (wall(place + _NUDGE_MM * seen[1]) - distance) / _NUDGE_MM
        trial = np.where(wall_slope > _ROUNDING, met - distance / np.maximum(wall_slope, _ROUNDING), met)  # ray at the wall
    crosses = (np.maximum(np.abs(seen[1]), np.abs(last[0] - first[0]))[:, 1] + sagitta > _ROUNDING) | (not part.is_blade)
    found = (distance <= _CONTACT_MM) & work & crosses & (met <= rays.limit[row])
    np.maximum.at(best, (row[found], column[found]), met[found])
    sides = np.column_stack([spread, 0 * sagitta, np.linalg.norm(_along(last - first, met), axis=1) / 2 + sagitta])
    side, small = sides.argmax(axis=1), sides.max(axis=1) <= _LEAST_MM
    doubt = (work & crosses | ~alone) & ~(small & found & (distance >= -_CONTACT_MM))
    enough, left = np.where(alone, best[row, column], 0.0) + _WITHIN_MM, []
    for half in (0, 1):
        deep = np.where((side == 3) & ~small, halves[half], deepest)
        kept = doubt & (deep > enough) & ~(small & (half == 1))
        box, at = boxes[:, kept], side[kept]
        box[1 - half, np.arange(len(at)), at] = middle[kept, at] + half * (at < 3)
        box[1, :, 4] = deep[kept]
        left.append(box)
    return np.concatenate(left, axis=1)


def _along(ray: Array, deep: Array) -> Array:
    return np.asarray(ray[0] + deep[:, None] * ray[1])


class _Rays:
    """The rays of a stock, the greatest depth of each row (to the work's axis), and bounds on the distances between rays."""

    def __init__(self, stock: Stock) -> None:
        self.stock, self.around, self.last = stock, not isinstance(stock.surface, Face), (stock.rows - 1, stock.columns - 1)
        radius, inwards = stock.profile.T[[0, 2]] if self.around else np.array([[1.0], [0.0]]).repeat(stock.rows, axis=1)
        self.limit = np.minimum(radius / np.maximum(inwards, _ROUNDING), _FAR_MM)
        rays = np.stack(stock.rays(np.arange(stock.rows), np.zeros(1, dtype=np.intp)))
        rows = np.linalg.norm(np.diff(rays, axis=1, prepend=rays[:, :1]), axis=2).cumsum(axis=1).T
        self.cumulative = rows, stock.column_step * np.arange(stock.columns)[:, None] * [radius.max(), float(self.around)]

    def spread(self, low: Array, middle: Array, high: Array, most: Array) -> Array:
        """Return bounds on the distance of a box's rows, and columns, from its middle ray, to the depth ``most``: (n, 2) mm."""
        ends = zip(self.cumulative, *(at[:, :2].T.astype(np.intp) for at in (low, middle, high)), strict=True)
        far = (np.maximum(of[last] - of[here], of[here] - of[first]) for of, first, here, last in ends)
        return np.column_stack([starts + most * ways for starts, ways in (each.T for each in far)])


class _Path:
    """The steps of a path: the tip moves straight, in axes that turn about Z if ``around``; the cutter itself turns uniformly."""

    def __init__(self, sweep: Sweep, around: bool) -> None:
        count = max(len(sweep.tip), 2)
        tip, outward, level = (np.broadcast_to(of, (count, 3)) for of in (sweep.tip, sweep.outward, sweep.level))
        angle = math.radians(sweep.holder.angle_deg) if isinstance(sweep.holder, CuttingFrame) else 0.0
        across = math.cos(angle) * np.cross(outward, level) - math.sin(angle) * level
        polar = np.arctan2(tip[:, 1], tip[:, 0]) * around
        tip, *ways = (Rigid.turn(-polar).apply(of) for of in (tip, np.cross(across, outward), across, outward))
        frame = np.stack(ways, axis=1)
        self.place, self.move, self.frame = tip[:-1], np.diff(tip, axis=0), frame[:-1]
        self.polar, self.polar_turn = polar[:-1], np.angle(np.exp(1j * np.diff(polar)))
        between = frame[1:].mT @ frame[:-1]
        skew = (between - between.mT) / 2
        sin = np.linalg.norm(skew, axis=(1, 2)) / math.sqrt(2)
        self.turn = np.where(sin > _ROUNDING, np.arctan2(sin, (np.trace(between, axis1=1, axis2=2) - 1) / 2), 0.0)
        self.skew = skew / np.maximum(sin, _ROUNDING)[:, None, None]

    def in_cutter_axes(self, step: NDArray[np.intp], t: Array, ray: Array) -> Array:
        """Return rays in axes from the cutter's tip: x along its width or its swing, z outward, y normal to both."""
        back, angle = Rigid.turn(-self.polar[step] - t * self.polar_turn[step]), (t * self.turn[step])[:, None]
        off = np.stack([back.apply(ray[0]) - self.place[step] - t[:, None] * self.move[step], back.apply(ray[1])])
        if self.turn.any():
            aside = np.matvec(self.skew[step], off)  # Rodrigues' formula, from memory
            off = off - np.sin(angle) * aside + (1 - np.cos(angle)) * np.matvec(self.skew[step], aside)
        return np.asarray(np.matvec(self.frame[step], off))

    def sagitta(self, step: NDArray[np.intp], half: Array, top: Sequence[Array], bottom: Sequence[Array]) -> Array:
        """Return a bound, mm, on the distance of a ray's points from the chords of their paths, in the cutter's axes.

        A chord over an interval 2 h deviates from its curve by at most h^2 / 2 times the second derivative (linear interpolation,
        from memory). The curve is turn(turn(point) - tip), with uniform turns and a straight tip. The ends of the rays, ``top``
        and ``bottom``, are given first in the work's axes, then in the cutter's, in the middle of the interval.
        """
        around, turn = np.abs(self.polar_turn[step]), self.turn[step]
        out, off = np.maximum(np.hypot(*top[0].T[:2]), np.hypot(*bottom[0].T[:2])), np.linalg.norm([top[1], bottom[1]], axis=2)
        speed = np.linalg.norm(self.move[step], axis=1) + around * out
        return np.asarray((turn**2 * (off.max(axis=0) + speed * half) + 2 * turn * speed + around**2 * out) * half**2 / 2)


class _Part(NamedTuple):
    """A part of an edge, filled inwards and moved by its holder: discs along its outline, each with its range of normal angles.

    The height of an edge and the slope of a part never decrease outwards, so the region above a part, and inwards above its low
    end, is convex. The distance from this region is the greatest from a plane that has the region behind it: Boyd, Vandenberghe,
    *Convex Optimization* (2004), 2.5 and 8.1, from memory. Inside the circle of an eccentric frame a cone replaces the plane.
    """

    discs: tuple[tuple[float, float, float, float, float], ...]  # aside, height, radius, least and greatest angle of its normals
    swing: float  # radius of the frame, mm; zero without a frame
    is_wheel: bool  # whether a cutting frame revolves the part about y
    is_blade: bool  # whether the part is of a fixed blade, without thickness

    @classmethod
    def of(cls, part: LineSegment | ArcSegment, holder: Holder) -> _Part:
        if isinstance(part, ArcSegment):
            first, last = (math.asin(min(aside / part.radius, 1.0)) for aside in (part.near, part.far))
            low, top = (part.centre - part.radius * math.cos(angle) for angle in (first, last))
            discs = [(0.0, part.centre, part.radius, first, last)]
        else:
            first = last = math.atan(part.slope)
            low, top, discs = part.low, part.low + part.slope * (part.far - part.near), []
        ends = (part.near, low, 0.0, 0.0, first), (part.far, top, 0.0, last, math.pi / 2)
        swing = holder.radius if isinstance(holder, CuttingFrame | EccentricFrame) else 0.0
        return cls((*discs, *ends), swing, isinstance(holder, CuttingFrame), isinstance(holder, FixedTool))

    def wall(self, place: Array) -> tuple[Array, Callable[[Array], Array]]:
        """Return the distance of points from the part, mm, negative inside, and a function: the distance from their walls."""
        (x, y, z), none = place.T, np.zeros(len(place))
        if self.is_wheel:
            r, to_axis = np.maximum(np.hypot(x, z - self.swing), _ROUNDING), self.swing - z
            aside, high, out, up = np.abs(y), self.swing - r, (none, np.sign(y), none), (-x / r, none, to_axis / r)
        else:
            beside = none if self.is_blade else y
            r = np.maximum(np.hypot(x, beside), _ROUNDING)
            aside, high, out, up = np.abs(r - self.swing), z, (x / r, beside / r, none), (none, none, none + 1)
        distance, facing = none - np.inf, none
        for disc_aside, disc_high, radius, least, most in self.discs:
            angle = np.clip(np.arctan2(aside - disc_aside, disc_high - high), least, most)  # of the normal, from downwards
            away = (aside - disc_aside) * np.sin(angle) + (disc_high - high) * np.cos(angle) - radius
            distance, facing = np.maximum(distance, away), np.where(away > distance, angle, facing)
        hollow = np.where((r < self.swing) & (not self.is_wheel), np.sin(facing), 0.0)  # inside the circle: a cone
        normal = (np.sin(facing) - hollow) * np.stack(out) - np.cos(facing) * np.stack(up)
        if self.is_blade:
            tilt = np.arctan2(np.abs(y), np.maximum(distance, 0.0))  # of the normal, out of the blade's plane
            distance = distance * np.cos(tilt) + np.abs(y) * np.sin(tilt)
            normal = normal * np.cos(tilt) + np.stack((none, np.sign(y) * np.sin(tilt), none))
        behind = np.vecdot(normal.T, place) - hollow * r - distance
        return distance, lambda at: np.vecdot(normal.T, at) - hollow * np.hypot(*at.T[:2]) - behind
