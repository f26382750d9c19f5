"""Subcommands that compute numbers: drive ratios with their change wheels, and index lists."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import islice
from math import radians
from typing import TYPE_CHECKING, Any, Final

from lobework.cli.given import (
    above_zero,
    add_radius,
    allow_signed_values,
    columns,
    option_errors,
    read,
    require_others,
    units_of,
    whole_number,
    whole_numbers,
)
from lobework.cli.parser import DONE, FOUND, Verbs, add_verb
from lobework.errors import InputError, SettingError

if TYPE_CHECKING:
    from lobework.gearing.change_wheels import Train
    from lobework.gearing.dividing_wheel import Wheel
    from lobework.gearing.ratios import RealRatio
    from lobework.quantities.units import LengthUnit

__all__ = ["VERBS", "other_orders"]

_MOST_TURNS: Final = 1000
"""Greatest number of turns for which a closing gap is printed; if closing takes longer, the gap after one turn is printed."""

_MOST_MEDIANTS: Final = 100

_LONG: Final = 1000
"""Smallest denominator for which a ratio is printed without its fraction."""


def _add_ratio(verbs: Any, name: str) -> None:
    message = (
        "print the error of each drive for a ratio: percentage, change wheels, motors; exit code 1 if no train is near enough"
    )
    verb = add_verb(verbs, name, message, "lobework ratio 2/3 --lobes 4 --wheels 20,30,45,60 --radius 30", _ratio)
    allow_signed_values(verb)
    verb.add_argument("ratio", metavar="RATIO", help="turns of the cam per turn of the spindle, such as 2/3, -3/4 or '66.67 %%'")
    verb.add_argument("--lobes", metavar="N", help="lobes of the cam (default: 1)")
    verb.add_argument("--decimals", metavar="LIST", help="numbers of decimals of a percentage setting, such as 1,2 (default: 2)")
    verb.add_argument(
        "--wheels",
        metavar="LIST",
        help="numbers of teeth of your wheels, such as 20,30,45,60; or the range of wheels that you can cut, such as 12-400",
    )
    verb.add_argument("--pairs", metavar="N", help="largest number of pairs of wheels (default: 2)")
    verb.add_argument(
        "--within",
        metavar="PART",
        help="largest relative error of a train, such as '0.01 %%'; only the cheapest such train is printed",
    )
    verb.add_argument(
        "--steps",
        metavar="LIST",
        help="motor steps per turn of the cam and per turn of the spindle, such as 3200,6400; or 3200 for both",
    )
    verb.add_argument(
        "--parts",
        metavar="N",
        help="number of parts into which the controller divides a motor step, if the cam is moved once per spindle step",
    )
    verb.add_argument(
        "--lathe", metavar="NAME", help="a lathe that lobework list shows, or a lathe file: the cam drive of this lathe is used"
    )
    verb.add_argument("--cam", metavar="N", help="number of the lathe's cam (default: 1)")
    verb.add_argument("--mediants", action="store_true", help="also list fractions that approach the ratio, with their errors")
    add_radius(verb)
    verb.add_argument("--seen", metavar="LENGTH", help="smallest error that is visible (default: 0.05 mm)")


def _add_index(verbs: Any, name: str) -> None:
    message = "list the settings of the index pin for divisions or angles, with their errors"
    verb = add_verb(verbs, name, message, "lobework index 7 --wheel 96,112 --radius 30", _index)
    allow_signed_values(verb)
    verb.add_argument(
        "divisions", metavar="N or ANGLE", nargs="+", help="number of divisions; or angles, such as '35 deg' '1/3 turn'"
    )
    verb.add_argument(
        "--wheel", metavar="LIST", help="number of holes in each circle of the wheel, or of its notches, such as 96,112"
    )
    verb.add_argument(
        "--lathe",
        metavar="NAME",
        help="a lathe that lobework list shows, or a lathe file: the wheel on the spindle of this lathe is used",
    )
    verb.add_argument("--worm", metavar="N", help="turns of the crank per turn of the work, if the circles belong to a crank")
    add_radius(verb)


def _ratio(options: argparse.Namespace) -> int:
    from lobework.gearing.change_wheels import NoTrainError
    from lobework.gearing.ratios import turns_to_close
    from lobework.quantities.tolerances import VISIBLE_MM
    from lobework.quantities.units import ratio

    require_others(options, pairs="wheels", within="wheels", parts="steps", cam="lathe", seen="radius")
    wanted = read("RATIO", options.ratio, ratio)
    if not wanted:
        remedy = "a cam that stands still needs no drive"
        raise SettingError(where="RATIO", given=repr(options.ratio), must_be="other than zero", remedy=remedy)
    lobes = read("--lobes", options.lobes or "1", whole_number)
    if not lobes:
        raise SettingError(where="--lobes", given=repr(options.lobes), must_be="one or more")
    units = units_of(options, options.radius, options.seen)
    radius, seen = above_zero("--radius", options.radius, units, 0.0), above_zero("--seen", options.seen, units, VISIBLE_MM)
    closes = turns_to_close(lobes, wanted)
    turns, closing = (closes, f"closes after {_turns(closes)}") if closes <= _MOST_TURNS else (1, "closes after many turns")
    try:
        runs, trains = _actual_ratios(options, wanted)
    except NoTrainError as error:
        print(error.message)
        return FOUND
    print(f"{_fraction_and_percent(wanted)}: {_plain(lobes * abs(wanted))} lobes per turn of the work; {closing}")
    print()
    head = ["drive", "actual ratio", f"gap after {_turns(turns)}", "step error"]
    head += [f"{_length_text(seen, units)} off"] if radius else []
    print(*columns([head, *(_table_row(run, turns, radius, seen, units) for run in runs)]), sep="\n")
    for line in (*other_orders(trains), *(_mediant_lines(wanted) if options.mediants else ())):
        print(line)
    return _near_enough(options, wanted, trains)


def _mediant_lines(wanted: Fraction) -> Iterator[str]:
    """Yield the lines on the fractions that approach a ratio, with their errors."""
    from lobework.gearing.ratios import mediants

    rows = [["fraction", "error", "off"]]
    for value, error in islice(mediants(wanted), _MOST_MEDIANTS):
        off = f"{float(value / wanted - 1) * 100:+.4g} %" if value != wanted else "exact"
        rows.append([f"{value.numerator}/{value.denominator}", f"{error:+}" if error else "0", off])
    yield ""
    yield from columns(rows)


def _actual_ratios(options: argparse.Namespace, wanted: Fraction) -> tuple[list[RealRatio], list[Train]]:
    """Return the actual ratio of each drive that the options name, and the trains among the drives."""
    from lobework.gearing.ratios import of_percent, of_step_parts, of_steps

    alone = options.decimals is None and (options.lathe or options.wheels or options.steps)
    decimals = [] if alone else read("--decimals", options.decimals or "2", whole_numbers)
    with option_errors("--decimals"):
        runs = [of_percent(wanted, places) for places in decimals]
    trains = _trains(options, wanted)
    runs += [_by_train(train, wanted) for train in trains]
    if options.steps is not None:
        steps = read("--steps", options.steps, whole_numbers)
        if len(steps) > 2:
            must_be = "motor steps per turn of the cam, and of the spindle, such as 3200,6400"
            raise InputError(where="--steps", given=repr(options.steps), must_be=must_be)
        with option_errors("--steps"):
            runs.append(of_steps(wanted, *steps))
    if options.parts is not None:
        parts = read("--parts", options.parts, whole_number)
        with option_errors("--parts"):
            runs.append(of_step_parts(wanted, steps[0], steps[-1], parts))
    if options.lathe is not None:
        runs.append(_by_lathe(options, wanted))
    return runs, trains


def _by_lathe(options: argparse.Namespace, wanted: Fraction) -> RealRatio:
    from dataclasses import replace

    from lobework.jobs.jobfile import read_lathe
    from lobework.lathe.actual_ratio import run_of

    number, lathe = read("--cam", options.cam or "1", whole_number), read_lathe(options.lathe)
    with option_errors("--cam"):
        run = run_of(lathe, number, wanted)
    return replace(run, description=f"{lathe.name}, cam {number}: {run.description}")


def _trains(options: argparse.Namespace, wanted: Fraction) -> list[Train]:
    """Return the nearest train of each number of pairs; with ``--within``, the cheapest train that is near enough."""
    from lobework.gearing.change_wheels import train_for, train_to_cut, trains_for

    if options.wheels is None:
        return []
    pairs = read("--pairs", options.pairs or "2", whole_number)
    within = None if options.within is None else _within(options)
    if sizes := re.fullmatch(r"\s*(\d{1,9})\s*-\s*(\d{1,9})\s*", options.wheels):
        if within is None:
            problem = "is a range of wheels"
            raise InputError(
                problem, "--wheels", given=repr(options.wheels), remedy="give --within too, such as --within '0.001 %'"
            )
        with option_errors("--wheels"):
            return [train_to_cut(wanted, within, pairs, *map(int, sizes.groups()))]
    wheels = read("--wheels", options.wheels, whole_numbers)
    with option_errors("--wheels"):
        return list(trains_for(wanted, wheels, pairs)) if within is None else [train_for(wanted, wheels, pairs, within)]


def _within(options: argparse.Namespace) -> Fraction:
    from lobework.quantities.units import ratio

    within = read("--within", options.within, ratio)
    if not 0 <= within < 1:
        must_be = "a fraction of the ratio, from 0 to 1, such as '0.01 %'"
        raise InputError(where="--within", given=repr(options.within), must_be=must_be)
    return within


def _by_train(train: Train, wanted: Fraction) -> RealRatio:
    from lobework.gearing.ratios import RealRatio

    return RealRatio(description=str(train), target=wanted, actual=train.ratio if wanted > 0 else -train.ratio)


def _table_row(run: RealRatio, turns: int, radius: float, seen: float, units: LengthUnit) -> list[str]:
    gap = run.gap(turns)
    gap_text = _angle_text(gap, radius, units) if gap else "none"
    max_deviation = f"within {_angle_text(run.max_deviation, radius, units)}" if run.max_deviation else "-"
    after = run.turns_until_seen(radius, seen) if radius else None
    until_seen = f"after {_turns(after)}" if after else "never"
    return [run.description, _fraction_and_percent(run.actual), gap_text, max_deviation, *([until_seen] if radius else [])]


def _fraction_and_percent(ratio: Fraction) -> str:
    """Return a ratio in percent, preceded by the fraction if its denominator is small."""
    percent = f"{float(ratio * 100):.9g} %"
    return f"{ratio} ({percent})" if ratio.denominator < _LONG else percent


def _plain(value: Fraction) -> str:
    return str(value) if value.denominator < _LONG else f"{float(value):.9g}"


def _angle_text(degrees: Fraction, radius: float, units: LengthUnit) -> str:
    """Return an angle of the work in words; with a radius, also the length of the arc."""
    angle = f"{float(degrees):.4g} deg"
    return f"{angle}, {_length_text(radians(degrees) * radius, units)}" if radius else angle


def _length_text(mm: float, units: LengthUnit) -> str:
    from lobework.quantities.units import MM_PER

    return f"{mm / float(MM_PER[units]):.3g} {'in' if units == 'inch' else 'mm'}"


def other_orders(trains: Iterable[Train]) -> Iterator[str]:
    """Yield a line for each train of several pairs, with the other arrangements of its wheels."""
    for train in trains:
        if train.pairs > 1:
            others = [str(each) for each in train.arrangements() if each != train]
            yield ""
            yield f"{train} may also be arranged as: {'; '.join(others[:3])}" + ("; and so on" if len(others) > 3 else "")


def _near_enough(options: argparse.Namespace, wanted: Fraction, trains: Sequence[Train]) -> int:
    if options.within is None or not trains or abs(trains[0].relative_error(wanted)) <= _within(options):
        return DONE
    off = float(abs(trains[0].relative_error(wanted))) * 100
    print(f"\nno train of these wheels is within {options.within} of {wanted}: the nearest, {trains[0]}, is {off:.4g} % off")
    return FOUND


def _turns(count: int) -> str:
    return "1 turn" if count == 1 else f"{count} turns"


def _index(options: argparse.Namespace) -> int:
    wheel = _wheel(options)
    units = units_of(options, options.radius)
    radius = above_zero("--radius", options.radius, units, 0.0)
    positions = _positions(options.divisions)
    circles = list(zip(*(wheel.near(turns) for turns in positions), strict=True))
    for circle in circles:
        exact = sum(near.error == 0 for near in circle)
        worst = max(circle, key=lambda near: abs(near.error)).error
        off = "" if exact == len(positions) else f"; at most {_angle_text(abs(worst), radius, units)} off"
        print(f"circle of {circle[0].circle}: {exact} of {len(positions)} positions are exact{off}")
    for circle in circles:
        print()
        rows = [
            [str(part), f"{float(turns * 360):.9g}", near.setting, _error_text(near.error, radius, units)]
            for part, (turns, near) in enumerate(zip(positions, circle, strict=True))
        ]
        print(*columns([["part", "degrees", f"on the circle of {circle[0].circle}", "off"], *rows]), sep="\n")
    return DONE


def _wheel(options: argparse.Namespace) -> Wheel:
    """Return the dividing wheel of the options ``--wheel`` and ``--worm``, or the wheel on the spindle of a lathe."""
    from lobework.gearing.dividing_wheel import Wheel

    if (options.wheel is None) == (options.lathe is None):
        options.verb.error("give --wheel, such as --wheel 96,112, or --lathe")
    if options.lathe is None:
        holes: Any = read("--wheel", options.wheel, whole_numbers)
        worm = read("--worm", options.worm or "1", whole_number)
        with option_errors("--wheel"):
            return Wheel(holes, worm=worm)
    from lobework.jobs.jobfile import read_lathe

    hand = read_lathe(options.lathe).hand_axis("spindle")
    if hand is None or hand.wheel is None:
        problem, remedy = "has no dividing wheel on its spindle", "describe one in a [[hand]] table of its file"
        raise InputError(problem, "--lathe", given=repr(options.lathe), remedy=remedy)
    return hand.wheel


def _positions(given: Sequence[str]) -> list[Fraction]:
    """Return the positions of the work, turns: a single whole number is a number of divisions, other values are angles."""
    from lobework.quantities.units import phase

    if len(given) == 1 and re.fullmatch(r"\d{1,9}", given[0].strip()):
        if not 1 <= (parts := int(given[0])) <= 1000:
            raise SettingError(where="N", given=repr(given[0]), must_be="1 to 1000 divisions")
        return [Fraction(part, parts) for part in range(parts)]
    found = [read("ANGLE", each, phase) for each in given]
    for each, angle in zip(given, found, strict=True):
        if angle.lobes:
            raise SettingError(where="ANGLE", given=repr(each), must_be="an angle", remedy="a wheel has no lobes")
    return [angle.in_turns() for angle in found]


def _error_text(degrees: Fraction, radius: float, units: LengthUnit) -> str:
    if not degrees:
        return "exact"
    return f"{_angle_text(abs(degrees), radius, units)} {'further' if degrees > 0 else 'less'}"


VERBS: Final[Verbs] = {"ratio": _add_ratio, "index": _add_index}
