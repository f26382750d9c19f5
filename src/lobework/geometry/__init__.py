"""Rigid motions, surfaces, profiles, cutter outlines, and outlines read from DXF and SVG drawings.

All shapes are in millimetres. The package does not depend on any part of the lathe.
"""
