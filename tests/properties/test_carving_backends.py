"""Every installed way of carving, held to the plain one on jobs drawn to lean towards the degenerate."""

from __future__ import annotations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from lobework.holder import CuttingFrame, DrillingSpindle, EccentricFrame, FixedTool
from tests.carving import BACKENDS, JUDGE, able, assert_same, carved, carvings, faces, rounds
from tests.strategies import numbers

OTHERS = tuple(backend for backend in BACKENDS if backend.name != JUDGE.name)
AGREE_MM = 2e-4
held = {
    "drilling spindle": st.just(DrillingSpindle()),
    "fixed": st.just(FixedTool()),
    "eccentric frame": st.builds(EccentricFrame, radius=st.one_of(st.just(0.5), numbers(0.3, 3.0))),
    "cutting frame": st.builds(
        CuttingFrame, radius=numbers(2.5, 15.0), angle_deg=st.one_of(st.just(0.0), numbers(-180.0, 180.0))
    ),
}
surfaces = {"face": faces, "round": rounds}


def compare(backend, stock, *sweeps):
    assert_same(
        lambda shift: carved(JUDGE, stock, *sweeps, shift=shift),
        lambda shift: carved(backend, stock, *sweeps, shift=shift),
        within=AGREE_MM,
    )


@pytest.mark.parametrize("backend", OTHERS, ids=[backend.name for backend in OTHERS])
@pytest.mark.parametrize("surface", surfaces)
@pytest.mark.parametrize("holder", held)
@settings(max_examples=15)
@given(data=st.data())
def test_every_backend_cuts_as_the_judge_does(backend, surface, holder, data):
    stock, sweeps = data.draw(carvings(held=held[holder], of=surfaces[surface]))
    assume(able(backend, stock, *sweeps))
    compare(backend, stock, *sweeps)
