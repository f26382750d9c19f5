"""Verbs on numbers alone: ratios and the wheels that make them, and index lists."""

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
    columns,
    read,
    takes_radius,
    takes_signed,
    told,
    units_of,
    wants,
    whole,
    wholes,
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
"""To close in: nobody winds a pass for longer, so the gap is said for one turn."""

_MOST_MEDIANTS: Final = 100

_LONG: Final = 1000
"""A denominator that nobody reads at a glance."""


def _add_ratio(verbs: Any, name: str) -> None:
    message = "say how near a drive comes to a ratio: percents, change wheels, motors; exit code 1 where nothing is near enough"
    verb = add_verb(verbs, name, message, "lobework ratio 2/3 --lobes 4 --wheels 20,30,45,60 --radius 30", _ratio)
    takes_signed(verb)
    verb.add_argument("ratio", metavar="RATIO", help="cam turns in one of the spindle, such as 2/3, -3/4 or '66.67 %%'")
    verb.add_argument("--lobes", metavar="N", help="lobes of the cam (otherwise 1)")
    verb.add_argument("--decimals", metavar="LIST", help="of the percent that a control takes, such as 1,2 (otherwise 2)")
    verb.add_argument("--wheels", metavar="LIST", help="teeth of the wheels owned, such as 20,30,45,60; or 12-400, to be cut")
    verb.add_argument("--pairs", metavar="N", help="most pairs of wheels (otherwise 2)")
    verb.add_argument("--within", metavar="PART", help="how far off it may be, such as '0.01 %%': then only the cheapest train")
    verb.add_argument("--steps", metavar="LIST", help="motor steps in a turn of the cam, and of the spindle: 3200 or 3200,6400")
    verb.add_argument(
        "--parts", metavar="N", help="parts of a step in which a control counts that moves the cam at each spindle step"
    )
    verb.add_argument("--lathe", metavar="NAME", help="a lathe that lobework list shows, or a lathe file: as it turns the cam")
    verb.add_argument("--cam", metavar="N", help="which of the lathe's cams (otherwise 1)")
    verb.add_argument("--mediants", action="store_true", help="also list the fractions that close in on it, with their errors")
    takes_radius(verb)
    verb.add_argument("--seen", metavar="LENGTH", help="how far off it is before it is seen (otherwise 0.05 mm)")


def _add_index(verbs: Any, name: str) -> None:
    message = "list where the pin goes for divisions or angles, and how far off that is"
    verb = add_verb(verbs, name, message, "lobework index 7 --wheel 96,112 --radius 30", _index)
    takes_signed(verb)
    verb.add_argument(
        "divisions", metavar="N or ANGLE", nargs="+", help="into how many parts; or angles, such as '35 deg' '1/3 turn'"
    )
    verb.add_argument("--wheel", metavar="LIST", help="holes of its circles, or its notches, such as 96,112")
    verb.add_argument(
        "--lathe", metavar="NAME", help="or the wheel of a lathe's spindle: one that lobework list shows, or a file"
    )
    verb.add_argument("--worm", metavar="N", help="turns of the crank for one of the work, where the circles are the crank's")
    takes_radius(verb)


def _ratio(asked: argparse.Namespace) -> int:
    from lobework.gearing.change_wheels import NoTrainError
    from lobework.gearing.ratios import turns_to_close
    from lobework.quantities.tolerances import VISIBLE_MM
    from lobework.quantities.units import ratio

    wants(asked, pairs="wheels", within="wheels", parts="steps", cam="lathe", seen="radius")
    wanted = read("RATIO", asked.ratio, ratio)
    if not wanted:
        raise SettingError(f"{asked.ratio!r} must be other than zero; a cam that stands still needs no drive", "RATIO")
    lobes = read("--lobes", asked.lobes or "1", whole)
    if not lobes:
        raise SettingError(f"{asked.lobes!r} must be one or more", "--lobes")
    units = units_of(asked, asked.radius, asked.seen)
    radius, seen = above_zero("--radius", asked.radius, units, 0.0), above_zero("--seen", asked.seen, units, VISIBLE_MM)
    closes = turns_to_close(lobes, wanted)
    turns, closing = (closes, f"closes after {_turns(closes)}") if closes <= _MOST_TURNS else (1, "closes after many turns")
    try:
        runs, trains = _runs(asked, wanted)
    except NoTrainError as error:
        print(error.message)
        return FOUND
    print(f"{_fraction_and_percent(wanted)}: {_plain(lobes * abs(wanted))} lobes a turn of the work; {closing}")
    print()
    head = ["way", "runs at", f"gap after {_turns(turns)}", "at any moment"]
    head += [f"{_shown(seen, units)} off"] if radius else []
    print(*columns([head, *(_row(run, turns, radius, seen, units) for run in runs)]), sep="\n")
    for line in (*other_orders(trains), *(_closing_in(wanted) if asked.mediants else ())):
        print(line)
    return _near_enough(asked, wanted, trains)


def _closing_in(wanted: Fraction) -> Iterator[str]:
    """Yield the fractions between which a ratio is closed in, with their errors."""
    from lobework.gearing.ratios import mediants

    rows = [["closing in", "error", "off"]]
    for value, error in islice(mediants(wanted), _MOST_MEDIANTS):
        off = f"{float(value / wanted - 1) * 100:+.4g} %" if value != wanted else "exact"
        rows.append([f"{value.numerator}/{value.denominator}", f"{error:+}" if error else "0", off])
    yield ""
    yield from columns(rows)


def _runs(asked: argparse.Namespace, wanted: Fraction) -> tuple[list[RealRatio], list[Train]]:
    """Return every way that is asked about, and the trains among them."""
    from lobework.gearing.ratios import of_percent, of_step_parts, of_steps

    alone = asked.decimals is None and (asked.lathe or asked.wheels or asked.steps)
    decimals = [] if alone else read("--decimals", asked.decimals or "2", wholes)
    with told("--decimals"):
        runs = [of_percent(wanted, places) for places in decimals]
    trains = _trains(asked, wanted)
    runs += [_by_train(train, wanted) for train in trains]
    if asked.steps is not None:
        steps = read("--steps", asked.steps, wholes)
        if len(steps) > 2:
            raise InputError(
                f"{asked.steps!r} must be steps in a turn of the cam, and of the spindle, such as 3200,6400", "--steps"
            )
        with told("--steps"):
            runs.append(of_steps(wanted, *steps))
    if asked.parts is not None:
        parts = read("--parts", asked.parts, whole)
        with told("--parts"):
            runs.append(of_step_parts(wanted, steps[0], steps[-1], parts))
    if asked.lathe is not None:
        runs.append(_by_lathe(asked, wanted))
    return runs, trains


def _by_lathe(asked: argparse.Namespace, wanted: Fraction) -> RealRatio:
    from dataclasses import replace

    from lobework.jobs.jobfile import read_lathe
    from lobework.lathe.actual_ratio import run_of

    number, lathe = read("--cam", asked.cam or "1", whole), read_lathe(asked.lathe)
    with told("--cam"):
        run = run_of(lathe, number, wanted)
    return replace(run, way=f"{lathe.name}, cam {number}: {run.way}")


def _trains(asked: argparse.Namespace, wanted: Fraction) -> list[Train]:
    """Return the nearest trains of one pair, two and so on; only the cheapest that is near enough, where that is said."""
    from lobework.gearing.change_wheels import train_for, train_to_cut, trains_for

    if asked.wheels is None:
        return []
    pairs = read("--pairs", asked.pairs or "2", whole)
    within = None if asked.within is None else _within(asked)
    if sizes := re.fullmatch(r"\s*(\d{1,9})\s*-\s*(\d{1,9})\s*", asked.wheels):
        if within is None:
            raise InputError(f"{asked.wheels!r} wants --within as well, such as --within '0.001 %'", "--wheels")
        with told("--wheels"):
            return [train_to_cut(wanted, within, pairs, *map(int, sizes.groups()))]
    wheels = read("--wheels", asked.wheels, wholes)
    with told("--wheels"):
        return list(trains_for(wanted, wheels, pairs)) if within is None else [train_for(wanted, wheels, pairs, within)]


def _within(asked: argparse.Namespace) -> Fraction:
    from lobework.quantities.units import ratio

    within = read("--within", asked.within, ratio)
    if not 0 <= within < 1:
        raise InputError(f"{asked.within!r} must be zero or more, as a part of the ratio, such as '0.01 %'", "--within")
    return within


def _by_train(train: Train, wanted: Fraction) -> RealRatio:
    from lobework.gearing.ratios import RealRatio

    return RealRatio(way=str(train), target=wanted, actual=train.ratio if wanted > 0 else -train.ratio)


def _row(run: RealRatio, turns: int, radius: float, seen: float, units: LengthUnit) -> list[str]:
    gap = run.gap(turns)
    apart = _apart(gap, radius, units) if gap else "none"
    max_deviation = f"within {_apart(run.max_deviation, radius, units)}" if run.max_deviation else "-"
    after = run.turns_until_seen(radius, seen) if radius else None
    never = f"after {_turns(after)}" if after else "never"
    return [run.way, _fraction_and_percent(run.actual), apart, max_deviation, *([never] if radius else [])]


def _fraction_and_percent(ratio: Fraction) -> str:
    """Return a ratio in percent, before it as a fraction where that is short."""
    percent = f"{float(ratio * 100):.9g} %"
    return f"{ratio} ({percent})" if ratio.denominator < _LONG else percent


def _plain(value: Fraction) -> str:
    return str(value) if value.denominator < _LONG else f"{float(value):.9g}"


def _apart(degrees: Fraction, radius: float, units: LengthUnit) -> str:
    """Return an angle of the work, and the length round it at a radius."""
    said = f"{float(degrees):.4g} deg"
    return f"{said}, {_shown(radians(degrees) * radius, units)}" if radius else said


def _shown(mm: float, units: LengthUnit) -> str:
    from lobework.quantities.units import MM_PER

    return f"{mm / float(MM_PER[units]):.3g} {'in' if units == 'inch' else 'mm'}"


def other_orders(trains: Iterable[Train]) -> Iterator[str]:
    """Yield a line for each train whose wheels may change places, with the other orders."""
    for train in trains:
        if train.pairs > 1:
            others = [str(each) for each in train.arrangements() if each != train]
            yield ""
            yield f"{train} may also stand so: {'; '.join(others[:3])}" + ("; and so on" if len(others) > 3 else "")


def _near_enough(asked: argparse.Namespace, wanted: Fraction, trains: Sequence[Train]) -> int:
    if asked.within is None or not trains or abs(trains[0].off(wanted)) <= _within(asked):
        return DONE
    off = float(abs(trains[0].off(wanted))) * 100
    print(f"\nno train of these wheels is within {asked.within} of {wanted}: the nearest, {trains[0]}, is {off:.4g} % off")
    return FOUND


def _turns(count: int) -> str:
    return "1 turn" if count == 1 else f"{count} turns"


def _index(asked: argparse.Namespace) -> int:
    wheel = _wheel(asked)
    units = units_of(asked, asked.radius)
    radius = above_zero("--radius", asked.radius, units, 0.0)
    every = _every(asked.divisions)
    circles = list(zip(*(wheel.near(turns) for turns in every), strict=True))
    for circle in circles:
        exact = sum(near.off == 0 for near in circle)
        worst = max(circle, key=lambda near: abs(near.off)).off
        off = "" if exact == len(every) else f"; at most {_apart(abs(worst), radius, units)} off"
        print(f"circle of {circle[0].circle}: {exact} of {len(every)} fall on it exactly{off}")
    for circle in circles:
        print()
        rows = [
            [str(part), f"{float(turns * 360):.9g}", near.setting, _off(near.off, radius, units)]
            for part, (turns, near) in enumerate(zip(every, circle, strict=True))
        ]
        print(*columns([["part", "degrees", f"on the circle of {circle[0].circle}", "off"], *rows]), sep="\n")
    return DONE


def _wheel(asked: argparse.Namespace) -> Wheel:
    """Return the wheel that is described, or that a lathe's spindle has."""
    from lobework.gearing.dividing_wheel import Wheel

    if (asked.wheel is None) == (asked.lathe is None):
        asked.verb.error("give --wheel, such as --wheel 96,112, or --lathe")
    if asked.lathe is None:
        holes: Any = read("--wheel", asked.wheel, wholes)
        worm = read("--worm", asked.worm or "1", whole)
        with told("--wheel"):
            return Wheel(holes, worm=worm)
    from lobework.jobs.jobfile import read_lathe

    hand = read_lathe(asked.lathe).hand_axis("spindle")
    if hand is None or hand.wheel is None:
        raise InputError(f"{asked.lathe!r} has no wheel on its spindle; its file says one in a [[hand]] table", "--lathe")
    return hand.wheel


def _every(given: Sequence[str]) -> list[Fraction]:
    """Return the turns of the work: a whole number alone divides it, more than one thing are angles."""
    from lobework.quantities.units import phase

    if len(given) == 1 and re.fullmatch(r"\d{1,9}", given[0].strip()):
        if not 1 <= (parts := int(given[0])) <= 1000:
            raise SettingError(f"{given[0]!r} must be 1 to 1000 divisions", "N")
        return [Fraction(part, parts) for part in range(parts)]
    found = [read("ANGLE", each, phase) for each in given]
    for each, angle in zip(given, found, strict=True):
        if angle.lobes:
            raise SettingError(f"{each!r} must be an angle; a wheel has no lobes", "ANGLE")
    return [angle.in_turns() for angle in found]


def _off(degrees: Fraction, radius: float, units: LengthUnit) -> str:
    if not degrees:
        return "exact"
    return f"{_apart(abs(degrees), radius, units)} {'further' if degrees > 0 else 'less'}"


VERBS: Final[Verbs] = {"ratio": _add_ratio, "index": _add_index}
