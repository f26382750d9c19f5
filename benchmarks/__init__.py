"""Benchmarks: fast implementations and what they are compared with, timed in one run."""
