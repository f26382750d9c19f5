"""Gear ratios, change wheels, screws, dividing wheels and helix angles.

Ratios are exact fractions. The package does not depend on the part of the lathe that is driven.
"""
