"""The hollow inside round work: a bore, or an inner wall turned to a profile, open at an end or closed inside."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.errors import require
from lobework.geometry.rigid import Array

if TYPE_CHECKING:
    from lobework.render.solid.shell import Corners, Shell

__all__ = ["Hollow"]

_JOINS_MM: Final = 1e-9
_AT_ONCE: Final = 256


class Hollow:
    """A hollow of revolution about Z.

    Parameters
    ----------
    line : (k, 2) float64, mm
        Radius and z along its wall, from the end away from the headstock. Where it ends inside the work it is closed flat.
    top, bottom : float, mm
        The ends of the work; what lies beyond is no part of it.
    """

    def __init__(self, line: Array, top: float, bottom: float) -> None:
        falls = (np.diff(line[:, 1]) < 0).all() and (line[:, 0] >= -_JOINS_MM).all()
        advice = "a curve that neither folds back nor crosses the axis"
        require(falls, "hollow", "its smooth curve", advice, "add points to it")
        require(line[0, 1] > bottom and line[-1, 1] < top, "hollow", f"z {line[0, 1]:g} to {line[-1, 1]:g}", "inside the work")
        z = line[:, 1]
        ends = [min(top, z[0]), max(bottom, z[-1])]
        heights = np.concatenate([ends[:1], z[(z < ends[0] - _JOINS_MM) & (z > ends[1] + _JOINS_MM)], ends[1:]])
        self.line: Array = np.stack([np.maximum(np.interp(-heights, -z, line[:, 0]), 0.0), heights], axis=-1)
        self.open = (top - ends[0] <= _JOINS_MM, ends[1] - bottom <= _JOINS_MM)
        wide = self.line[:, 0] > _JOINS_MM
        wide[[end for end in (0, -1) if not self.open[end]]] = True
        require(
            wide.all() and self.line[:, 0].any(),
            "hollow",
            "its smooth curve",
            "away from the axis, but for an end inside",
            "add points to it",
        )

    def away(self, radius: Array, z: Array) -> Array:
        """Return how far (n,) places outside it lie from it, mm; below zero inside."""
        start, step = self._sides
        long = np.maximum((step**2).sum(axis=1), 1e-30)
        inside = (z <= self.line[0, 1]) & (z >= self.line[-1, 1]) & (radius <= np.interp(-z, -self.line[:, 1], self.line[:, 0]))
        away = np.full(len(z), -1.0)
        for some in np.array_split(np.flatnonzero(~inside), 1 + len(z) // _AT_ONCE):
            r_off, z_off = radius[some, None] - start[:, 0], z[some, None] - start[:, 1]
            part = np.clip((r_off * step[:, 0] + z_off * step[:, 1]) / long, 0.0, 1.0)
            away[some] = np.hypot(r_off - part * step[:, 0], z_off - part * step[:, 1]).min(axis=1, initial=np.inf)
        return away

    def under(self, radius: Array, z: Array, out: Array, along: Array) -> Array:
        """Return how far (n,) rays go in, mm, against the normal (out, along), until they meet it; infinite where they do not."""
        start, step = self._sides
        under = np.full(len(z), np.inf)
        for some in np.array_split(np.arange(len(z)), 1 + len(z) // _AT_ONCE):
            r_off, z_off = start[:, 0] - radius[some, None], start[:, 1] - z[some, None]
            across = out[some, None] * step[:, 1] - along[some, None] * step[:, 0]
            with np.errstate(divide="ignore", invalid="ignore"):
                far = (z_off * step[:, 0] - r_off * step[:, 1]) / across
                part = (z_off * out[some, None] - r_off * along[some, None]) / -across
            meets = (far > 0) & (part >= -_JOINS_MM) & (part <= 1 + _JOINS_MM)
            under[some] = np.where(meets, far, np.inf).min(axis=1, initial=np.inf)
        return under

    @property
    def _sides(self) -> tuple[Array, Array]:
        """Where each straight side of its outline begins, and how far it goes: (k, 2) mm, its flat ends with it."""
        line = np.concatenate([[[0.0, self.line[0, 1]]], self.line, [[0.0, self.line[-1, 1]]]])
        return line[:-1], np.diff(line, axis=0)

    def cover(self, shell: Shell, angles: Array, rounding: float) -> list[Corners | None]:
        """Cover its wall, and its ends where they are closed; return the rings of those that are open, first and last.

        Open ends have a corner at every angle, rad; between them there are as many as keep the wall within ``rounding`` mm.
        """
        sides = math.ceil(math.pi / math.acos(max(1 - rounding / float(self.line[:, 0].max()), 0.5)))
        fewer: Array = angles if sides >= angles.size else np.linspace(0.0, 2 * math.pi, sides, endpoint=False)
        pointed = self.line[:, 0] <= _JOINS_MM
        wall = self.line[~pointed]
        spread = [fewer] * len(wall)
        for end in (0, -1):
            if self.open[end]:
                spread[end] = angles
        rings = [
            shell.add(np.stack([radius * np.cos(at), radius * np.sin(at), np.full(at.size, z)], axis=-1))
            for (radius, z), at in zip(wall, spread, strict=True)
        ]
        for k in range(len(rings) - 1):
            shell.zip(rings[k], spread[k], rings[k + 1], spread[k + 1], outwards=False)
        for end in (0, -1):
            if not self.open[end]:
                shell.fan(np.array([0.0, 0.0, self.line[end, 1]]), rings[end], outwards=end == -1)
        return [rings[end] if self.open[end] else None for end in (0, -1)]
