"""The hollow of round work: a bore, or a turned inner wall, each end of which is open or closed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.errors import require
from lobework.geometry.rigid import Array

if TYPE_CHECKING:
    from lobework.render.solid.shell import Corners, Shell

__all__ = ["Hollow"]

_EQUAL_MM: Final = 1e-9
_BATCH: Final = 256


class Hollow:
    """A hollow of revolution about Z.

    Parameters
    ----------
    line : (k, 2) float64, mm
        Radius and z of its wall points, from the end away from the headstock. An end inside the work is closed with a flat disc.
    top, bottom : float, mm
        The z of both ends of the work; the hollow is cut off at these ends.
    """

    def __init__(self, line: Array, top: float, bottom: float) -> None:
        falls = (np.diff(line[:, 1]) < 0).all() and (line[:, 0] >= -_EQUAL_MM).all()
        must_be = "a curve that neither folds back nor crosses the axis"
        require(falls, "hollow", "its smooth curve", must_be, "add points to the hollow")
        require(line[0, 1] > bottom and line[-1, 1] < top, "hollow", f"z {line[0, 1]:g} to {line[-1, 1]:g}", "inside the work")
        z = line[:, 1]
        ends = [min(top, z[0]), max(bottom, z[-1])]
        heights = np.concatenate([ends[:1], z[(z < ends[0] - _EQUAL_MM) & (z > ends[1] + _EQUAL_MM)], ends[1:]])
        self.line: Array = np.stack([np.maximum(np.interp(-heights, -z, line[:, 0]), 0.0), heights], axis=-1)
        self.open = (top - ends[0] <= _EQUAL_MM, ends[1] - bottom <= _EQUAL_MM)
        wide = self.line[:, 0] > _EQUAL_MM
        wide[[end for end in (0, -1) if not self.open[end]]] = True
        require(
            wide.all() and self.line[:, 0].any(),
            "hollow",
            "its smooth curve",
            "away from the axis, except at an end inside the work",
            "add points to the hollow",
        )

    def distance(self, radius: Array, z: Array) -> Array:
        """Return the distances of (n,) points from the hollow, mm; for points inside the hollow, -1."""
        start, step = self._sides
        long = np.maximum((step**2).sum(axis=1), 1e-30)
        inside = (z <= self.line[0, 1]) & (z >= self.line[-1, 1]) & (radius <= np.interp(-z, -self.line[:, 1], self.line[:, 0]))
        distance = np.full(len(z), -1.0)
        for some in np.array_split(np.flatnonzero(~inside), 1 + len(z) // _BATCH):
            r_off, z_off = radius[some, None] - start[:, 0], z[some, None] - start[:, 1]
            part = np.clip((r_off * step[:, 0] + z_off * step[:, 1]) / long, 0.0, 1.0)
            distance[some] = np.hypot(r_off - part * step[:, 0], z_off - part * step[:, 1]).min(axis=1, initial=np.inf)
        return distance

    def ray_length(self, radius: Array, z: Array, out: Array, along: Array) -> Array:
        """Return the distances along (n,) rays to the hollow, mm, or infinity; a ray runs opposite to the normal (out, along)."""
        start, step = self._sides
        ray_length = np.full(len(z), np.inf)
        for some in np.array_split(np.arange(len(z)), 1 + len(z) // _BATCH):
            r_off, z_off = start[:, 0] - radius[some, None], start[:, 1] - z[some, None]
            across = out[some, None] * step[:, 1] - along[some, None] * step[:, 0]
            with np.errstate(divide="ignore", invalid="ignore"):
                far = (z_off * step[:, 0] - r_off * step[:, 1]) / across
                part = (z_off * out[some, None] - r_off * along[some, None]) / -across
            meets = (far > 0) & (part >= -_EQUAL_MM) & (part <= 1 + _EQUAL_MM)
            ray_length[some] = np.where(meets, far, np.inf).min(axis=1, initial=np.inf)
        return ray_length

    @property
    def _sides(self) -> tuple[Array, Array]:
        """The start and the vector of each straight side of the hollow's outline, including the flat ends: (k, 2) mm each."""
        line = np.concatenate([[[0.0, self.line[0, 1]]], self.line, [[0.0, self.line[-1, 1]]]])
        return line[:-1], np.diff(line, axis=0)

    def cover(self, shell: Shell, angles: Array, rounding: float) -> list[Corners | None]:
        """Add the wall and the closed ends to a shell; return the vertices of the first and the last end, None for a closed end.

        An open end has a vertex at every one of ``angles``, rad. Elsewhere there are enough vertices to keep the wall within
        ``rounding`` mm of its circles.
        """
        sides = math.ceil(math.pi / math.acos(max(1 - rounding / float(self.line[:, 0].max()), 0.5)))
        fewer: Array = angles if sides >= angles.size else np.linspace(0.0, 2 * math.pi, sides, endpoint=False)
        pointed = self.line[:, 0] <= _EQUAL_MM
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
