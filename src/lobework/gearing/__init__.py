"""Ratios and what makes them: change wheels, screws, dividing wheels, the helix angle.

Exact fractions. Nothing here knows which part of the lathe is driven.
"""
