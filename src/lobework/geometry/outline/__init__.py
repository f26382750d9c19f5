"""Outlines from DXF and SVG drawings; the library that reads a format is imported when the first such file is read."""

from __future__ import annotations

from lobework.geometry.outline.outline import Outline, read_outline

__all__ = ["Outline", "read_outline"]
