"""Pictures and models of a job: the drawing in true millimetres, the relief of the carved work, and its solid of triangles.

These results have no file format; `lobework.targets` writes the files.
"""
