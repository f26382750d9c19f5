"""Whether a job can be cut: findings on passes, on the cutting frame, on jumps, and on the work itself.

Checks find and do not refuse; what refuses is in the rooms below.
"""
