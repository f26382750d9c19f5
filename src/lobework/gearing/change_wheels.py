"""Trains of change wheels for a ratio: the cheapest exact train, or the one nearest to the ratio.

`train_for` uses the wheels that the user owns, each of them once. `train_to_cut` may use any size in a range, for wheels that
are yet to be made.
The cheapest train has the fewest pairs and, for that number of pairs, the fewest teeth in total. Among equally cheap trains the
train nearest to the ratio is chosen.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import combinations, combinations_with_replacement, islice, permutations
from typing import TYPE_CHECKING, Final, NamedTuple

from lobework.errors import SettingError, TooLargeError, is_whole, require
from lobework.gearing.stern_brocot import fractions_between
from lobework.quantities.units import plain_number
from lobework.quantities.units import ratio as exactly

__all__ = ["MOST_PAIRS", "NoTrainError", "Train", "train_for", "train_to_cut", "trains_for"]

MOST_PAIRS: Final = 6
_MOST_TEETH: Final = 10_000
_MOST_SIDES: Final = 200_000
_MOST_FRACTIONS: Final = 50_000
_MOST_COMMON_FACTORS: Final = 500


class NoTrainError(SettingError):
    """A ratio that no train of wheels approximates closely enough."""


@dataclass(frozen=True, slots=True)
class Train:
    """A compound gear train: each driver meshes with its driven wheel, whose shaft also carries the next driver.

    Idlers determine the direction of rotation of the last wheel; they do not change the ratio.

    Parameters
    ----------
    drivers, driven : tuple of int
        Numbers of teeth of the driving and of the driven wheels; both tuples have the same length.

    References
    ----------
    Brown & Sharpe, *Practical Treatise on Milling and Milling Machines*, p. 62: drivers may be interchanged with each other,
    and driven wheels with each other, but a driver must not be interchanged with a driven wheel.

    Examples
    --------
    >>> train = Train((100, 32), (24, 48))
    >>> print(train)
    100 drives 24, 32 drives 48
    >>> train.ratio, train.teeth, len(train.arrangements())
    (Fraction(25, 9), 204, 4)
    """

    drivers: tuple[int, ...]
    driven: tuple[int, ...]

    if TYPE_CHECKING:

        def __init__(
            self,
            drivers: Iterable[int],
            driven: Iterable[int],
        ) -> None: ...

    def __post_init__(self) -> None:
        for name in ("drivers", "driven"):
            object.__setattr__(self, name, _wheels(name, getattr(self, name)))
        same = len(self.drivers) == len(self.driven)
        require(same, "driven", self.driven, f"as many wheels as there are drivers, {len(self.drivers)}")

    def __str__(self) -> str:
        return ", ".join(f"{driver} drives {driven}" for driver, driven in zip(self.drivers, self.driven, strict=True))

    @property
    def ratio(self) -> Fraction:
        """Turns of the last wheel per turn of the first wheel."""
        return Fraction(math.prod(self.drivers), math.prod(self.driven))

    @property
    def teeth(self) -> int:
        """Total number of teeth of all wheels."""
        return sum(self.drivers) + sum(self.driven)

    @property
    def pairs(self) -> int:
        """Number of pairs of wheels."""
        return len(self.drivers)

    def relative_error(self, ratio: Fraction) -> Fraction:
        """Return the relative error of the train's ratio; negative if the train is slower than ``ratio``."""
        return self.ratio / abs(exactly(ratio)) - 1

    def arrangements(self) -> tuple[Train, ...]:
        """Return the trains with all orders of the drivers and of the driven wheels; all these trains have the same ratio.

        >>> [str(each) for each in Train((20, 30), (40, 50)).arrangements()][:2]
        ['20 drives 40, 30 drives 50', '20 drives 50, 30 drives 40']
        """
        orders = (dict.fromkeys(permutations(side)) for side in (self.drivers, self.driven))
        drivers, driven = (list(each) for each in orders)
        return tuple(Train(one, other) for one in drivers for other in driven)


def train_for(ratio: Fraction, wheels: Iterable[int], pairs: int = 2, within: Fraction = Fraction(0)) -> Train:
    """Return the cheapest train of owned wheels whose relative error is at most ``within``; if there is none, the nearest train.

    Parameters
    ----------
    ratio : Fraction, or what `lobework.quantities.units.ratio` reads
        Turns of the last wheel per turn of the first wheel, not zero. The sign is ignored, because idlers determine the
        direction.
    wheels : iterable of int
        Number of teeth of each wheel that you own. If you own two wheels with the same number, list the number twice.
    pairs : int
        Maximum number of pairs of wheels, 1 to 6.
    within : Fraction, or what `lobework.quantities.units.ratio` reads
        Maximum relative error of the ratio. Default: the ratio must be exact.

    Returns
    -------
    Train
        The best of all trains of these wheels; ``train.relative_error(ratio)`` is its error.

    Raises
    ------
    SettingError
        If the ratio is zero, a number of teeth is invalid, or there are fewer than two wheels.
    TooLargeError
        If there are too many combinations of this number of pairs to try all of them.

    Examples
    --------
    >>> owned = [24, 24, 28, 32, 40, 44, 48, 56, 64, 72, 86, 100]
    >>> print(train_for(Fraction(25, 9), owned))
    32 drives 24, 100 drives 48
    >>> print(train_for(Fraction(2, 3), owned))
    32 drives 48
    """
    owned = _owned_wheels(wheels)
    ratio, pairs, within = _exact_query(ratio, pairs, within)
    return _cheapest(owned, ratio, pairs, within) or _nearest(owned, ratio, pairs)


def trains_for(ratio: Fraction, wheels: Iterable[int], pairs: int = 2) -> tuple[Train, ...]:
    """Return the nearest train with one pair, the nearest with two pairs and so on.

    Omit a train that is no nearer than a shorter one.

    >>> for train in trains_for(Fraction(2, 7), [20, 25, 30, 36, 45, 60]):
    ...     print(train, f"{float(train.relative_error(Fraction(2, 7))):+.5f}")
    20 drives 60 +0.16667
    20 drives 30, 25 drives 60 -0.02778
    """
    owned = _owned_wheels(wheels)
    ratio, pairs, _ = _exact_query(ratio, pairs, Fraction(0))
    found: list[Train] = []
    for most in range(1, min(pairs, owned.total() // 2) + 1):
        train = _nearest(owned, ratio, most, least=most)
        if not found or abs(train.relative_error(ratio)) < abs(found[-1].relative_error(ratio)):
            found.append(train)
        if found[-1].relative_error(ratio) == 0:
            break
    return tuple(found)


class _Side(NamedTuple):
    """The drivers, or the driven wheels, of a train: the product and the sum of their numbers of teeth, and the wheels."""

    product: int
    teeth: int
    wheels: tuple[int, ...]


def _wheels(name: str, given: Iterable[int]) -> tuple[int, ...]:
    wheels = tuple(map(plain_number, given)) if isinstance(given, Iterable) else (plain_number(given),)
    for each in wheels:
        whole = isinstance(each, int) and not isinstance(each, bool) and 1 < each <= _MOST_TEETH
        require(whole, name, repr(each), f"whole numbers of teeth, 2 to {_MOST_TEETH}")
    return wheels


def _owned_wheels(given: Iterable[int]) -> Counter[int]:
    owned = Counter(_wheels("wheels", given))
    require(owned.total() > 1, "wheels", sorted(owned.elements()), "two or more", "list every wheel that you own")
    return owned


def _exact_query(ratio: Fraction, pairs: int, within: Fraction) -> tuple[Fraction, int, Fraction]:
    """Return the absolute value of the ratio, the number of pairs and the maximum error as exact numbers.

    Refuse invalid values.
    """
    ratio, pairs, within = abs(exactly(ratio)), plain_number(pairs), exactly(within)
    require(ratio != 0, "ratio", ratio, "other than zero", "a cam that stands still needs no wheels")
    require(is_whole(pairs, 1, MOST_PAIRS), "pairs", pairs, f"a whole number, 1 to {MOST_PAIRS}")
    require(0 <= within < 1, "within", within, "zero or more, as a fraction of the ratio, such as 0.0001")
    return ratio, pairs, within


def _sides(owned: Counter[int], pairs: int) -> list[_Side]:
    """Return all sets of ``pairs`` wheels, sorted by product."""
    if math.comb(owned.total(), pairs) > _MOST_SIDES:
        count = math.comb(owned.total(), pairs)
        problem = f"{owned.total()} wheels make {count} sets of {pairs}; at most {_MOST_SIDES} can be tried"
        raise TooLargeError(problem, remedy="allow fewer pairs, or list fewer wheels")
    sets = dict.fromkeys(combinations(sorted(owned.elements()), pairs))
    return sorted(_Side(math.prod(each), sum(each), each) for each in sets)


def _cheapest(owned: Counter[int], ratio: Fraction, pairs: int, within: Fraction) -> Train | None:
    """Return the cheapest train with at most the given error.

    For each set of drivers the driven wheels are found by bisection.
    """
    for each in range(1, min(pairs, owned.total() // 2) + 1):
        if found := _cheapest_of(_sides(owned, each), ratio, within, lambda one, other: _available(one, other, owned)):
            return found
    return None


def _cheapest_of(
    sides: list[_Side], ratio: Fraction, within: Fraction, fits: Callable[[tuple[int, ...], tuple[int, ...]], bool]
) -> Train | None:
    low, high = ratio * (1 - within), ratio * (1 + within)
    products = [side.product for side in sides]
    least = min(side.teeth for side in sides)
    best: tuple[int, Fraction, tuple[int, ...], tuple[int, ...]] | None = None
    for product, teeth, drivers in sorted(sides, key=lambda side: side.teeth):
        if best and teeth + least > best[0]:
            break
        first, last = -(-product * high.denominator // high.numerator), product * low.denominator // low.numerator
        for place in range(bisect_left(products, first), bisect_right(products, last)):
            driven = sides[place]
            if (best is None or teeth + driven.teeth <= best[0]) and fits(drivers, driven.wheels):
                off = abs(Fraction(product, driven.product) - ratio)
                found = teeth + driven.teeth, off, drivers, driven.wheels
                best = found if best is None else min(best, found)
    return Train(best[2], best[3]) if best else None


def _nearest(owned: Counter[int], ratio: Fraction, pairs: int, least: int = 1) -> Train:
    """Return the train whose ratio is nearest to ``ratio``; among equally near trains, return the cheapest."""
    best: tuple[Fraction, int, int, tuple[int, ...], tuple[int, ...]] | None = None
    top, under = ratio.as_integer_ratio()
    far = near = 1
    for each in range(least, min(pairs, owned.total() // 2) + 1):
        sides = _sides(owned, each)
        products = [side.product for side in sides]
        for product, teeth, drivers in sides:
            middle = bisect_left(products, -(-product * under // top))
            for places in (range(middle, len(sides)), range(middle - 1, -1, -1)):
                for place in places:
                    off = abs(product * under - products[place] * top)
                    if best and off * far > near * products[place]:
                        break
                    if _available(drivers, sides[place].wheels, owned):
                        found = Fraction(off, products[place]), each, teeth + sides[place].teeth, drivers, sides[place].wheels
                        best = found if best is None else min(best, found)
                        near, far = best[0].as_integer_ratio()
    assert best is not None
    return Train(best[3], best[4])


def _available(drivers: tuple[int, ...], driven: tuple[int, ...], owned: Counter[int]) -> bool:
    """Return whether the owned wheels suffice for the drivers and the driven wheels at the same time."""
    return all(drivers.count(each) + driven.count(each) <= owned[each] for each in drivers)


def train_to_cut(ratio: Fraction, within: Fraction, pairs: int = 3, least: int = 12, most: int = 400) -> Train:
    """Return a train whose relative error is at most ``within``; its wheels are yet to be made, with any size in a range.

    The train has the fewest pairs. If all combinations can be tried, as for one or two pairs of 12 to 400 teeth, the train also
    has the fewest teeth. With more pairs, the ratio of the train has the smallest terms: the fractions close to ``ratio`` are
    generated as mediants, in ascending order of their terms. The first fraction is used whose terms, multiplied by a common
    factor if necessary, are products of the required number of wheels.

    Parameters
    ----------
    ratio : Fraction, or what `lobework.quantities.units.ratio` reads
        Turns of the last wheel per turn of the first wheel, not zero. The sign is ignored, because idlers determine the
        direction.
    within : Fraction, or what `lobework.quantities.units.ratio` reads
        Maximum relative error of the ratio.
    pairs : int
        Maximum number of pairs of wheels, 1 to 6.
    least, most : int
        Smallest and largest number of teeth of a wheel.

    Raises
    ------
    SettingError
        If a parameter is outside its allowed values.
    NoTrainError
        If no train with so small an error was found.

    References
    ----------
    R. W. Gosper published trains of three and five pairs for 224.7007992 and 87.96925718 (the math-fun list).

    Examples
    --------
    >>> train = train_to_cut(Fraction("224.7007992"), within=Fraction(1, 10**9))
    >>> train.pairs, abs(train.relative_error(Fraction("224.7007992"))) < 1e-9
    (3, True)
    """
    ratio, pairs, within = _exact_query(ratio, pairs, within)
    least, most = plain_number(least), plain_number(most)
    require(is_whole(least, 2, 1000), "least", least, "a whole number of teeth, 2 to 1000")
    require(is_whole(most, least, 1000), "most", most, f"a whole number of teeth, {least} to 1000")
    low, high = ratio * (1 - within), ratio * (1 + within)
    for each in range(1, pairs + 1):
        if low > Fraction(most, least) ** each or high < Fraction(least, most) ** each:
            continue
        if math.comb(most - least + each, each) <= _MOST_SIDES:
            sets = combinations_with_replacement(range(least, most + 1), each)
            sides = sorted(_Side(math.prod(wheels), sum(wheels), wheels) for wheels in sets)
            found = _cheapest_of(sides, ratio, within, lambda *_: True)
        else:
            found = _simplest_train(low, high, each, least, most)
        if found:
            return found
    number = "1 pair" if pairs == 1 else f"{pairs} pairs"
    wheels = f"{number} of wheels with {least} to {most} teeth"
    problem = f"no train of {wheels} was found with a relative error of at most {float(within):g}"
    raise NoTrainError(problem, name="ratio", given=f"{ratio}", remedy="allow more pairs, or a larger error")


def _simplest_train(low: Fraction, high: Fraction, pairs: int, least: int, most: int) -> Train | None:
    for top, under in islice(fractions_between(low, high, most**pairs), _MOST_FRACTIONS):
        first, last = -(-(least**pairs) // min(top, under)), most**pairs // max(top, under)
        if first > last or not (_only_small_primes(top, most) and _only_small_primes(under, most)):
            continue
        for common_factor in range(first, min(last, first + _MOST_COMMON_FACTORS) + 1):
            if (drivers := _factors(top * common_factor, pairs, least, most)) and (
                driven := _factors(under * common_factor, pairs, least, most)
            ):
                return Train(drivers, driven)
    return None


def _only_small_primes(number: int, most: int) -> bool:
    for prime in _primes(most):
        while number % prime == 0:
            number //= prime
    return number == 1


@cache
def _primes(most: int) -> tuple[int, ...]:
    return tuple(each for each in range(2, most + 1) if all(each % by for by in range(2, math.isqrt(each) + 1)))


def _factors(number: int, parts: int, least: int, most: int) -> tuple[int, ...]:
    """Return ``parts`` wheels whose teeth have the product ``number`` and the smallest sum; an empty tuple if there are none."""
    if not least**parts <= number <= most**parts:
        return ()
    if parts == 1:
        return (number,)
    found = [
        (wheel, *rest)
        for wheel in range(least, min(most, round(number ** (1 / parts)) + 1) + 1)
        if number % wheel == 0 and (rest := _factors(number // wheel, parts - 1, wheel, most))
    ]
    return min(found, key=lambda wheels: (sum(wheels), wheels), default=())
