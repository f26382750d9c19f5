"""Checks of a job: findings on passes, on the cutting frame, on jumps of the path, and on the work itself.

Checks return findings and raise no errors; errors are raised by the packages that this one imports.
"""
