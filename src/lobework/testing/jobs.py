"""Small jobs for tests of targets and checks; each job tests a different difficulty."""

from __future__ import annotations

import functools
from dataclasses import replace
from fractions import Fraction
from typing import Final

from lobework.jobs.job import Job, Traces
from lobework.lathe.passes import Pass
from lobework.parts.cam import Scallop, Wave
from lobework.parts.cutter import Ball, Vee
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife, Roller
from lobework.parts.piece import Barrel, Disc
from lobework.parts.slide import At
from lobework.quantities.units import LengthUnit, Phase
from lobework.testing.benches import fixed, sliding

__all__ = ["JOBS", "traced"]

_DISC: Final = Disc(diameter=24.0, thickness=3.0)
_HALF: Final = Phase(lobes=Fraction(1, 2))
_WAVE: Final = Drive(Wave(lobes=6, base_radius=40.0, rise=1.5), ratio=Fraction(1, 2), follower=Roller(3.0), phase=_HALF)

JOBS: Final[dict[str, Job]] = {
    "one ring": Job(
        title="One ring",
        lathe=fixed(),
        piece=_DISC,
        cutter=Vee(angle_deg=90.0, width=3.0),
        passes=[Pass(name="ring", at=At(x=8.0, depth=0.4))],
        chord=0.02,
        resolution=0.5,
    ),
    "waves and a plunge": Job(
        title="Tide box: “waves” & <a plunge>, (1/2)",
        lathe=sliding(),
        piece=_DISC,
        cutter=Ball(radius=1.0),
        passes=[
            Pass(turns=Fraction(2), at=At(x=6.0, depth=0.3), cams=(_WAVE,), name="waves").series(
                3, {"x": -1.0, "phase": "1/3 lobe"}
            ),
            Pass(turns=Fraction(0), at=At(x=9.5, depth=0.6)),
        ],
        chord=0.02,
        resolution=0.5,
    ),
    "a barrel": Job(
        title="",
        lathe=sliding(),
        piece=Barrel(diameter=20.0, length=16.0, bore=14.0),
        cutter=Vee(angle_deg=90.0, width=3.0),
        passes=[
            Pass(
                turns=Fraction(3, 2),
                at=At(x=10.0, z=-3.0, depth=0.5),
                travel=At(z=-8.0),
                cams=(Drive(Scallop(lobes=4, base_radius=40.0, rise=0.5), follower=Knife()),),
            )
        ],
        chord=0.02,
        resolution=0.7,
    ),
}
"""The jobs by their names; all are in mm."""


@functools.cache
def traced(name: str, units: LengthUnit = "mm") -> Traces:
    """Return the traces of the job ``name`` in `JOBS`, in "mm" or "inch".

    The traces are computed once, and their arrays are read-only.
    """
    traces = replace(JOBS[name], units=units).trace()
    for array in (array for each in traces for array in (each.x, each.y, each.z)):
        array.flags.writeable = False
    return traces
