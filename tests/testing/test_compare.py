"""Comparisons say by how much, and where, the worst of many numbers is off."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lobework.testing import Broken, assert_close, worst


def test_the_worst_error_is_reported_with_place_angle_and_both_values():
    at = np.radians([0.0, 45.0, 90.0, 92.5])
    expected = np.array([0.5, 0.25, 1.0, 1.567])
    with pytest.raises(Broken) as told:
        assert_close(expected - [0.0, 1e-5, 0.0, 3.2e-4], expected, 1e-9, at=at)
    assert str(told.value) == "worst error 0.00032 mm at spindle 92.5 deg (sample 3): 1.56668 instead of 1.567"


def test_the_message_starts_with_the_quantity_and_names_unit_and_axis():
    with pytest.raises(Broken) as told:
        assert_close(
            [[1.0, 2.0], [1.0, 5.0]], [[1.0, 2.0], [1.0, 4.0]], 0.5, np.array([0.0, math.pi]), along="cam", unit="", what="slope"
        )
    assert str(told.value) == "slope: worst error 1 at cam 180 deg (sample 1, part 1): 5 instead of 4"


def test_the_error_of_a_single_number_has_no_place():
    found = worst(2.0, 3.0)
    assert (found.error, found.place, found.at) == (1.0, (), None)
    assert found.as_text() == "worst error 1 mm: 2 instead of 3"


@pytest.mark.parametrize("wrong", [math.nan, math.inf, -math.inf])
def test_a_non_finite_number_has_infinite_error(wrong):
    assert worst([0.0, wrong], [0.0, 1.0]).error == math.inf
    with pytest.raises(Broken, match="worst error inf mm at sample 1"):
        assert_close([0.0, wrong], [0.0, 1.0], 1e300)
    with pytest.raises(Broken):
        assert_close([0.0, 1.0], [0.0, wrong], 1e300)


def test_equal_infinities_have_no_error_and_nan_is_always_an_error():
    assert worst([math.inf], [math.inf]).error == 0.0
    assert worst([math.nan], [math.nan]).error == math.inf


def test_empty_arrays_are_equal():
    assert worst([], []).error == 0.0
    assert_close(np.zeros((0, 3)), np.zeros((0, 3)), 0.0)


@pytest.mark.parametrize(
    ("got", "message"),
    [([1.0, 2.0, 3.0], "shape (3,) instead of (2,)"), (["a", "b"], "instead of numbers"), (None, "shape ()")],
)
def test_values_that_cannot_be_compared_are_reported(got, message):
    with pytest.raises(Broken) as told:
        assert_close(got, [1.0, 2.0], 1.0)
    assert message in str(told.value)


def test_an_error_within_tolerance_is_accepted():
    assert_close([1.0, 2.0 + 1e-9], [1.0, 2.0], 1.1e-9)
    assert issubclass(Broken, AssertionError)
