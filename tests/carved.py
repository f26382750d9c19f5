"""Work carved by closed forms, with no backend: depths are written down, not cut."""

from __future__ import annotations

import numpy as np

from lobework.carve.carving import Carving
from lobework.carve.stock import stock_of
from lobework.parts.piece import Barrel, Disc, Turned


def carved(piece, depth_at, resolution=0.1, title="Tide box"):
    """Return a carving whose depth, mm, is ``depth_at(x, y)`` on a face, ``depth_at(s, angle)`` on a round surface."""
    stock = stock_of(piece, resolution)
    if isinstance(piece, Disc):
        x, y = np.meshgrid(stock.column_positions, stock.row_positions)
        depth = np.where(stock.inside, depth_at(x, y), 0.0)
    else:
        along, angle = np.meshgrid(stock.row_positions, stock.column_positions, indexing="ij")
        depth = depth_at(along, angle) + np.zeros(stock.shape)
    return Carving(title=title, piece=piece, stock=stock, depth=depth.astype(np.float32), sweeps=())


def disc(depth_at, resolution=0.1, **given):
    given = {"diameter": 60.0, "thickness": 6.0, "material": "boxwood"} | given
    return carved(Disc(**given), depth_at, resolution)


def barrel(depth_at, resolution=0.2, **given):
    given = {"diameter": 40.0, "length": 50.0, "bore": 32.0, "material": "blackwood"} | given
    return carved(Barrel(**given), depth_at, resolution)


def turned(depth_at, resolution=0.2, hollow=()):
    profile = ((0.0, 17.0), (-25.0, 26.0), (-60.0, 12.0), (-80.0, 20.0))
    return carved(Turned(profile=profile, hollow=hollow, material="walnut"), depth_at, resolution)


def ring(radius, depth):
    """Return a 90 degree groove round the middle of a face."""
    return lambda x, y: np.maximum(0.0, depth - np.abs(np.hypot(x, y) - radius))


def uncut(a, b):
    return np.zeros_like(a)
