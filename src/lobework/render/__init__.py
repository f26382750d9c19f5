"""A job as a picture: the drawing in true millimetres, the carved work in light, the carved work as triangles.

Format-free; `lobework.targets` writes the files.
"""
