"""The parts of a rose engine: cams, followers, chucks, cutters, slides, the work and what turns them.

Frozen dataclasses that do not know each other, and the protocols that a part of your own must keep. How parts are put
together is in `lobework.lathe`.
"""
