"""The assembled lathe: its mounted chucks, the passes that it cuts, and the settings that it allows.

Manual settings are formatted here in units of screws, wheels and holes. The motion of the lathe is in `lobework.kinematics`.
"""
