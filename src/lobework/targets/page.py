"""The page: one HTML file that shows the carved work in a browser, where the user can turn the work; it needs no network."""

from __future__ import annotations

import base64
import html
import io
import json
import math
from dataclasses import fields
from importlib.resources import files
from string import Template
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lobework.geometry.surface import Face, Round
from lobework.lathe.hand_settings import plain_name, settings_of
from lobework.quantities.units import format_number
from lobework.targets.relief import encode, require_encoder
from lobework.targets.target import Target
from lobework.text.printable import printable

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from lobework.carve.carving import Carving
    from lobework.carve.stock import Stock
    from lobework.geometry.rigid import Array

__all__ = ["HEIGHTS", "MOST_TEXELS", "STILL_DOTS", "TARGET", "render"]

HEIGHTS: Final = 65535
"""The integer for the greatest depth of the mesh; the other depths are scaled in proportion and rounded to integers."""
MOST_TEXELS: Final = 2048
"""Greatest number of texels on a side of the slope map; a finer grid is reduced by averaging."""
_ROWS, _COLUMNS = 384, 512
STILL_DOTS: Final = 1100
"""Default number of dots on the long side of the still picture."""


def _mesh(stock: Stock, depth: NDArray[Any]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the profile, (rows, 4), and the depths, (rows, columns) mm, of a mesh round the axis, resampled from the grid."""
    turns = np.arange(_COLUMNS) * (2 * math.pi / _COLUMNS)
    surface = stock.surface
    if isinstance(surface, Face):
        from lobework.render.relief.face import extended

        out = np.linspace(0.0, surface.radius, _ROWS)
        none = np.zeros(_ROWS)
        profile = np.stack([out, none, none, none + 1], axis=-1)
        x, y = out[:, None] * np.cos(turns), out[:, None] * np.sin(turns)
        row, column = (y - stock.row_positions[0]) / stock.row_step, (x - stock.column_positions[0]) / stock.column_step
        return profile, _interpolated(extended(stock, depth), row, column, wraps=False)
    along = np.linspace(0.0, surface.length, _ROWS)
    row, column = np.broadcast_arrays((along / stock.row_step)[:, None], turns / stock.column_step)
    return surface.profile(along), _interpolated(depth, row, column, wraps=True)


def _interpolated(grid: NDArray[Any], row: Array, column: Array, *, wraps: bool) -> Array:
    """Return the bilinear interpolation of a grid at positions given in grid steps."""
    i, j = np.floor(row).astype(np.intp), np.floor(column).astype(np.intp)
    a, b = row - i, column - j
    rows, columns = grid.shape
    i, under = np.clip(i, 0, rows - 1), np.clip(i + 1, 0, rows - 1)
    j, right = (j % columns, (j + 1) % columns) if wraps else (np.clip(j, 0, columns - 1), np.clip(j + 1, 0, columns - 1))
    found: Array = (1 - a) * ((1 - b) * grid[i, j] + b * grid[i, right]) + a * ((1 - b) * grid[under, j] + b * grid[under, right])
    return found


def _uncarved(stock: Stock) -> list[dict[str, Any]]:
    """Return the uncarved surfaces as lines of (radius, z) points, with the outside of the work on their left."""

    def line(points: Array | list[tuple[float, float]], start: int | None = None, end: int | None = None) -> dict[str, Any]:
        return {"line": [[round(float(r), 4), round(float(z), 4)] for r, z in points], "from": start, "to": end}

    surface, last = stock.surface, _ROWS - 1
    if isinstance(surface, Face):
        radius, back = surface.radius, -surface.thickness
        return [line([(radius, 0.0), (radius, back)], last), line([(radius, back), (0.0, back)])]
    from lobework.render.relief.body import inner_wall, opens

    ends = surface.profile(np.array([0.0, surface.length]))[:, :2]
    wall = inner_wall(surface)
    if not opens(surface, wall):
        return [line([tuple(ends[1]), (0.0, float(ends[1, 1]))], last), line([(0.0, float(ends[0, 1])), tuple(ends[0])], end=0)]
    wall = wall[np.unique(np.linspace(0, len(wall) - 1, min(len(wall), 65)).round().astype(int))]
    through = float(wall[-1, 1] - ends[1, 1]) < 0.1 * surface.length
    floor, top = tuple(wall[-1]), tuple(wall[0])
    if through:
        closed = [line([tuple(ends[1]), floor], last)]
    else:
        closed = [line([tuple(ends[1]), (0.0, float(ends[1, 1]))], last), line([(0.0, float(floor[1])), floor])]
    return [*closed, line(wall[::-1]), line([top, tuple(ends[0])], end=0)]


def _slopes(stock: Stock, depth: NDArray[Any], deepest: float) -> NDArray[np.uint8]:
    """Return the slope map, (m, n, 3): the normal's components across and along the work, with 128 for zero, and the depth."""
    surface = stock.surface
    depth = depth.astype(np.float32)
    if isinstance(surface, Face):
        from lobework.render.relief.face import extended

        depth = extended(stock, depth)
        across = np.gradient(depth, stock.column_step, axis=1)
    else:
        radius = np.maximum(stock.profile[:, :1], 0.02 * float(stock.profile[:, 0].max()) + 1e-3).astype(np.float32)
        across = (np.roll(depth, -1, axis=1) - np.roll(depth, 1, axis=1)) / (2 * stock.column_step * radius)
    along = np.gradient(depth, stock.row_step, axis=0)
    upright = 1 / np.sqrt(1 + across**2 + along**2)
    parts = (across * upright * 127 + 128, along * upright * 127 + 128, depth * (255 / deepest))
    return np.stack([np.rint(_averaged(part)).clip(0, 255).astype(np.uint8) for part in parts], axis=-1)


def _averaged(grid: NDArray[Any]) -> NDArray[Any]:
    """Return a grid, reduced by averaging to at most `MOST_TEXELS` points on a side."""
    for axis in (0, 1):
        count = grid.shape[axis]
        if count > MOST_TEXELS:
            starts = np.arange(MOST_TEXELS) * count // MOST_TEXELS
            sizes = np.diff(np.append(starts, count)).reshape((-1, 1) if axis == 0 else (1, -1))
            grid = np.add.reduceat(grid, starts, axis=axis) / sizes
    return grid


def _png(dots: NDArray[np.uint8]) -> bytes:
    from PIL import Image

    file = io.BytesIO()
    Image.fromarray(dots).save(file, "png", compress_level=6)
    return file.getvalue()


def _base64(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")


def _wood(carving: Carving) -> dict[str, Any]:
    """Return the appearance of the wood, the position of the piece in the tree, and the random numbers of the grain as bytes."""
    from lobework.render.relief.wood import lattice, linear, tree_of, wood_of

    wood, tree = wood_of(getattr(carving.piece, "material", "")), tree_of(carving.stock.surface)
    tones = {name: linear(np.array(getattr(wood, name), dtype=np.float64)).round(5).tolist() for name in ("early", "late")}
    look = {name: getattr(wood, name) for name in ("ring", "figure", "streak", "pores", "wander")}
    by_column = [part for column in zip(tree.along, tree.across, tree.deep, strict=True) for part in column]
    sheet = np.rint(lattice(1) * 127.5 + 127.5).clip(0, 255).astype(np.uint8)
    return {**tones, **look, "heart": tree.heart, "tree": by_column, "sheet": _base64(sheet.tobytes())}


def _work(carving: Carving) -> dict[str, Any]:
    """Return the data for the page's script."""
    stock, surface = carving.stock, carving.stock.surface
    profile, depth = _mesh(stock, carving.depth)
    deepest = max(float(carving.depth.max()), 1e-6)
    packed = np.rint(depth.clip(0, deepest) / deepest * HEIGHTS).astype("<u2")
    face = isinstance(surface, Face)
    plain = _uncarved(stock)
    points = np.concatenate([profile[:, :2], *(np.array(each["line"]) for each in plain)])
    low, high = float(points[:, 1].min()), float(points[:, 1].max())
    middle = (low + high) / 2
    span = [stock.columns * stock.column_step, stock.rows * stock.row_step]
    return {
        "face": face,
        "rows": _ROWS,
        "columns": _COLUMNS,
        "deepest": deepest,
        "profile": profile.round(5).tolist(),
        "heights": _base64(packed.tobytes()),
        "plain": plain,
        "detail": _base64(_png(_slopes(stock, carving.depth, deepest))),
        "span": span if face else [2 * math.pi, surface.length if isinstance(surface, Round) else 0.0],
        "middle": [0.0, 0.0, middle],
        "reach": round(float(np.hypot(points[:, 0], points[:, 1] - middle).max()), 4),
        "start": {"turn": -8, "tip": -28, "lamp": 14} if face else {"turn": 0, "tip": 16, "lamp": 34},
        "wood": _wood(carving),
    }


def _mm(value: float, places: int = 2) -> str:
    return f"{format_number(value, places)} mm"


def _is_size(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and value > 0


def _facts(carving: Carving) -> Iterator[tuple[str, str]]:
    """Yield the names and values of the page's table: sizes, volume cut away, deepest point, least wall."""
    sizes = {plain_name(each.name) for each in fields(carving.piece) if _is_size(getattr(carving.piece, each.name))}  # type: ignore[arg-type]
    for name, value in settings_of(carving.piece, "mm"):
        if name in sizes:
            yield name.capitalize(), value
    surface = carving.stock.surface
    if isinstance(surface, Round) and not surface.straight:
        from lobework.render.relief.body import widest

        ends = surface.profile(np.array([0.0, surface.length]))[:, 1]
        yield "Widest", f"{_mm(2 * widest(surface))} across"
        yield "Length", _mm(float(ends[0] - ends[1]))
    spot = carving.deepest
    if spot.depth <= 0:
        yield "Cut away", "nothing"
        return
    yield (
        "Cut away",
        f"{carving.volume:,.0f} mm\N{SUPERSCRIPT THREE}"
        if carving.volume >= 10
        else f"{carving.volume:.3g} mm\N{SUPERSCRIPT THREE}",
    )
    a, b = (format_number(part, 2) for part in spot.place)
    where = f"at X {a}, Y {b} mm" if isinstance(surface, Face) else f"at {a} degrees, Z {b} mm"
    yield "Deepest point", f"{_mm(spot.depth, 3)}, {where}" + (f", by {spot.cut}" if spot.cut else "")
    left = carving.thinnest.wall
    yield "Least wood left", _mm(left, 3) if left > 0 else "none: the work is cut through"


def render(carving: Carving, dots: int | None = None) -> bytes:
    """Return a page in which the user can turn the carved work: one HTML file, UTF-8, that needs no network.

    The page holds a mesh of 384 by 512 points resampled from the grid, a map of the grid's slopes (`MOST_TEXELS` on a side at
    most), and the relief as a still picture for browsers without WebGL and for printing.

    Parameters
    ----------
    carving : Carving
        The carved piece.
    dots : int
        Number of dots on the long side of the still picture; default: `STILL_DOTS`.

    Returns
    -------
    bytes
        Contents of the file.

    Raises
    ------
    InputError
        If Pillow is not installed; the message gives the command to install it.
    SettingError
        If ``dots`` is out of range.

    Examples
    --------
    >>> from lobework import At, Disc, Job, Pass, Vee, read_lathe
    >>> ring = Pass(name="ring", at=At(x=20.0, depth=0.5))
    >>> disc, vee = Disc(diameter=60.0, thickness=5.0, material="holly"), Vee(angle_deg=90.0, width=3.0)
    >>> job = Job(title="Lid", lathe=read_lathe("plain-bench"), piece=disc, cutter=vee, passes=[ring])
    >>> page = render(job.carve(0.5), dots=200)
    >>> page[:15], b"http:" in page
    (b'<!doctype html>', False)
    """
    from lobework.render.relief import picture

    require_encoder("a page")
    still = picture(carving, STILL_DOTS if dots is None else dots)
    material = getattr(carving.piece, "material", "")
    form = "turned piece" if carving.piece.form == "turned" else plain_name(carving.piece.form)
    what = form + (f" in {material}" if material else "")
    title = _escaped(carving.title or "untitled")
    folder = files("lobework.targets")
    page = Template(folder.joinpath("page.html").read_text(encoding="utf-8")).substitute(
        title=title,
        what=_escaped(what[:1].upper() + what[1:]),
        label=_escaped(f"The carved work, a {what}, in a view that can be turned"),
        alt=_escaped(still.description),
        still=_base64(encode(still)),
        front="Face on" if isinstance(carving.stock.surface, Face) else "From the side",
        facts="\n".join(f"<dt>{_escaped(name)}</dt><dd>{_escaped(value)}</dd>" for name, value in _facts(carving)),
        work=json.dumps(_work(carving), separators=(",", ":")).replace("<", "\\u003c"),
        script=folder.joinpath("page.js").read_text(encoding="utf-8").strip(),
    )
    return page.encode()


def _escaped(text: str) -> str:
    return html.escape(printable(text))


TARGET: Final = Target(
    name="page",
    file="work.html",
    shows="carving",
    description="a web page in which the carved work can be turned, offline",
    render=render,
    needs=("PIL", "lobework[picture]"),
)
