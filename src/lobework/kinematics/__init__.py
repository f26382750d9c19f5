"""Kinematics of the lathe: contact of cam and follower, motion of headstock and slides, path of the tip on the work.

The independent variable is the turns of the spindle. These modules know neither time nor programs.
"""
