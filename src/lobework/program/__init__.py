"""The moves of the axes in time: blocks within a tolerance, steps, feeds and timing.

Format-free, and separate from the proof, which reads programs without using any of this.
"""
