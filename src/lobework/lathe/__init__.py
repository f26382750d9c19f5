"""The assembled lathe: its mounted chucks, the passes that it cuts, and the settings that it allows.

This package also formats the manual settings in turns of screws, and in holes or notches of wheels. The motion of the lathe
is computed in `lobework.kinematics`.
"""
