"""All geometric tolerances of the library, each with the quantity to which it is related."""

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
"""Guaranteed accuracy of the contact of follower and cam. Absolute: cams are tens to hundreds of millimetres in diameter."""

LARGEST_CAM_MM: Final = 1000.0
"""Largest radius or rise of a cam, and largest roller: `CONTACT_MM` is 1e-12 of it, which double precision can represent."""

SMALLEST_CAM_MM: Final = 0.01
"""Smallest distance of a cam's edge, or of a face cam's track, from its centre."""

SMALLEST_ROLLER_MM: Final = 1e-3
"""Smallest roller: a millionth of `LARGEST_CAM_MM`, the accuracy of a position on the edge. Anything smaller is a knife."""

TABLE_MM: Final = 1e-10
"""Maximum deviation of a lift table from the contact that it tabulates; a tenth of `CONTACT_MM`, so that the sum meets that."""

CHORD_MM: Final = 2e-3
"""Maximum deviation of a straight move between two samples from the path on the work. Default of a job's setting."""

BRIDGE_RAD: Final = 1e-6
"""A gap in the contact narrower than this angle on the cam counts as contact, not as a bridge."""

JOIN_MM: Final = 1e-6
"""Ends of a pass closer than this on the work are joined."""

JUMP_MM: Final = 1e-4
"""Smallest step of a motion that counts as a jump, if it does not shrink with the interval. Smaller steps are rounding errors of
inverse functions near the ends of their ranges (1.5e-8 rad at a radius of one metre) and are invisible on a lathe."""

RESOLUTION_MM: Final = 0.05
"""Spacing of the rays of carved work: finer than the eye resolves at arm's length. Default of a job's setting."""

RIGID: Final = 1e-9
"""Maximum deviation of a chuck's rotation matrix from an orthonormal one: a micron in a kilometre."""

STACK_MM: Final = 1e-11
"""Maximum deviation of a stack of chucks as polynomials from the chucks themselves, at the work; a tenth of the maximum
difference between two traces."""

CARVED_MM: Final = 2e-4
"""Maximum deviation of a carving backend from the plain one, at each ray: single precision, deep in the work. A backend may
state its own accuracy."""

COARSEST_MM: Final = 0.01
"""Worst accuracy that a backend may state: a fifth of `RESOLUTION_MM`, so that it is invisible in the carved work."""

STEADY: Final = 0.02
"""Smallest ratio of the cam's rotation to the movement of the contact round the cam, on a rocking headstock. Without unit.

With a smaller ratio the contact moves more than fifty times as fast as the cam, and the headstock almost jumps. At the limit,
the rounding error of an angle of 1000 rad, 1e-13, times fifty times a slope of 200 mm/rad stays within `CONTACT_MM`."""

VISIBLE_MM: Final = 0.05
"""Smallest visible displacement of a wave on the work; the same as `RESOLUTION_MM`. Default where a function takes a width."""

PACE_SHARE: Final = 0.005
"""Maximum excess of a program's spindle or plunge speed over that of the job, as a share of it: program numbers are rounded."""

WAY_SHARE: Final = 0.05
"""The same for the feed over the work, where the length of a sharply curved path depends on the density of the samples."""

SLOW_SHARE: Final = 0.25
"""Maximum excess of a program's time over the time computed from the job and its lathe, as a share of it. A program that takes
longer is reported as slow."""

PACE_S: Final = 1.0
"""Time added to that limit, s: one more second in a cut is not significant beside the starts and stops."""
