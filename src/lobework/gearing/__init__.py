"""Gear ratios, change wheels, screws, dividing wheels and helix angles.

Ratios are exact fractions. The package does not depend on which part of the lathe is driven.
"""
