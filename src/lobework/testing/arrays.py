"""Tests of functions that take an array."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

import numpy as np

from lobework.testing.compare import Broken, assert_close

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

    Functions = Mapping[str, Callable[[Array], Array]]

__all__ = ["each_alone", "finite_of_shape", "leaves_alone", "same_again"]


def finite_of_shape(what: str, given: object, shape: tuple[int, ...]) -> None:
    """Raise `Broken` unless ``given`` is an array of finite float64 numbers with the shape ``shape``."""
    if not isinstance(given, np.ndarray):
        raise Broken(f"{what}: {type(given).__name__} instead of a numpy array")
    if given.shape != shape:
        raise Broken(f"{what}: shape {given.shape} instead of {shape}")
    if given.dtype != np.float64:
        raise Broken(f"{what}: {given.dtype} instead of float64")
    if not np.isfinite(given).all():
        place = tuple(int(each[0]) for each in np.nonzero(~np.isfinite(given)))
        raise Broken(f"{what}: {given[place]} at sample {place[0] if place else 0}; every result must be finite")


def each_alone(functions: Functions, at: Array, within: float, *, along: str) -> int:
    """Test that the result for one element does not depend on the other elements of the array; return the number of cases.

    A function that caches its results must identify an array by all values of the array: the length with the first and last
    value is not sufficient, and neither is the address in memory.
    """
    drawn = np.random.default_rng(0)
    order = drawn.permutation(at.size)
    inner = np.concatenate([[0], 1 + drawn.permutation(max(at.size - 2, 0)), [at.size - 1]])[: at.size]
    for what, function in functions.items():
        whole = function(at.copy())
        one_by_one = np.concatenate([function(at[k : k + 1].copy()) for k in range(at.size)])
        assert_close(whole, one_by_one, within, at, along=along, what=f"{what}, all at once compared with one by one")
        assert_close(function(at[order]), whole[order], within, at[order], along=along, what=f"{what}, in another order")
        function(at.copy())
        case = "with the inner elements in another order"
        assert_close(function(at[inner]), whole[inner], within, at[inner], along=along, what=f"{what}, {case}")
        written = at.copy()
        function(written)
        written[:] = at[order]
        case = "after other values are written to the same array"
        assert_close(function(written), whole[order], within, written, along=along, what=f"{what}, {case}")
        strided = np.repeat(at, 2)[::2]
        assert_close(function(strided), whole, within, at, along=along, what=f"{what}, for a strided array")
    return 5 * len(functions) * at.size


def leaves_alone(functions: Functions, at: Array) -> int:
    """Test that no function writes to its argument; return the number of cases."""
    for what, function in functions.items():
        given = at.copy()
        function(given)
        if not np.array_equal(given, at):
            raise Broken(f"{what}: the function changes its argument array; work on a copy")
        given.flags.writeable = False
        function(given)
    return 2 * len(functions)


def same_again(functions: Functions, at: Array) -> int:
    """Test that equal arguments give equal results, and that the next call does not overwrite an earlier result."""
    for what, function in functions.items():
        first = function(at.copy())
        kept = first.copy()
        function(at[::-1] + 0.1)
        if not np.array_equal(first, kept):
            raise Broken(f"{what}: the result changes with the next call; return a new array each time")
        if not np.array_equal(function(at.copy()), kept):
            raise Broken(f"{what}: equal arguments give other numbers the second time")
    return 2 * len(functions)
