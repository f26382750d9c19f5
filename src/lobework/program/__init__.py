"""The moves of the axes in time: blocks within a tolerance, steps, feeds and timing.

These modules know no file format. The proof is independent of them: it reads programs without using this code.
"""
