"""Appearance of wood: the colours of the kinds that turners use, and a three-dimensional grain, continuous through all cuts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from lobework.checks.check import Finding
from lobework.geometry.surface import Face, Surface
from lobework.parts.protocols import Piece
from lobework.render.relief.body import widest

__all__ = ["PLAIN", "WOODS", "Tree", "Wood", "grain", "lattice", "linear", "material_findings", "tree_of", "wood_of"]

Grid = NDArray[np.floating[Any]]
Tone = tuple[int, int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wood:
    """The appearance of one kind of wood.

    Parameters
    ----------
    early, late : (red, green, blue), sRGB values, 0 to 255
        The paler wood and the darker wood of an annual ring.
    ring : float, mm
        Width of an annual ring.
    figure : float
        Contrast of the rings, 0 to 1.
    streak : float
        Contrast of the fibres, 0 to 1.
    pores : float
        Density of open pores, 0 to 1.
    wander : float
        Deviation of the rings from circles, 0 to 1.
    """

    early: Tone
    late: Tone
    ring: float = 1.6
    figure: float = 0.5
    streak: float = 0.5
    pores: float = 0.0
    wander: float = 0.4


PLAIN: Final = Wood(early=(226, 202, 164), late=(208, 178, 134), figure=0.5, streak=0.5, pores=0.1)
"""A pale wood of no particular kind."""

WOODS: Final[dict[str, Wood]] = {
    "ash": Wood(early=(228, 208, 174), late=(196, 164, 118), ring=2.4, figure=0.9, streak=0.7, pores=0.6),
    "beech": Wood(early=(220, 182, 142), late=(204, 160, 120), figure=0.35, pores=0.15),
    "blackwood": Wood(early=(62, 44, 34), late=(30, 22, 19), ring=1.1, figure=0.85, streak=0.8, pores=0.15, wander=0.7),
    "boxwood": Wood(early=(236, 210, 150), late=(212, 172, 104), ring=1.1, figure=0.75, streak=0.7),
    "cherry": Wood(early=(196, 134, 90), late=(172, 106, 68), figure=0.5, streak=0.5, pores=0.1),
    "cocobolo": Wood(early=(162, 84, 48), late=(58, 27, 19), ring=2.6, figure=1.0, streak=0.7, pores=0.4, wander=1.0),
    "ebony": Wood(early=(44, 38, 35), late=(27, 24, 23), ring=1.4, figure=0.5, streak=0.6, pores=0.15, wander=0.6),
    "holly": Wood(early=(241, 235, 220), late=(226, 217, 196), ring=1.2, figure=0.5, streak=0.5),
    "hornbeam": Wood(early=(228, 214, 188), late=(214, 196, 166), figure=0.35, streak=0.4),
    "kingwood": Wood(early=(120, 66, 66), late=(54, 26, 34), ring=1.5, figure=1.0, streak=0.6, pores=0.2, wander=0.6),
    "lignum vitae": Wood(early=(122, 108, 62), late=(66, 62, 38), ring=1.3, figure=0.9, streak=0.7, wander=0.7),
    "lime": Wood(early=(234, 216, 182), late=(224, 202, 164), figure=0.25, streak=0.35),
    "mahogany": Wood(early=(160, 92, 60), late=(134, 70, 46), ring=2.8, figure=0.5, streak=0.7, pores=0.7),
    "maple": Wood(early=(236, 214, 180), late=(220, 190, 148), ring=2.0, figure=0.45, streak=0.4, pores=0.05, wander=0.6),
    "oak": Wood(early=(206, 172, 122), late=(168, 128, 82), ring=2.2, figure=0.8, streak=0.8, pores=0.9),
    "olive": Wood(early=(212, 176, 116), late=(122, 86, 50), ring=2.4, figure=0.9, streak=0.5, wander=1.0),
    "padauk": Wood(early=(178, 72, 38), late=(138, 44, 26), ring=2.2, figure=0.6, streak=0.7, pores=0.7),
    "pear": Wood(early=(214, 166, 132), late=(198, 146, 112), ring=1.4, figure=0.35, streak=0.3),
    "plum": Wood(early=(192, 126, 92), late=(132, 72, 60), ring=1.6, figure=0.8, streak=0.5, wander=0.8),
    "purpleheart": Wood(early=(122, 62, 92), late=(96, 44, 72), ring=2.0, figure=0.4, streak=0.7, pores=0.3),
    "rosewood": Wood(early=(126, 72, 46), late=(52, 28, 21), ring=2.4, figure=1.0, streak=0.7, pores=0.5, wander=0.9),
    "sycamore": Wood(early=(238, 222, 194), late=(228, 206, 172), ring=2.2, figure=0.35, streak=0.35, wander=0.6),
    "tulipwood": Wood(early=(226, 164, 124), late=(176, 82, 72), ring=2.2, figure=1.0, streak=0.5, pores=0.2, wander=0.7),
    "walnut": Wood(early=(128, 92, 66), late=(78, 54, 38), ring=2.8, figure=0.8, streak=0.8, pores=0.6, wander=0.9),
    "yew": Wood(early=(206, 138, 82), late=(160, 92, 52), ring=1.1, figure=0.8, streak=0.4, wander=0.9),
}
"""Kinds of wood by their trade names. The values are estimates without a source: finished wood varies from tree to tree."""


def wood_of(material: str) -> Wood:
    """Return the appearance of the known wood that is named in a material's name; `PLAIN` if none is named.

    Examples
    --------
    >>> wood_of("African blackwood") is WOODS["blackwood"], wood_of("") is PLAIN
    (True, True)
    """
    known = _kinds_in(material)
    return WOODS[max(known, key=len)] if known else PLAIN


def _kinds_in(material: str) -> list[str]:
    words = material.lower()
    return [name for name in WOODS if name in words or name.replace(" ", "") in words.replace(" ", "")]


def material_findings(piece: Piece) -> list[Finding]:
    """Return a note if a piece's material is given and is not a known wood.

    >>> from lobework.parts.piece import Disc
    >>> print(material_findings(Disc(diameter=60.0, thickness=5.0, material="brass"))[0].message[:53])
    material 'brass' is not a known wood: drawn as pale w
    """
    material = getattr(piece, "material", "")
    if not material or _kinds_in(material):
        return []
    message = f"material {material!r} is not a known wood: drawn as pale wood; known woods: {', '.join(WOODS)}"
    return [Finding(kind="picture", level="note", where="piece", message=message)]


_LAY: Final = 0.12
"""Angle of the grain of a board on a face, rad."""
_BOARD: Final = 1 / 3
"""Greatest thickness, as a fraction of its diameter, of a disc that is cut from a board; a thicker disc is cut from a billet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tree:
    """The position of a piece in the tree.

    Parameters
    ----------
    along, across, deep : (X, Y, Z)
        Unit vectors in the work: along the fibres, and two directions across them.
    heart : (across, deep) mm
        The centre of the annual rings.
    """

    along: tuple[float, float, float]
    across: tuple[float, float, float]
    deep: tuple[float, float, float]
    heart: tuple[float, float]


def tree_of(surface: Surface) -> Tree:
    """Return the position of a piece in the tree: a thin disc in a board, other work in a billet with its axis along the fibres.

    Examples
    --------
    >>> from lobework.geometry.surface import Face
    >>> tree_of(Face(radius=20.0, thickness=40.0)).along
    (0.0, 0.0, 1.0)
    """
    if isinstance(surface, Face) and surface.thickness < 2 * surface.radius * _BOARD:
        cos, sin, radius = math.cos(_LAY), math.sin(_LAY), surface.radius
        return Tree(along=(cos, -sin, 0.0), across=(sin, cos, 0.0), deep=(0.0, 0.0, 1.0), heart=(-0.3 * radius, -0.9 * radius))
    heart = (-0.4, 0.9) if isinstance(surface, Face) else (-1.5, 0.7)
    wide = surface.radius if isinstance(surface, Face) else widest(surface)
    return Tree(along=(0.0, 0.0, 1.0), across=(1.0, 0.0, 0.0), deep=(0.0, 1.0, 0.0), heart=(heart[0] * wide, heart[1] * wide))


_SIDE: Final = 256
_CHUNK: Final = 1 << 14
"""Number of points that are processed together, so that they stay in the cache."""


@cache
def lattice(seed: int) -> Grid:
    """Return (65536,) uniform random numbers, -1 to 1, for a square of 256 by 256, the same on every machine.

    The numbers are the output of the mixing function mix64variant13 of the generator SplitMix64.

    References
    ----------
    G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators", Proc. OOPSLA 2014, 453-472.
    """
    mixed = np.arange(_SIDE * _SIDE, dtype=np.uint64) + np.uint64(seed * 0x9E3779B9)
    for shift, factor in ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB)):
        mixed = (mixed ^ (mixed >> np.uint64(shift))) * np.uint64(factor)
    mixed ^= mixed >> np.uint64(31)
    return (mixed >> np.uint64(40)).astype(np.float32) / 2**23 - 1


def _noise(u: Grid, v: Grid, seed: int) -> Grid:
    """Return smooth noise, -1 to 1 with a mean of about 0, whose wavelength is about one step of ``u`` and of ``v``."""
    random = lattice(seed)
    low_u, low_v = np.floor(u), np.floor(v)
    a, b = u - low_u, v - low_v
    a, b = a * a * (3 - 2 * a), b * b * (3 - 2 * b)
    i, j = low_u.astype(np.int32), low_v.astype(np.int32)
    left, right = j & (_SIDE - 1), (j + 1) & (_SIDE - 1)

    def row(number: NDArray[np.int32]) -> Grid:
        start = (number & (_SIDE - 1)) * _SIDE
        first: Grid = random[start | left]
        found: Grid = first + (random[start | right] - first) * b
        return found

    top = row(i)
    return top + (row(i + 1) - top) * a


def _contrast(size: float, dot: float) -> float:
    """Return the contrast of a detail, 0 to 1, which falls as the detail becomes smaller than two dots."""
    return min(max((size / dot - 0.6) / 1.4, 0.0), 1.0)


def grain(wood: Wood, tree: Tree, place: tuple[Grid, Grid, Grid], dot: float) -> Grid:
    """Return the colour of solid wood, (..., 3) in linear light.

    Parameters
    ----------
    wood, tree : Wood, Tree
        The kind of wood, and the position of the piece in the tree.
    place : three of (...), mm
        Coordinates X, Y, Z of the points in the work.
    dot : float, mm
        Distance from dot to dot; much finer detail is omitted.
    """
    parts = np.broadcast_arrays(*place)
    x, y, z = (np.asarray(part, dtype=np.float32).ravel() for part in parts)
    colour = np.zeros((x.size, 3), dtype=np.float32)
    for first in range(0, len(colour), _CHUNK):
        a, b, c = (part[first : first + _CHUNK] for part in (x, y, z))
        along, across, deep = (a * axis[0] + b * axis[1] + c * axis[2] for axis in (tree.along, tree.across, tree.deep))
        colour[first : first + _CHUNK] = _grain(wood, along, across, deep, tree.heart, dot)
    return colour.reshape(*parts[0].shape, 3)


def _grain(wood: Wood, along: Grid, across: Grid, deep: Grid, heart: tuple[float, float], dot: float) -> Grid:
    """Return the colour at (n,) points: irregular annual rings round the heart, broad bands, fibres and pores."""
    stray = 1.8 * _noise(along / 55, across / 34, 1) + 0.55 * _noise(along / 19, across / 9, 2)
    side, under = across - heart[0] + wood.wander * stray, deep - heart[1]
    out = np.hypot(side, under)
    year = out / wood.ring + 1.6 * _noise(out / (5.5 * wood.ring), along / 150, 3)
    whole = np.floor(year)
    part = year - whole
    late = part**2 * (1 - np.clip((part - 0.86) / 0.14, 0, 1) ** 2)
    ring = (late - 0.28) * (0.75 + 0.45 * lattice(4)[whole.astype(np.int32) & (_SIDE - 1)]) * _contrast(wood.ring / 2, dot)
    bands = 0.75 * _noise(year / 2.7, along / 190, 5) + _noise(year / 9, along / 240, 6)
    fibre = _noise(side, along / 31 + under / 1.3, 9)
    for size, length, seed in ((0.11, 5.0, 7), (0.31, 13.0, 8)):
        fibre += _noise(side / size, along / length + under / size, seed) * _contrast(size, dot)
    dark = 0.42 + wood.figure * (0.62 * ring + 0.34 * bands) + 0.16 * wood.streak * fibre
    dark = np.clip(dark, -0.25, 1.3)[:, None]
    early_tone, late_tone = (linear(np.array(tone, dtype=np.float32)) for tone in (wood.early, wood.late))
    colour: Grid = early_tone + dark * (late_tone - early_tone)
    if wood.pores:
        colour *= 1 - _pores(wood, along, side, under, dot)[:, None]
    return np.maximum(colour, 0.004)


def _pores(wood: Wood, along: Grid, side: Grid, under: Grid, dot: float) -> Grid:
    """Return the darkness of the open vessels, which are short lines along the fibres."""
    cells = _noise(side / 0.14, along / 1.9 + under / 0.14, 10)
    patch = _noise(side / 2.2, along / 24.0, 11)
    cut = 0.78 - 0.35 * wood.pores
    open_here = np.clip((cells + 0.25 * patch - cut) / 0.22, 0, 1)
    return open_here * 0.45 * _contrast(0.14, dot)


def linear(tone: Grid) -> Grid:
    """Return sRGB values, 0 to 255, as linear light, 0 to 1. Source: IEC 61966-2-1."""
    part = tone / 255
    light: Grid = np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)
    return light
