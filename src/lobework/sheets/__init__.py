"""Texts for the operator at the lathe: settings in order, zeros, positive directions, and the description of a lathe.

These modules know no file format; `lobework.targets` writes the files.
"""
