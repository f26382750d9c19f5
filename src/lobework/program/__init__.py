"""The moves of the axes in time: blocks within a tolerance, steps, feeds and timing.

These modules are independent of file formats. The proof does not use these modules: it has its own reader of programs.
"""
