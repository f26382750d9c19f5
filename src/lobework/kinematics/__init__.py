"""How the lathe moves: contact of follower and cam, motion of the headstock and slides, the path of the tip on the work.

Driven by turns of the spindle; nothing here reads a clock or knows a program.
"""
