"""Rigid motions, surfaces, profiles, a cutter's outline, and outlines read from DXF and SVG.

Shapes in millimetres. Nothing here turns, and nothing here knows a spindle.
"""
