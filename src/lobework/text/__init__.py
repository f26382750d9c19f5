"""Text functions: clean names and messages for a line, a terminal or a table cell, short representations, safety cautions.

The package computes nothing and does not depend on any part of the lathe.
"""
