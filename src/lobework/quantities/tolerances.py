"""All geometric tolerances of the library, each with the reason for its value."""

from __future__ import annotations

from typing import Final

__all__ = [
    "BRIDGE_RAD",
    "CARVED_MM",
    "CHORD_MM",
    "COARSEST_MM",
    "CONTACT_MM",
    "FEED_SHARE",
    "JOIN_MM",
    "JUMP_MM",
    "LARGEST_CAM_MM",
    "LEAST_STEADINESS",
    "PACE_SHARE",
    "RESOLUTION_MM",
    "RIGID",
    "SLOW_MARGIN_S",
    "SLOW_SHARE",
    "SMALLEST_CAM_MM",
    "SMALLEST_ROLLER_MM",
    "STACK_MM",
    "TABLE_MM",
    "VISIBLE_MM",
]

CONTACT_MM: Final = 1e-9
"""Guaranteed absolute accuracy of the contact of follower and cam: cams are tens to hundreds of millimetres in diameter."""

LARGEST_CAM_MM: Final = 1000.0
"""Largest radius or rise of a cam, and largest roller: `CONTACT_MM` is 1e-12 of this size, which double precision can
represent."""

SMALLEST_CAM_MM: Final = 0.01
"""Smallest distance of a cam's edge, or of a face cam's track, from its centre."""

SMALLEST_ROLLER_MM: Final = 1e-3
"""Smallest radius of a roller: a millionth of `LARGEST_CAM_MM`, which is the accuracy of a position on the edge. For a sharper
edge, use a knife."""

TABLE_MM: Final = 1e-10
"""Maximum deviation of a lift table from the contact that it tabulates; a tenth of `CONTACT_MM`, so that the total error stays
within `CONTACT_MM`."""

CHORD_MM: Final = 2e-3
"""Maximum deviation of a straight move between two samples from the path on the work. Default of the job's setting ``chord``."""

BRIDGE_RAD: Final = 1e-6
"""A gap in the contact narrower than this angle on the cam counts as contact, not as a bridge."""

JOIN_MM: Final = 1e-6
"""The ends of a pass are joined if the distance between them on the work is smaller than this."""

JUMP_MM: Final = 1e-4
"""Smallest change of a motion that counts as a jump, if the change does not become smaller as the interval becomes narrower.

Smaller changes are rounding errors of inverse functions near the ends of their ranges (1.5e-8 rad at a radius of one metre) and
are invisible on a lathe."""

RESOLUTION_MM: Final = 0.05
"""Spacing of the rays of carved work: smaller than the eye can resolve at arm's length. Default of the job's setting
``resolution``."""

RIGID: Final = 1e-9
"""Maximum deviation of a chuck's rotation matrix from an orthonormal matrix: a micron in a kilometre."""

STACK_MM: Final = 1e-11
"""Maximum deviation, at the work, of the polynomials for a stack of chucks from the motion of the chucks; a tenth of the maximum
difference between two traces."""

CARVED_MM: Final = 2e-4
"""Maximum deviation of a carving backend from the plain backend, at each ray: the accuracy of single precision deep in the work.
A backend may state its own accuracy."""

COARSEST_MM: Final = 0.01
"""Worst accuracy that a backend may state: a fifth of `RESOLUTION_MM`, so that it is invisible in the carved work."""

LEAST_STEADINESS: Final = 0.02
"""Smallest ratio of the cam's angular speed to that of the contact round the cam, on a rocking headstock; dimensionless.

With a smaller ratio the contact moves more than fifty times as fast as the cam, and the headstock almost jumps. At the limit, the
rounding error of an angle of 1000 rad is 1e-13 rad; at a slope of 200 mm/rad it causes an error of 50 * 200 * 1e-13 mm, which is
`CONTACT_MM`."""

VISIBLE_MM: Final = 0.05
"""Smallest visible displacement of a wave on the work; the same as `RESOLUTION_MM`. Default of functions with
a parameter ``width``."""

PACE_SHARE: Final = 0.005
"""Maximum excess of a program's spindle or plunge speed over the speed of the job, as a fraction of the speed of the job. An
excess is possible because the numbers in a program are rounded."""

FEED_SHARE: Final = 0.05
"""Maximum excess of a program's feed (the speed of the cutter over the work), as a fraction of the feed of the job. This limit is
larger than `PACE_SHARE`, because the length of a sharply curved path depends on the density of the samples."""

SLOW_SHARE: Final = 0.25
"""Maximum excess of a program's time over the time computed from the job and its lathe, as a fraction of the computed time.

A program that takes longer is reported as slow."""

SLOW_MARGIN_S: Final = 1.0
"""Time, s, that is added to the limit of `SLOW_SHARE`: one second more in a cut is insignificant compared with the starts and
stops."""
