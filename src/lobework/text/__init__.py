"""Text functions: removal of characters that are unsafe to print, short representations of objects, and safety cautions.

The package computes nothing and does not depend on any part of the lathe.
"""
