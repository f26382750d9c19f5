"""Compiled arithmetic on floats and arrays, with one folder for each subject.

No other package imports numba. Kernels take numbers and arrays, never parts; they do not check their arguments and print nothing.
"""
