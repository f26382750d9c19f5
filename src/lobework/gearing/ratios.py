"""Ratios that a real drive can produce: the nearest fraction or percentage, and the resulting error on the work.

A ratio is the number of cam turns per spindle turn. Some drives can only approximate the ratio that a pattern needs: gear
trains, stepper motors, and controls on which the ratio is set as a percentage. Then the wave does not close, and its error
grows with every turn.
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
    """An approximation of a ratio: a fraction ``value`` and an integer ``error`` that measures its deviation.

    For the ratio a/b and the fraction p/q the error is p b - q a; a negative error means that the fraction is too small.
    """

    value: Fraction
    error: int


def mediants(ratio: Fraction) -> Iterator[Mediant]:
    """Yield fractions that approach a ratio. Each is the mediant of the two nearest so far, one below and one above the ratio.

    The first two fractions are the whole numbers below and above the ratio. The last fraction is the ratio itself. Between the
    two fractions from which a mediant is formed, no fraction has smaller terms than the mediant.

    Parameters
    ----------
    ratio : Fraction, or what `lobework.quantities.units.ratio` reads
        The ratio; it may be negative.

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
    """Return the fraction nearest to a ratio among those with a denominator of at most ``most_under``.

    Raises
    ------
    SettingError
        If ``most_under`` is less than one.

    Examples
    --------
    >>> nearest_fraction(Fraction(191, 23), 20)
    Fraction(108, 13)
    """
    most_under = plain_number(most_under)
    require(is_whole(most_under, 1, 10**30), "most_under", most_under, "a whole number, one or more")
    return exactly(ratio).limit_denominator(most_under)


def simplest_fraction(ratio: Fraction, within: Fraction) -> Fraction:
    """Return the fraction with the smallest terms that differs from a ratio by at most ``within``.

    Raises
    ------
    SettingError
        If ``within`` is below zero.

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
    """Return the number nearest to ``ratio`` that can be written as a percentage with ``places`` decimals.

    Raises
    ------
    SettingError
        If ``places`` is not from 0 to 30.

    Examples
    --------
    >>> nearest_percent(Fraction(2, 3), 2)
    Fraction(6667, 10000)
    """
    places = plain_number(places)
    require(is_whole(places, 0, 30), "places", places, "a number of decimals of a percentage, 0 to 30")
    parts = 100 * 10**places
    return Fraction(round(exactly(ratio) * parts), parts)


def turns_to_close(lobes: int, ratio: Fraction) -> int:
    """Return the number of spindle turns after which a cam's wave closes.

    For the ratio p/q the number is ``q / gcd(lobes * p, q)``.


    >>> turns_to_close(4, Fraction(3, 4)), turns_to_close(1, Fraction(2, 3)), turns_to_close(5, Fraction(0))
    (1, 3, 1)
    """
    return ratio.denominator // gcd(lobes * ratio.numerator, ratio.denominator)


@dataclass(frozen=True, slots=True, kw_only=True)
class RealRatio:
    """The actual ratio of a drive, and the target ratio that the pattern needs.

    Errors in degrees or mm are displacements of the wave along the circumference of the work.

    Parameters
    ----------
    description : str
        Description of the drive.
    target : Fraction, or what `lobework.quantities.units.ratio` reads
        Cam turns per spindle turn that the pattern needs, not zero.
    actual : Fraction, or what `lobework.quantities.units.ratio` reads
        Mean ratio of the drive, not zero.
    max_deviation : Fraction, degrees
        Maximum momentary displacement of the wave from its position at the mean ratio, caused by the rounding of positions; it
        does not accumulate.

    Examples
    --------
    >>> run = of_percent(Fraction(2, 3), places=2)
    >>> run.actual, run.gap(turns=3), round(run.gap_mm(turns=3, radius=30.0), 3), run.turns_until_seen(radius=30.0)
    (Fraction(6667, 10000), Fraction(360, 6667), 0.028, 6)
    """

    description: str
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
                f"{self.description} is too coarse for the ratio {self.target}",
            )

    @property
    def relative_error(self) -> Fraction:
        """Relative error of the actual ratio; negative if the drive is too slow."""
        return self.actual / self.target - 1

    @property
    def exact(self) -> bool:
        """Whether the actual ratio is the target ratio; positions may still be rounded."""
        return self.actual == self.target

    def gap(self, turns: int) -> Fraction:
        """Return the displacement of the wave after ``turns`` spindle turns, degrees.

        After the number of turns that should close the wave, this displacement is the gap between the ends of the wave.
        """
        return 360 * turns * (abs(self.actual) - abs(self.target)) / abs(self.actual)

    def gap_mm(self, turns: int, radius: float) -> float:
        """Return the displacement of the wave after ``turns`` spindle turns, mm, on the work at ``radius`` mm from the axis."""
        return math.radians(self.gap(turns)) * radius

    def turns_until_seen(self, radius: float, width: float = VISIBLE_MM) -> int | None:
        """Return the smallest number of whole turns after which the wave is displaced by more than ``width``.

        If there is no such number, return None.

        Parameters
        ----------
        radius : float, mm
            Radius on the work, above zero.
        width : float, mm
            Smallest visible displacement, above zero.

        Raises
        ------
        SettingError
            If either parameter is not above zero.
        """
        require(0 < radius < math.inf, "radius", radius, "above zero")
        require(0 < width < math.inf, "width", width, "above zero")
        each = abs(self.gap_mm(1, radius))
        return math.floor(width / each) + 1 if each else None


def of_percent(ratio: Fraction, places: int) -> RealRatio:
    """Return the actual ratio of a control on which the ratio is set as a percentage with ``places`` decimals.

    >>> of_percent(Fraction(3, 4), places=0).exact
    True
    """
    decimals = "no decimals" if places == 0 else "1 decimal" if places == 1 else f"{places} decimals"
    return RealRatio(description=f"percent, {decimals}", target=ratio, actual=nearest_percent(ratio, places))


def of_steps(ratio: Fraction, cam: int | Fraction, spindle: int | Fraction | None = None) -> RealRatio:
    """Return the actual ratio of a control that rounds each computed position of the cam to the nearest motor step.

    The mean ratio is exact: each position is rounded independently by at most half a step, so that errors do not accumulate.

    Parameters
    ----------
    ratio : Fraction, or what `lobework.quantities.units.ratio` reads
        Cam turns per spindle turn.
    cam : int or Fraction
        Steps of the cam's motor per turn of the cam.
    spindle : int or Fraction, optional
        Steps of the spindle's motor per turn of the spindle, if the spindle has a motor; its rounding error is then added.

    Raises
    ------
    SettingError
        If a number of steps is less than one, or the ratio is zero.

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
    return RealRatio(description=f"motor, {cam} steps a turn", target=ratio, actual=ratio, max_deviation=max_deviation)


def of_step_parts(ratio: Fraction, cam: int | Fraction, spindle: int | Fraction, parts: int = 1) -> RealRatio:
    """Return the actual ratio of a control that moves the cam by a fixed amount at each motor step of the spindle.

    The rounding error of the amount accumulates, because it occurs again at each step.

    Parameters
    ----------
    ratio : Fraction, or what `lobework.quantities.units.ratio` reads
        Cam turns per spindle turn.
    cam, spindle : int or Fraction
        Motor steps per turn of the cam, and per turn of the spindle.
    parts : int
        The control rounds the amount to a multiple of one step divided by ``parts``; 1 if the amount is a whole number of steps.

    Raises
    ------
    SettingError
        If a number of steps or parts is less than one, or the rounded amount is zero.

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
    description = f"{amount} cam steps at each spindle step"
    max_deviation = 180 / cam / abs(ratio) if parts > 1 and ratio else Fraction(0)
    return RealRatio(description=description, target=ratio, actual=amount * spindle / cam, max_deviation=max_deviation)


def _steps(name: str, given: int | Fraction) -> Fraction:
    """Return the number of steps per turn as an exact number; refuse fewer than one."""
    steps = exactly(given)
    require(steps >= 1, name, steps, "one or more steps per turn")
    return steps
