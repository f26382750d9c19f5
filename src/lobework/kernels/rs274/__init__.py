"""Lines of an RS274/NGC program: writing, scanning and interpretation.

The reader and the writer share no code.
"""
