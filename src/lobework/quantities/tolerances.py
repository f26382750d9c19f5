"""Every tolerance the library decides geometry by, with what it scales with."""

from __future__ import annotations

from typing import Final

__all__ = [
    "BRIDGE_RAD",
    "CARVED_MM",
    "CHORD_MM",
    "COARSEST_MM",
    "CONTACT_MM",
    "JOIN_MM",
    "JUMP_MM",
    "LARGEST_CAM_MM",
    "PACE_S",
    "PACE_SHARE",
    "RESOLUTION_MM",
    "RIGID",
    "SLOW_SHARE",
    "SMALLEST_CAM_MM",
    "SMALLEST_ROLLER_MM",
    "STACK_MM",
    "STEADY",
    "TABLE_MM",
    "VISIBLE_MM",
    "WAY_SHARE",
]

CONTACT_MM: Final = 1e-9
"""Contact of follower and cam, promised. Absolute: cams are tens to hundreds of millimetres across."""

LARGEST_CAM_MM: Final = 1000.0
"""The largest radius or rise of a cam, and the largest roller: `CONTACT_MM` is a part in 1e12 of it, which arithmetic holds."""

SMALLEST_CAM_MM: Final = 0.01
"""The least that the edge of a cam may stand from its centre, or a face cam's track."""

SMALLEST_ROLLER_MM: Final = 1e-3
"""The smallest roller: a millionth of `LARGEST_CAM_MM`, as finely as a place on the edge is known. What is smaller is a knife."""

TABLE_MM: Final = 1e-10
"""A lift table against the contact it was made from; a tenth of `CONTACT_MM`, so the sum stays inside it."""

CHORD_MM: Final = 2e-3
"""How far a straight move between two samples may stray from the path on the work, unless the job says otherwise."""

BRIDGE_RAD: Final = 1e-6
"""A gap in the contact narrower than this angle on the cam is a touch, not a bridge."""

JOIN_MM: Final = 1e-6
"""Ends of a pass nearer than this on the work are joined."""

JUMP_MM: Final = 1e-4
"""A step of a motion that does not shrink with the time it is given is a jump from this size on. Less is the rounding of inverse
functions near their ends (1.5e-8 rad, at a metre), and is not seen on a lathe."""

RESOLUTION_MM: Final = 0.05
"""From ray to ray of carved work, unless the job says otherwise: finer than the eye parts at arm's length."""

RIGID: Final = 1e-9
"""How far the columns of a chuck's rotation may be from square and of length one: a micron in a kilometre."""

STACK_MM: Final = 1e-11
"""A stack of chucks as polynomials against the chucks themselves, at the work; a tenth of what two traces may differ."""

CARVED_MM: Final = 2e-4
"""A backend against the plain one, at each ray, unless it states its own accuracy: single precision, deep in the work."""

COARSEST_MM: Final = 0.01
"""The worst accuracy that a backend may state: a fifth of `RESOLUTION_MM`, so that it is not seen in the carved work."""

STEADY: Final = 0.02
"""The least part of the contact's turn round the cam that a rocking headstock's cam must itself turn. Without unit.

Where it is less, the contact runs more than fifty times as fast as the cam and the headstock as good as jumps: the rounding of an
angle of 1000 rad, 1e-13, times fifty times a slope of 200 mm a radian stays within `CONTACT_MM`."""

VISIBLE_MM: Final = 0.05
"""How far a wave may be from its place on the work before it is seen, unless said otherwise; as `RESOLUTION_MM`."""

PACE_SHARE: Final = 0.005
"""Of a speed that a job asks for, of the spindle or of the way in: how much faster a program may go, for its figures."""

WAY_SHARE: Final = 0.05
"""The same of a feed over the work: a path that bends sharply differs so much in length when it is sampled coarsely."""

SLOW_SHARE: Final = 0.25
"""Of a time that a job and its lathe ask for: by how much longer a program may take before it is found slow."""

PACE_S: Final = 1.0
"""Added to that, in seconds: a second that one cut takes longer is lost among those of setting off and stopping."""
