"""Outlines read from drawings: DXF and SVG, each by a library that is loaded when a file of its kind is asked for."""

from __future__ import annotations

from lobework.geometry.outline.outline import Outline, read_outline

__all__ = ["Outline", "read_outline"]
