"""Triangles and polylines: simplified, tested for crossing, and measured for distance."""
