"""What everything that takes an array promises of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

import numpy as np

from lobework.testing.compare import Broken, assert_close

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

    Asks = Mapping[str, Callable[[Array], Array]]

__all__ = ["each_alone", "finite_of_shape", "leaves_alone", "same_again"]


def finite_of_shape(what: str, given: object, shape: tuple[int, ...]) -> None:
    """Raise unless an array of finite float64 in this shape was given."""
    if not isinstance(given, np.ndarray):
        raise Broken(f"{what}: {type(given).__name__} where a numpy array is expected")
    if given.shape != shape:
        raise Broken(f"{what}: shape {given.shape} where {shape} is expected")
    if given.dtype != np.float64:
        raise Broken(f"{what}: {given.dtype} where float64 is expected")
    if not np.isfinite(given).all():
        place = tuple(int(each[0]) for each in np.nonzero(~np.isfinite(given)))
        raise Broken(f"{what}: {given[place]} at sample {place[0] if place else 0}; it must be finite")


def each_alone(asks: Asks, at: Array, within: float, *, along: str) -> int:
    """Try that many places at once, in any order, give what each place gives by itself.

    Whatever keeps an answer for the next question must know all of the array by which it finds it again: not how long it is
    and where it ends alone, nor where it lies in memory.
    """
    drawn = np.random.default_rng(0)
    order = drawn.permutation(at.size)
    inner = np.concatenate([[0], 1 + drawn.permutation(max(at.size - 2, 0)), [at.size - 1]])[: at.size]
    for what, ask in asks.items():
        together = ask(at.copy())
        one_by_one = np.concatenate([ask(at[k : k + 1].copy()) for k in range(at.size)])
        assert_close(together, one_by_one, within, at, along=along, what=f"{what}, all at once against one by one")
        assert_close(ask(at[order]), together[order], within, at[order], along=along, what=f"{what}, in another order")
        ask(at.copy())
        told = "between the same first and last place, in another order"
        assert_close(ask(at[inner]), together[inner], within, at[inner], along=along, what=f"{what}, {told}")
        written = at.copy()
        ask(written)
        written[:] = at[order]
        told = "once other places have been written to the same array"
        assert_close(ask(written), together[order], within, written, along=along, what=f"{what}, {told}")
        apart = np.repeat(at, 2)[::2]
        assert_close(ask(apart), together, within, at, along=along, what=f"{what}, of every other place of an array")
    return 5 * len(asks) * at.size


def leaves_alone(asks: Asks, at: Array) -> int:
    """Try that what is given is not written to."""
    for what, ask in asks.items():
        given = at.copy()
        ask(given)
        if not np.array_equal(given, at):
            raise Broken(f"{what}: it changes the angles that it is given; work on a copy")
        given.flags.writeable = False
        ask(given)
    return 2 * len(asks)


def same_again(asks: Asks, at: Array) -> int:
    """Try that the same places give the same numbers again, and that an answer is not written over by the next."""
    for what, ask in asks.items():
        first = ask(at.copy())
        kept = first.copy()
        ask(at[::-1] + 0.1)
        if not np.array_equal(first, kept):
            raise Broken(f"{what}: the answer changes when something else is asked; return an array of its own each time")
        if not np.array_equal(ask(at.copy()), kept):
            raise Broken(f"{what}: the same angles give other numbers the second time")
    return 2 * len(asks)
