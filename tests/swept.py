"""Whether a swept cutter reaches a place: decided by branch and bound, with nothing taken from the ways of carving.

How far inside the cutter a place lies is a distance, so it changes no faster than the place moves, seen from the cutter. A box of
path parameter and depth is left when this bound keeps all of it out; other boxes are halved. How far inside a cylinder a place
lies is concave, so it never rises above its tangent: that decides where a ray runs along the wall of a drill.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from lobework.geometry.cutter_edge import ArcSegment
from lobework.geometry.surface import Face
from lobework.parts.holder import CuttingFrame, EccentricFrame

__all__ = ["Boxes", "Outline", "Steps", "bounded", "reached"]

MOST_BOXES = 3_000_000


def reached(stock, sweep, start, way, depths, limit):
    """Whether a ray is deeper inside the cutter than ``limit`` mm, somewhere between two depths and in any pose of a sweep.

    Parameters
    ----------
    start, way : (3,) float64
        The ray.
    depths : (float, float), mm
        The part of the ray that is looked at; both may be the same.
    limit : float, mm
        Below zero, the ray need not be inside: it comes that near.
    """
    steps, outline = Steps(stock, sweep), Outline(sweep)
    boxes = Boxes(
        step := np.arange(steps.count),
        np.full(len(step), 0.5),
        np.full(len(step), sum(depths) / 2),
        np.full(len(step), 0.5),
        np.full(len(step), (depths[1] - depths[0]) / 2),
    )
    while len(boxes.step):
        assert len(boxes.step) < MOST_BOXES, "too near to the limit to be decided"
        bounds, grows = bounded(steps, outline, start, way, boxes)
        if bounds[0].max() > limit:
            return True
        most = np.where(bounds > limit, np.inf, bounds + grows.sum(axis=1))
        tightest, every = most.argmin(axis=0), np.arange(len(boxes.step))
        kept = most[tightest, every] > limit
        by_t = (grows[tightest, 0, every] >= grows[tightest, 1, every])[kept]
        boxes = Boxes(*(of[kept] for of in boxes)).halved(by_t)
    return False


class Boxes(NamedTuple):
    """Boxes of path parameter and depth: a step of the path, the middle of each box in it, and half of its sides."""

    step: np.ndarray
    t: np.ndarray
    e: np.ndarray
    half_t: np.ndarray
    half_e: np.ndarray

    def halved(self, by_t):
        """Each of them in two, by its path parameter or by its depth."""
        step, t, e, half_t, half_e = self
        half_t, half_e = np.where(by_t, half_t / 2, half_t), np.where(by_t, half_e, half_e / 2)
        t = np.concatenate([t - half_t * by_t, t + half_t * by_t])
        e = np.concatenate([e - half_e * ~by_t, e + half_e * ~by_t])
        return Boxes(np.concatenate([step, step]), t, e, *(np.concatenate([of, of]) for of in (half_t, half_e)))


def bounded(steps, outline, start, way, boxes):
    """What bounds how far inside the cutter a ray is: (4, n) mm in the middles of boxes, and its growth by t and e, (4, 2, n).

    The first is the distance itself; the second and third are distances that it is never above; the last is the third once more,
    by its tangent.
    """
    step, t, e, half_t, half_e = boxes
    place = start + e[:, None] * way
    tip, outward, level = steps.poses(step, t)
    origin, axis = outline.axis(tip, outward, level)
    off = place - origin
    y = np.vecdot(off, axis)
    r = np.linalg.norm(off - y[:, None] * axis, axis=-1)
    speed, along = steps.rates(step, place, tip, axis, half_t, half_e)
    sways = np.abs(steps.turn[step]) * half_t
    climb = np.abs(axis @ way)
    rates = np.array(
        [
            (speed, np.ones(len(e))),
            (along, np.minimum(climb + sways, 1.0)),
            (speed, np.minimum(np.sqrt(np.maximum(1 - climb**2, 0.0)) + sways, 1.0)),
        ]
    )
    bounds = np.array([outline.inside(r, y), *outline.caps(r, y)])
    outwards = (off - y[:, None] * axis) / np.maximum(r, 1e-300)[:, None]
    tangent = steps.tangent(step, t, place, tip, way, outwards, half_t, half_e)
    grows = np.concatenate([rates * np.array([half_t, half_e]), [tangent]])
    return np.concatenate([bounds, bounds[-1:]]), grows


class Steps:
    """The steps of a path: straight and turning about Z on a face; on a round surface turning about Z as the tip does."""

    def __init__(self, stock, sweep):
        tip, self.on_face = sweep.tip, isinstance(stock.surface, Face)
        self.count = max(1, len(tip) - 1)
        first = np.arange(self.count)
        last = np.minimum(first + 1, len(tip) - 1)
        outward, level = (np.broadcast_to(way, tip.shape) for way in (sweep.outward, sweep.level))
        about = level if self.on_face else tip
        polar = np.arctan2(about[:, 1], about[:, 0])
        self.polar, self.turn = polar[first], np.angle(np.exp(1j * (polar[last] - polar[first])))
        seen = tip if self.on_face else np.stack([np.hypot(tip[:, 0], tip[:, 1]), 0 * polar, tip[:, 2]], axis=-1)
        self.place, self.move = seen[first], seen[last] - seen[first]
        self.outward, self.level = outward[first], level[first]

    def poses(self, step, t):
        """Tip, outward and level."""
        turn = t * self.turn[step]
        tip = self.place[step] + t[:, None] * self.move[step]
        if not self.on_face:
            tip = _about_z(tip, self.polar[step] + turn)
        return tip, _about_z(self.outward[step], turn), _about_z(self.level[step], turn)

    def rates(self, step, place, tip, axis, half_t, half_e):
        """How fast places in a box move at the most, as the cutter sees them, and how fast along its axis: mm for each step."""
        move, turn = self.move[step], np.abs(self.turn[step])
        goes, aside = np.linalg.norm(move, axis=-1), np.hypot(axis[:, 0], axis[:, 1])
        if self.on_face:
            off = np.hypot(*(place - tip)[:, :2].T) + half_e + goes * half_t
            straight = np.where(turn == 0, np.abs(np.vecdot(move, axis)), np.hypot(*move[:, :2].T) * aside + np.abs(move[:, 2]))
        else:
            off = np.hypot(*place[:, :2].T) + half_e
            out = (tip[:, :2] * axis[:, :2]).sum(axis=-1) / np.maximum(np.hypot(*tip[:, :2].T), 1e-300)
            straight = np.abs(move[:, 0] * out + move[:, 2] * axis[:, 2])
        return goes + turn * off, straight + turn * off * aside

    def tangent(self, step, t, place, tip, way, outwards, half_t, half_e):
        """How far the tangent of a place's distance from the axis falls in a box, by t and by e, and how far the way bends."""
        turn, move = self.turn[step], self.move[step]
        about = place - tip if self.on_face else place
        if not self.on_face:
            move = _about_z(move, self.polar[step] + t * turn)
        around = np.stack([-about[:, 1], about[:, 0], 0 * turn], axis=-1)
        seen = np.abs(np.vecdot(outwards, move + turn[:, None] * around))
        goes = np.linalg.norm(move, axis=-1) if self.on_face else 0.0
        off = np.hypot(*about[:, :2].T) + half_e + goes * half_t
        bends = np.abs(turn) * goes + turn**2 * off / 2
        both = np.abs(turn) * half_t * half_e / 2
        return seen * half_t + bends * half_t**2 + both, np.abs(outwards @ way) * half_e + both


def _about_z(vectors, angle):
    cos, sin = np.cos(angle), np.sin(angle)
    x, y, z = vectors.T
    return np.stack([x * cos - y * sin, x * sin + y * cos, z], axis=-1)


class Outline:
    """A cutter that revolves, as distances from its outline in (r, y): from its axis, and along it."""

    def __init__(self, sweep):
        self.edge, holder = sweep.edge, sweep.holder
        self.frame = holder if isinstance(holder, CuttingFrame) else None
        self.swing = holder.radius if isinstance(holder, EccentricFrame | CuttingFrame) else 0.0

    def axis(self, tip, outward, level):
        """A place on the axis that it revolves about, and the axis."""
        if self.frame is None:
            return tip, outward
        angle = math.radians(self.frame.angle_deg)
        return tip + self.swing * outward, math.cos(angle) * np.cross(outward, level) - math.sin(angle) * level

    def inside(self, r, y):
        """How far inside places are, mm: the distance from the outline, negative outside."""
        aside, high = (np.abs(r - self.swing), y) if self.frame is None else (np.abs(y), self.swing - r)
        from_outline = self._wall(aside, high)
        for part in self.edge.parts:
            from_outline = np.minimum(from_outline, _from_part(part, aside, high))
        return np.where(high >= self.edge.at(aside), from_outline, -from_outline)

    def _wall(self, aside, high):
        """The distance from what goes up from the end of the edge; a wheel whose edge is as high as its radius has none."""
        if self.frame is not None and self.swing <= self.edge.height:
            return np.full_like(aside, np.inf)
        return np.hypot(aside - self.edge.half_width, np.maximum(self.edge.height - high, 0.0))

    def caps(self, r, y):
        """Two more distances that no place is further inside than: from the planes that hold the cutter, and its cylinder."""
        if self.frame is None:
            return y, self.swing + self.edge.half_width - r
        return self.edge.half_width - np.abs(y), self.swing - r


def _from_part(part, aside, high):
    """The distance from a part of an edge, of places aside of its middle line and high above its tip."""
    if isinstance(part, ArcSegment):
        down = part.centre - high
        ends = [np.hypot(aside - end, down - math.sqrt(max(part.radius**2 - end**2, 0.0))) for end in (part.near, part.far)]
        angle = np.arctan2(aside, down)
        faces = (angle >= math.asin(part.near / part.radius)) & (angle <= math.asin(min(part.far / part.radius, 1.0)))
        return np.where(faces, np.abs(np.hypot(aside, down) - part.radius), np.minimum(*ends))
    long = math.hypot(part.far - part.near, part.slope * (part.far - part.near))
    out, up = (part.far - part.near) / long, part.slope * (part.far - part.near) / long
    on = np.clip((aside - part.near) * out + (high - part.low) * up, 0.0, long)
    return np.hypot(aside - part.near - on * out, high - part.low - on * up)
