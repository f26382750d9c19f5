"""Lengths, angles, phases and ratios: units, named tolerances, and the reading, formatting and checking of settings.

Units are converted only in this package. It does not depend on any part of the lathe.
"""
