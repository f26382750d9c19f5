"""Carvings made by hand, from closed forms, and what independent readers of meshes say of solids.

Run as a module with a folder, it writes every sample there as STL.
"""

from __future__ import annotations

import sys
from pathlib import Path
from types import SimpleNamespace

import manifold3d
import numpy as np
import trimesh

from lobework.carve import Carving, Stock, stock_of
from lobework.geometry.surface import Round
from lobework.parts.piece import Barrel, Disc, Turned

LID = Disc(diameter=70.0, thickness=8.0)
GROOVED = Disc(diameter=60.0, thickness=5.0)
TUBE = Barrel(diameter=50.0, length=60.0, bore=42.0)
POST = Barrel(diameter=40.0, length=30.0)
CUP = Turned(profile=((0.0, 20.0), (-20.0, 25.0), (-40.0, 15.0)), hollow=((0.0, 15.0), (-20.0, 20.0), (-30.0, 8.0)))
WAIST = Turned(profile=((0.0, 25.0), (-20.0, 18.0), (-40.0, 24.0)), hollow=((0.0, 15.0), (-20.0, 12.0), (-40.0, 15.0)))
RATTLE = Turned(profile=((0.0, 25.0), (-20.0, 18.0), (-40.0, 24.0)), hollow=((-5.0, 15.0), (-20.0, 12.0), (-30.0, 0.0)))


def vee(away, half_width, depth):
    """How deep a vee cuts at a distance from its line."""
    return np.maximum(depth * (1 - np.abs(away) / half_width), 0.0)


def ball(away, radius, depth):
    """How deep a ball cuts at a distance from its line."""
    return np.maximum(np.sqrt(np.maximum(radius**2 - away**2, 0.0)) - radius + depth, 0.0)


def polar(stock):
    """Distance from the middle of a face, and angle about it, at each ray."""
    return np.hypot(stock.column_positions, stock.row_positions[:, None]), np.arctan2(
        stock.row_positions[:, None], stock.column_positions
    )


def carved(piece, resolution, depth, title="Tide box"):
    """A piece carved as deep as a function of its stock says."""
    stock = stock_of(piece, resolution)
    return Carving(title=title, piece=piece, stock=stock, depth=depth(stock).astype(np.float32), sweeps=())


def uncut(stock):
    return np.zeros(stock.shape)


def wave_rings(stock):
    """Twelve-lobed rings, some of which run off the edge."""
    away, angle = polar(stock)
    deep = [
        vee(away - r - 0.8 * np.cos(12 * angle + k), 0.5, 0.5) for k, r in enumerate(stock.surface.radius - 1.9 * np.arange(8))
    ]
    return np.where(stock.inside, np.max(deep, axis=0), 0.0)


def flutes(stock):
    """Twelve flutes that lean, and run off both ends."""
    turned = (stock.column_positions + 0.01 * stock.row_positions[:, None]) % (np.pi / 6) - np.pi / 12
    return ball(turned * 20, 1.5, 0.8)


def pointed(length=20.0, radius=10.0, resolution=0.5):
    """A cone with its point up, as a stock of its own and a piece that only has a surface."""
    long = np.hypot(length, radius)

    def profile(s):
        return np.stack(
            [s * radius / long, -s * length / long, np.full_like(s, length / long), np.full_like(s, radius / long)], axis=-1
        )

    surface = Round(length=long, profile=profile, wall=lambda s: s * radius / length, straight=False)
    columns = round(2 * np.pi * radius / resolution)
    rows = round(long / resolution) + 1
    stock = Stock(surface, rows, columns, long / (rows - 1), 2 * np.pi / columns)
    return stock, SimpleNamespace(form="finial", surface=surface)


def flange(resolution=0.1):
    """A post of 16 mm with a rim of 32 mm round it, 2 mm thick, its sides level; sharp where they meet."""
    line = np.array([[8.0, 0.0], [8.0, -4.0], [16.0, -4.0], [16.0, -6.0], [8.0, -6.0], [8.0, -10.0]])
    ways = np.diff(line, axis=0) / np.linalg.norm(np.diff(line, axis=0), axis=1)[:, None]
    lengths = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])

    def profile(s):
        k = np.clip(np.searchsorted(lengths, s, side="right") - 1, 0, len(ways) - 1)
        place = line[k] + (s - lengths[k])[:, None] * ways[k]
        return np.stack([place[:, 0], place[:, 1], -ways[k, 1], ways[k, 0]], axis=-1)

    def wall(s):
        radius, _, out, _ = profile(s).T
        return np.where(out > 0, radius, np.inf)

    surface = Round(length=lengths[-1], profile=profile, wall=wall, straight=False)
    columns, rows = round(2 * np.pi * 16 / resolution), round(lengths[-1] / resolution) + 1
    return Stock(surface, rows, columns, lengths[-1] / (rows - 1), 2 * np.pi / columns), SimpleNamespace(
        form="post", surface=surface
    )


def finial():
    stock, piece = pointed()
    depth = np.minimum(flutes(stock), 0.3 * stock.wall).astype(np.float32)
    return Carving(title="finial", piece=piece, stock=stock, depth=depth, sweeps=())


SAMPLES = {
    "lid": lambda: carved(LID, 0.4, wave_rings, "Tide box, lid"),
    "small lid": lambda: carved(LID, 17.5, uncut, "Tide box, lid"),
    "tube": lambda: carved(TUBE, 0.6, flutes, "Tide box, barrel"),
    "post": lambda: carved(POST, 0.5, flutes, "Tide box, foot"),
    "cup": lambda: carved(CUP, 0.5, flutes, "Tide box, cup"),
    "waist": lambda: carved(WAIST, 0.5, flutes, "Tide box, stand"),
    "rattle": lambda: carved(RATTLE, 0.5, flutes, "Tide box, rattle"),
    "finial": finial,
}


def mesh_of(solid):
    """The solid as trimesh has it."""
    return trimesh.Trimesh(solid.vertices, solid.faces, process=False)


def manifold_of(vertices, faces):
    """The mesh as manifold3d has it."""
    return manifold3d.Manifold(manifold3d.Mesh64(np.asarray(vertices, dtype=np.float64), np.asarray(faces, dtype=np.uint64)))


def assert_closed(solid):
    """Closed, outward, one way round everywhere, no triangle without area."""
    mesh = mesh_of(solid)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume > 0
    assert mesh.area_faces.min() > 0
    assert len(set(map(bytes, solid.vertices))) == len(solid.vertices)
    assert abs(mesh.volume - solid.volume) <= 1e-9 * solid.volume


def assert_sound(solid):
    """The same, and a second reader, which shares no code with the first, takes it for a solid as large."""
    assert_closed(solid)
    manifold = manifold_of(solid.vertices, solid.faces)
    assert manifold.status() == manifold3d.Error.NoError
    assert abs(manifold.volume() - solid.volume) <= 1e-9 * solid.volume


if __name__ == "__main__":
    from lobework.targets.stl import render

    for name, sample in SAMPLES.items():
        Path(sys.argv[1], f"{name.replace(' ', '-')}.stl").write_bytes(render(sample()))
