"""Files of results with a chosen name, format and size, and what a notebook shows of a result.

Here formats and sizes are chosen. The pictures come from `lobework.render`, and the bytes of the files from `lobework.targets` or
from a library of the format.
"""
