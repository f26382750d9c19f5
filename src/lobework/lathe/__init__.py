"""The assembled lathe: what is mounted on it, the passes cut on it, and what can be set on it.

What is set by hand is said here in units of screws, wheels and holes. How the lathe moves is in `lobework.kinematics`.
"""
