"""Run time of a compiled contact table, compared with the plain implementation."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.measure import medians
from lobework import Roller, Wave
from lobework.kinematics.contact import touch_at

PAIRS = {
    "four waves, 3 mm roller": (Wave(lobes=4, base_radius=62.0, rise=5.0), Roller(3.0)),
    "twenty-four waves, 3 mm roller": (Wave(lobes=24, base_radius=62.0, rise=2.0), Roller(3.0)),
    "four waves, 12 mm roller": (Wave(lobes=4, base_radius=62.0, rise=5.0), Roller(12.0)),
}


@pytest.mark.parametrize("name", PAIRS)
def test_contact(name, benchmark, claims):
    cam, follower = PAIRS[name]
    phi = np.linspace(0, 2 * np.pi, 4096, endpoint=False)
    compiled, plain = (lambda: touch_at(cam, follower, phi, backend="compiled")), (lambda: touch_at(cam, follower, phi))
    fast, slow = medians(benchmark, compiled, plain, runs=9)
    max_difference = float(np.abs(compiled().reach - plain().reach).max())
    measured = f"{1e3 * fast:.2f} ms, {slow / fast:.0f} times plain, within {max_difference:.0e} mm"
    claims.add_requirement(f"contact table of 4096, {name}", measured, "under 1 ms", fast < 1e-3)
