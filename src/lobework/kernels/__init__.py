"""Compiled arithmetic on floats and arrays, a folder a subject.

The only importer of numba. Kernels take numbers and arrays, never parts; they refuse nothing and print nothing.
"""
