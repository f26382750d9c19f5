"""Solids of carved work, as triangle meshes."""

from __future__ import annotations

from lobework.render.solid.solid import WITHIN_MM, Solid, solid_of

__all__ = ["WITHIN_MM", "Solid", "solid_of"]
