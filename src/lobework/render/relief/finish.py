"""Colour of finished wood under light, and the tones of the picture."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.render.relief.light import Grid, Light

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["averaged", "blurred", "eight_bit", "lit"]

_LAMP_COLOUR: Final = np.array([1.05, 1.0, 0.92], dtype=np.float32) * 0.67
_AMBIENT_COLOUR: Final = np.array([0.98, 1.0, 1.03], dtype=np.float32) * 0.33
_SHEEN_COLOUR: Final = np.array([1.0, 0.97, 0.91], dtype=np.float32) * 0.12
_SHOULDER: Final = 0.62
_STEPS: Final = 1 << 15
_CUT_MM: Final = 0.05
"""Least depth at which the surface is shown as completely freshly cut."""
_SOAK_MM: Final = (0.07, 0.28)
_SOAK: Final = np.array([[0.66, 0.75, 0.86], [0.22, 0.18, 0.11], [0.12, 0.07, 0.03]], dtype=np.float32)
"""Fractions of the lamp's red, green and blue light that leave the wood at the point of entry, near it, and further away."""


def averaged(grid: Grid, factor: int) -> Grid:
    """Return the means over squares of ``factor`` by ``factor`` points."""
    rows, columns = (side // factor for side in grid.shape)
    total = grid[::factor].copy()
    for k in range(1, factor):
        total += grid[k::factor]
    mean = total[:, ::factor].copy()
    for k in range(1, factor):
        mean += total[:, k::factor]
    assert mean.shape == (rows, columns)
    mean *= 1 / factor**2
    return mean


def _moving_average(grid: Grid, reach: int) -> Grid:
    """Return the moving average down the columns over ``reach`` neighbours on either side, with the ends repeated."""
    padded = np.concatenate([grid[:1].repeat(reach + 1, axis=0), grid, grid[-1:].repeat(reach, axis=0)])
    sums = padded.cumsum(axis=0, dtype=np.float64)
    mean: Grid = ((sums[2 * reach + 1 :] - sums[: -2 * reach - 1]) / (2 * reach + 1)).astype(np.float32)
    return mean


def blurred(grid: Grid, reach: int) -> Grid:
    """Return a grid averaged twice over squares with ``2 * reach + 1`` points on a side."""
    for _ in range(4 if reach else 0):
        grid = _moving_average(grid, reach).T
    return grid


def lit(wood: Grid, light: Light, depth: Grid, dot: float) -> Grid:
    """Return the visible colour of lit wood, (m, n, 3) in linear light.

    Parameters
    ----------
    wood : (m, n, 3)
        Colour of the wood, linear.
    light : Light
        Light on (m, n) dots.
    depth : (m, n) mm
        Depth of the carving; freshly cut wood is a little lighter, and not polished.
    dot : float, mm
        Distance from dot to dot.

    Notes
    -----
    Some of the light is scattered below the surface; red light travels furthest. Points that the light of the room does not reach
    are lit by the opposite wall of the groove.
    """
    fresh = np.clip(depth / _CUT_MM, 0, 1)[..., None]
    wood = wood * (1 + 0.10 * fresh) + 0.008 * fresh
    near, wide = (blurred(light.lamp, max(1, round(size / dot))) for size in _SOAK_MM)
    soaked = light.lamp[..., None] * _SOAK[0] + near[..., None] * _SOAK[1] + wide[..., None] * _SOAK[2]
    hidden = 1 - np.clip(light.ambient, 0, 1)
    across = wood * (hidden * (0.36 * wide + 0.30))[..., None]
    ambient = light.ambient * np.sqrt(light.ambient)
    colour: Grid = wood * (soaked * _LAMP_COLOUR + ambient[..., None] * _AMBIENT_COLOUR + across)
    colour += (light.sheen[..., None] * (1 - 0.35 * fresh)) * _SHEEN_COLOUR
    over = np.maximum(colour - _SHOULDER, 0)
    over /= 1 - _SHOULDER
    np.minimum(colour, _SHOULDER, out=colour)
    colour += (1 - _SHOULDER) * (1 - np.exp(-over))
    return colour


def eight_bit(colour: Grid) -> NDArray[np.uint8]:
    """Return linear light as sRGB values, 0 to 255. Source: IEC 61966-2-1."""
    step = np.arange(_STEPS + 1) / _STEPS
    curve = np.where(step <= 0.0031308, 12.92 * step, 1.055 * step ** (1 / 2.4) - 0.055)
    bits = (curve * 255 + 0.5).astype(np.uint8)
    found: NDArray[np.uint8] = bits[(np.clip(colour, 0, 1) * _STEPS + 0.5).astype(np.int32)]
    return found
