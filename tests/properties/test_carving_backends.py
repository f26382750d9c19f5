"""Every installed way of carving, held to the plain one on jobs drawn to lean towards the degenerate."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.carving import BACKENDS, JUDGE, assert_same, carved, carvings, holders_by_kind, surfaces
from tests.search import examples

AGREE_MM = 2e-4
KINDS = [
    pytest.param(backend, {surface, holder, *({"leaning"} & backend.can)}, id=f"{backend.name}, {surface}, {holder}")
    for backend in BACKENDS
    if backend.name != JUDGE.name
    for surface in surfaces
    for holder in holders_by_kind
    if {surface, holder} <= backend.can
]


@pytest.mark.parametrize(("backend", "kind"), KINDS)
@settings(max_examples=examples(10))
@given(data=st.data())
def test_every_backend_agrees_with_the_reference(backend, kind, data):
    stock, sweeps = data.draw(carvings(frozenset(kind)))
    assert_same(
        lambda shift: carved(JUDGE, stock, *sweeps, shift=shift),
        lambda shift: carved(backend, stock, *sweeps, shift=shift),
        within=AGREE_MM,
    )
