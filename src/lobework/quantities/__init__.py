"""Lengths, angles, phases and ratios: units, named tolerances, and how a setting is written, read and checked.

The only room that converts units. Nothing here knows a part of the lathe.
"""
