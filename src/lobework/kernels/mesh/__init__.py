"""Triangles and polylines: decimation, self-intersection and distance."""
