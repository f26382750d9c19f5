"""A cutter swept along a path into a grid of depths, and the tiles in which that is done."""
