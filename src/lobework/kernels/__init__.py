"""Compiled and plain arithmetic on floats and arrays; no classes of the trade in here."""
