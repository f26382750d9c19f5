"""Ratios that a real drive can do: the nearest fraction or percent, and what is left over on the work.

A ratio is turns of the cam to one of the spindle. A control that takes it in percent, a train of gears or a motor's steps
may only come near the one that a pattern asks for; then the wave misses its own beginning, and at every round a little more.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import gcd
from typing import NamedTuple

from lobework.errors import is_whole, require, together
from lobework.gearing.stern_brocot import Node, simplest_between
from lobework.quantities.tolerances import VISIBLE_MM
from lobework.quantities.units import plain_number
from lobework.quantities.units import ratio as exactly

__all__ = [
    "Mediant",
    "RealRatio",
    "continued_fraction",
    "mediants",
    "nearest_fraction",
    "nearest_percent",
    "of_percent",
    "of_step_parts",
    "of_steps",
    "simplest_fraction",
    "turns_to_close",
]


class Mediant(NamedTuple):
    """A fraction on the way to a ratio: ``value``, and its ``error``, the whole number that is left of the ratio's own terms.

    For a ratio a/b and the fraction p/q it is p b - q a: below zero where the fraction is too small.
    """

    value: Fraction
    error: int


def mediants(ratio: Fraction) -> Iterator[Mediant]:
    """Yield ever closer fractions to a ratio: each is the mediant of the closest fractions below and above found so far.

    The whole numbers below and above come first, the ratio itself last. No fraction with smaller terms than the next one lies
    between the two that enclose the ratio.

    Parameters
    ----------
    ratio : Fraction, or what `lobework.quantities.units.ratio` reads
        May be negative.

    References
    ----------
    A. Brocot, *Calcul des rouages par approximation*, Revue chronometrique, 1861; described by B. Hayes, "On the Teeth of
    Wheels", American Scientist, 2000.

    Examples
    --------
    >>> [f"{value} {error:+}" for value, error in mediants(Fraction(191, 23))]
    ['8 -7', '9 +16', '17/2 +9', '25/3 +2', '33/4 -5', '58/7 -3', '83/10 -1', '108/13 +1', '191/23 +0']
    """
    ratio = exactly(ratio)
    whole = math.floor(ratio)
    if ratio != whole:
        node = Node((whole, 1), (whole + 1, 1))
        yield from (_mediant(Fraction(each), ratio) for each in (whole, whole + 1))
        while (value := Fraction(*node.mediant)) != ratio:
            yield _mediant(value, ratio)
            node = node.upper if value < ratio else node.lower
    yield Mediant(ratio, 0)


def _mediant(value: Fraction, ratio: Fraction) -> Mediant:
    return Mediant(value, value.numerator * ratio.denominator - value.denominator * ratio.numerator)


def continued_fraction(ratio: Fraction) -> tuple[int, ...]:
    """Return the terms of a ratio's continued fraction.

    >>> continued_fraction(Fraction(191, 23))
    (8, 3, 3, 2)
    """
    top, under = exactly(ratio).as_integer_ratio()
    terms = []
    while under:
        whole, left = divmod(top, under)
        terms.append(whole)
        top, under = under, left
    return tuple(terms)


def nearest_fraction(ratio: Fraction, most_under: int) -> Fraction:
    """Return the fraction nearest to a ratio with a denominator of ``most_under`` at most.

    Raises
    ------
    SettingError
        Where ``most_under`` is not one or more.

    Examples
    --------
    >>> nearest_fraction(Fraction(191, 23), 20)
    Fraction(108, 13)
    """
    most_under = plain_number(most_under)
    require(is_whole(most_under, 1, 10**30), "most_under", most_under, "a whole number, one or more")
    return exactly(ratio).limit_denominator(most_under)


def simplest_fraction(ratio: Fraction, within: Fraction) -> Fraction:
    """Return the fraction of the smallest terms that is no further than ``within`` from a ratio.

    Raises
    ------
    SettingError
        Where ``within`` is below zero.

    Examples
    --------
    >>> simplest_fraction(Fraction("3.14159265"), Fraction(1, 500))
    Fraction(22, 7)
    """
    ratio, within = exactly(ratio), exactly(within)
    require(within >= 0, "within", within, "zero or more")
    low, high = ratio - within, ratio + within
    if low <= 0 <= high:
        return Fraction(0)
    return simplest_between(low, high) if low > 0 else -simplest_between(-high, -low)


def nearest_percent(ratio: Fraction, places: int) -> Fraction:
    """Return the ratio nearest to ``ratio`` that is a percent with so many decimals.

    Raises
    ------
    SettingError
        Where ``places`` is not 0 to 30.

    Examples
    --------
    >>> nearest_percent(Fraction(2, 3), 2)
    Fraction(6667, 10000)
    """
    places = plain_number(places)
    require(is_whole(places, 0, 30), "places", places, "decimals of a percent, 0 to 30")
    parts = 100 * 10**places
    return Fraction(round(exactly(ratio) * parts), parts)


def turns_to_close(lobes: int, ratio: Fraction) -> int:
    """Return the spindle turns after which a cam's wave closes: ``q / gcd(lobes * p, q)`` for the ratio p/q.

    >>> turns_to_close(4, Fraction(3, 4)), turns_to_close(1, Fraction(2, 3)), turns_to_close(5, Fraction(0))
    (1, 3, 1)
    """
    return ratio.denominator // gcd(lobes * ratio.numerator, ratio.denominator)


@dataclass(frozen=True, slots=True, kw_only=True)
class RealRatio:
    """A ratio as a drive really runs it, beside the one that is asked for.

    Degrees and mm are on the work: how far round it the wave stands from where it belongs.

    Parameters
    ----------
    way : str
        What drives the cam, in the bench's words.
    target : Fraction, or what `lobework.quantities.units.ratio` reads
        Turns of the cam to one of the spindle, not zero.
    actual : Fraction, or what `lobework.quantities.units.ratio` reads
        What it is, on the whole; not zero.
    max_deviation : Fraction, degrees
        How far the wave may be from there at any moment, because positions are rounded; this does not grow.

    Examples
    --------
    >>> run = of_percent(Fraction(2, 3), places=2)
    >>> run.actual, run.gap(turns=3), round(run.gap_mm(turns=3, radius=30.0), 3), run.turns_until_seen(radius=30.0)
    (Fraction(6667, 10000), Fraction(360, 6667), 0.028, 6)
    """

    way: str
    target: Fraction
    actual: Fraction
    max_deviation: Fraction = Fraction(0)

    def __post_init__(self) -> None:
        with together():
            for name in ("target", "actual", "max_deviation"):
                object.__setattr__(self, name, exactly(getattr(self, name)))
            require(self.target != 0, "target", self.target, "other than zero", "a cam that stands still needs no drive")
            require(
                self.actual != 0 or self.target == 0,
                "actual",
                self.actual,
                "other than zero",
                f"{self.way} is too coarse for {self.target}",
            )

    @property
    def off(self) -> Fraction:
        """How far the ratio that runs is beyond the one asked for, as a part of it; below zero where it falls short."""
        return self.actual / self.target - 1

    @property
    def exact(self) -> bool:
        """Whether the ratio is the one asked for; positions may still be rounded."""
        return self.actual == self.target

    def gap(self, turns: int) -> Fraction:
        """Return how far the wave is from its own beginning after the spindle turns that should close it, degrees."""
        return 360 * turns * (abs(self.actual) - abs(self.target)) / abs(self.actual)

    def gap_mm(self, turns: int, radius: float) -> float:
        """Return the same in mm, at a radius, mm."""
        return math.radians(self.gap(turns)) * radius

    def turns_until_seen(self, radius: float, width: float = VISIBLE_MM) -> int | None:
        """Return the first whole turn after which the wave is more than ``width`` mm from its place; None for never.

        Parameters
        ----------
        radius : float, mm
            Where on the work it is looked at; above zero.
        width : float, mm
            What can be seen; above zero.

        Raises
        ------
        SettingError
            Where either is not above zero.
        """
        require(0 < radius < math.inf, "radius", radius, "above zero")
        require(0 < width < math.inf, "width", width, "above zero")
        each = abs(self.gap_mm(1, radius))
        return math.floor(width / each) + 1 if each else None


def of_percent(ratio: Fraction, places: int) -> RealRatio:
    """Return what a control runs that takes the ratio as a percent with so many decimals.

    >>> of_percent(Fraction(3, 4), places=0).exact
    True
    """
    decimals = "no decimals" if places == 0 else "1 decimal" if places == 1 else f"{places} decimals"
    return RealRatio(way=f"percent, {decimals}", target=ratio, actual=nearest_percent(ratio, places))


def of_steps(ratio: Fraction, cam: int | Fraction, spindle: int | Fraction | None = None) -> RealRatio:
    """Return what a control runs that works out the cam's place at each moment, and sends the motor to the nearest step.

    The ratio itself is then exact: each place is rounded afresh, to half a step at most, and no error is carried on.

    Parameters
    ----------
    ratio : Fraction, or what `lobework.quantities.units.ratio` reads
        Turns of the cam to one of the spindle.
    cam : int or Fraction
        Steps of its motor in one turn of the cam.
    spindle : int or Fraction, optional
        Steps in one turn of the spindle, where a motor turns it; their rounding is added.

    Raises
    ------
    SettingError
        Where the steps are not one or more, or the ratio is zero.

    Examples
    --------
    >>> run = of_steps(Fraction(2, 3), cam=3200)
    >>> run.exact, float(run.max_deviation)
    (True, 0.084375)
    """
    ratio = exactly(ratio)
    cam = _steps("cam", cam)
    require(ratio != 0, "ratio", ratio, "other than zero", "a cam that stands still needs no drive")
    max_deviation = 180 / cam / abs(ratio)
    if spindle is not None:
        max_deviation += 180 / _steps("spindle", spindle)
    return RealRatio(way=f"motor, {cam} steps a turn", target=ratio, actual=ratio, max_deviation=max_deviation)


def of_step_parts(ratio: Fraction, cam: int | Fraction, spindle: int | Fraction, parts: int = 1) -> RealRatio:
    """Return what a control runs that moves the cam by a fixed amount at each step of the spindle.

    Unlike rounded places, what is lost at one step is lost at each.

    Parameters
    ----------
    ratio : Fraction, or what `lobework.quantities.units.ratio` reads
        Turns of the cam to one of the spindle.
    cam, spindle : int or Fraction
        Steps in one turn of each.
    parts : int
        Of a step, to which the control keeps that amount; 1 where it is a whole number of steps.

    Raises
    ------
    SettingError
        Where a number is not one or more, or the nearest amount is none at all.

    Examples
    --------
    >>> run = of_step_parts(Fraction(2, 3), cam=3200, spindle=3200, parts=1000)
    >>> run.actual, float(run.gap(turns=3))
    (Fraction(667, 1000), 0.5397301349325337)
    """
    cam, spindle, parts = _steps("cam", cam), _steps("spindle", spindle), plain_number(parts)
    require(is_whole(parts, 1, 10**30), "parts", parts, "a whole number, one or more")
    ratio = exactly(ratio)
    amount = Fraction(round(ratio * cam / spindle * parts), parts)
    way = f"{amount} cam steps at each spindle step"
    max_deviation = 180 / cam / abs(ratio) if parts > 1 and ratio else Fraction(0)
    return RealRatio(way=way, target=ratio, actual=amount * spindle / cam, max_deviation=max_deviation)


def _steps(name: str, given: int | Fraction) -> Fraction:
    """Return the steps in one turn, exactly; refuse fewer than one."""
    steps = exactly(given)
    require(steps >= 1, name, steps, "one step a turn or more")
    return steps
