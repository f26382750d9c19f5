"""Carving: the removal of wood by swept cutters, computed by interchangeable backends."""

from __future__ import annotations

from lobework.carve.backend import Ability, Backend, Progress
from lobework.carve.carving import Carving
from lobework.carve.stock import Stock, stock_of
from lobework.carve.sweep import Sweep, sweep_of

__all__ = ["Ability", "Backend", "Carving", "Progress", "Stock", "Sweep", "stock_of", "sweep_of"]
