"""The promises of every form of work."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np

import lobework.testing.settings  # noqa: F401  (the promises of every part come first)
from lobework.carve import stock_of
from lobework.geometry.surface import Face, Round
from lobework.kinematics.trace import trace
from lobework.parts.abilities import seen_on
from lobework.parts.cutter import Pen
from lobework.parts.slide import At
from lobework.render.drawing import draw
from lobework.testing.arrays import finite_of_shape
from lobework.testing.benches import cut_on, fixed
from lobework.testing.compare import Broken, assert_close
from lobework.testing.promise import promised
from lobework.testing.refusal import refused

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.plugins.sample import Sample

__all__: list[str] = []

_DEPTHS: Final = (0.0, 0.1, 0.5)


def _area(outline: Array) -> float:
    x, y = outline[:-1].T
    following_x, following_y = outline[1:].T
    return float(np.sum(x * following_y - following_x * y) / 2)


@promised(
    "piece",
    "has a closed outline",
    "The outline is a closed line of finite points that encloses an area, and is the same at each call.",
)
def _outline(sample: Sample) -> int:
    outline = sample.part.outline
    if not isinstance(outline, np.ndarray) or outline.ndim != 2 or len(outline) < 4:
        raise Broken(
            f"outline has shape {np.shape(outline)}; it must be (m, 2), with four or more points, the last equal to the first"
        )
    finite_of_shape("outline", outline, (len(outline), 2))
    assert_close(outline[-1], outline[0], 1e-9, what="outline: its last point compared with its first")
    if not abs(_area(outline)) > 1e-9:
        raise Broken("outline encloses no area")
    again = outline.copy()
    outline += 1.0
    assert_close(sample.part.outline, again, 0.0, what="outline, at the next call")
    return len(again)


def _surface(piece: Any) -> Face | Round | None:
    surface = getattr(piece, "surface", None)
    return surface if isinstance(surface, Face | Round) else None


def _on_surface(surface: Face | Round) -> tuple[Array, Array]:
    """Return points spread over a surface, (n, 3) mm, and the outward unit normals at these points, (n, 3)."""
    turn = np.linspace(0.0, 1.9 * math.pi, 24)
    if isinstance(surface, Face):
        out = surface.radius * np.linspace(0.0, 1.0, 24)
        place = np.stack([out * np.cos(turn), out * np.sin(turn), 0 * turn], axis=-1)
        return place, np.broadcast_to(np.array([0.0, 0.0, 1.0]), place.shape)
    radius, z, across, along = surface.profile(np.linspace(0.02, 0.98, 24) * surface.length).T
    normal = np.stack([across * np.cos(turn), across * np.sin(turn), along], axis=-1)
    return np.stack([radius * np.cos(turn), radius * np.sin(turn), z], axis=-1), normal


@promised(
    "piece",
    "maps depth like its surface",
    "A point on the surface has depth zero on the sheet; a point moved inwards by d mm has the depth d.",
    "1e-6 mm",
)
def _sees(sample: Sample) -> int:
    piece = sample.part
    surface = _surface(piece)
    if surface is None:
        points = np.array([[1.0, 2.0, -0.5], [-3.0, 0.0, 0.25]])
        finite_of_shape("seen", seen_on(piece, points.copy()), points.shape)
        return len(points)
    place, normal = _on_surface(surface)
    for depth in _DEPTHS:
        points = place - depth * normal
        given = points.copy()
        seen = seen_on(piece, given)
        finite_of_shape("seen", seen, points.shape)
        assert_close(given, points, 0.0, what="seen: the method changes its array of points")
        assert_close(seen[:, 2], np.full(len(points), depth), 1e-6, what=f"seen, {depth:g} mm below the surface: depth")
        alone = np.concatenate([seen_on(piece, points[k : k + 1]) for k in range(len(points))])
        assert_close(alone[:, 2], seen[:, 2], 1e-9, what="seen, one by one: depth")
        inner = np.concatenate([[0], np.arange(len(points) - 2, 0, -1), [len(points) - 1]])
        again = seen_on(piece, points[inner])
        case = "seen, with the inner points in another order: height and depth"
        assert_close(again[:, 1:], seen[inner, 1:], 1e-9, what=case)
    return len(_DEPTHS) * len(place)


@promised(
    "piece",
    "maps its surface onto its sheet",
    "On the sheet, the surface fills the outline of the piece; round work is developed at its true length.",
    "1e-6 of the size",
)
def _seen_on_sheet(sample: Sample) -> int:
    piece = sample.part
    surface = _surface(piece)
    if surface is None:
        return 1
    low, high = piece.outline.min(axis=0), piece.outline.max(axis=0)
    size = float((high - low).max())
    if isinstance(surface, Face):
        turn = np.linspace(0.0, 2 * math.pi, 361)
        edge = surface.radius * np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=-1)
        seen = seen_on(piece, edge)
        found = np.array([seen[:, :2].min(axis=0), seen[:, :2].max(axis=0)])
        assert_close(
            found, [low, high], 1e-3 * size, what="the ends of its surface on its sheet, compared with the ends of its outline"
        )
        return len(edge)
    s = np.linspace(0.0, surface.length, 129)
    radius, z, _, _ = surface.profile(s).T
    seen = seen_on(piece, np.stack([radius, 0 * s, z], axis=-1))
    length = np.abs(np.diff(seen[:, 1]))
    assert_close(length, np.diff(s), 1e-3 * size, what="distances between points along its surface, on its sheet")
    ends = np.sort([seen[0, 1], seen[-1, 1]])
    assert_close(
        ends, [low[1], high[1]], 1e-6 * size, what="the ends of its surface on its sheet, compared with the ends of its outline"
    )
    rolled = float(high[0] - low[0]) / (2 * math.pi)
    if not (1 - 1e-6) * radius.min() <= rolled <= (1 + 1e-6) * radius.max():
        radii = f"{radius.min():g} to {radius.max():g} mm"
        raise Broken(f"its outline is as wide as the circumference at radius {rolled:g} mm; the radii of its surface are {radii}")
    widest = int(radius.argmax())
    turn = np.linspace(0.0, 2 * math.pi, 361)[:-1]
    around = np.stack([radius[widest] * np.cos(turn), radius[widest] * np.sin(turn), 0 * turn + z[widest]], axis=-1)
    across = seen_on(piece, around)[:, 0]
    whole = float(np.ptp(across)) * len(turn) / (len(turn) - 1)
    assert_close(
        whole,
        high[0] - low[0],
        1e-3 * size,
        what="the circumference of its surface on its sheet, compared with the width of its outline",
    )
    return len(s) + len(turn)


@promised(
    "piece",
    "has a valid surface",
    "A surface is finite, with unit normals and a wall thickness of zero or more; without a surface, carving is refused.",
    "1e-9",
)
def _sound(sample: Sample) -> int:
    piece = sample.part
    surface = _surface(piece)
    if surface is None:
        refused(lambda: stock_of(piece), "the piece has no surface, but carving it is not refused")
        return 1
    if isinstance(surface, Face):
        if not (0 < surface.radius < math.inf and 0 < surface.thickness < math.inf):
            raise Broken(f"surface: {surface!r}; its radius and thickness must be above zero")
        size, cases = 2 * surface.radius, 1
    else:
        s = np.linspace(0.0, surface.length, 257)
        profile, wall = surface.profile(s.copy()), surface.wall(s.copy())
        finite_of_shape("surface.profile", profile, (257, 4))
        assert_close(np.hypot(profile[:, 2], profile[:, 3]), np.ones(257), 1e-9, unit="", what="surface.profile: its normals")
        steps = np.hypot(*np.diff(profile[:, :2], axis=0).T)
        if not (steps <= (s[1] - s[0]) * (1 + 1e-6)).all():
            raise Broken(
                "surface.profile: two points are further apart than the difference of their s; "
                "s must be the length along the profile"
            )
        if not (profile[:, 0] >= 0).all() or not (wall >= 0).all():
            raise Broken("surface: a radius or a wall thickness is below zero")
        size, cases = surface.length, 257
    stock_of(piece, resolution=size / 16)
    return cases


@promised("piece", "is drawn within its sheet", "The sheet of a job contains the whole outline of the piece.")
def _drawn(sample: Sample) -> int:
    piece = sample.part
    reach = float(np.abs(piece.outline[:, 0]).max())
    sheet = draw("trial", piece, Pen(), [trace(cut_on(fixed(), at=At(x=0.1 * reach)))])
    low, high = np.array([sheet.left, sheet.top - sheet.height]), np.array([sheet.left + sheet.width, sheet.top])
    if not ((piece.outline >= low) & (piece.outline <= high)).all():
        raise Broken(f"its outline extends beyond the sheet, which reaches from {low.tolist()} to {high.tolist()} mm")
    return len(piece.outline)
