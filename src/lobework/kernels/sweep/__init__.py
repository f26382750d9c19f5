"""Kernels that deepen a grid of depths by the volume that a cutter sweeps along its path, tile by tile."""
