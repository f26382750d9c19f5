"""The compiled contact and the plain one give one answer."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from lobework.kinematics.contact import touch_at
from lobework.parts.cam import Scallop
from lobework.parts.follower import Roller
from tests.search import examples
from tests.strategies import edge_cams, face_cams, followers_for


@pytest.mark.parametrize("count", [1, 700], ids=["a few directions", "a table of them"])
@settings(max_examples=examples(40))
@given(data=st.data(), cam=st.one_of(edge_cams, face_cams))
def test_compiled_and_plain_contact_agree(count, data, cam):
    """A few directions are each tried all around; many are served from a grid of them, away from leaps and corners."""
    follower = data.draw(followers_for(cam))
    phi = np.random.default_rng(7).uniform(-10, 10, count)
    compiled, plain = touch_at(cam, follower, phi, backend="compiled"), touch_at(cam, follower, phi)

    assert_allclose(compiled.reach, plain.reach, rtol=0, atol=1e-9)


def test_a_direction_need_not_be_within_one_turn():
    """None of these stands just where the contact leaps over a hollow, and both sides of it would do."""
    cam, turn = Scallop(lobes=5, base_radius=50.0, rise=3.0), 2 * np.pi
    phi = np.linspace(0, turn, 600, endpoint=False) + 1e-3
    here = touch_at(cam, Roller(4.0), phi, backend="compiled")
    later = touch_at(cam, Roller(4.0), phi + 3 * turn, backend="compiled")

    assert_allclose(later.reach, here.reach, rtol=0, atol=1e-12)
    assert_allclose(later.psi - 3 * turn, here.psi, rtol=0, atol=1e-6)
