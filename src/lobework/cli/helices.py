"""The subcommand for helices: the angle of a cutting frame, and the change wheels for a lead."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from fractions import Fraction
from math import inf, isfinite
from typing import TYPE_CHECKING, Any, Final

from lobework.cli.given import (
    above_zero,
    add_units,
    allow_signed_values,
    columns,
    length_of,
    option_errors,
    read,
    units_of,
    whole_number,
    whole_numbers,
)
from lobework.cli.numbers import other_orders
from lobework.cli.parser import DONE, Parser, Verbs, add_verb

if TYPE_CHECKING:
    from lobework.quantities.units import LengthUnit

__all__ = ["VERBS"]


def _add_helix(verbs: Any, name: str) -> None:
    message = "print the angle of a cutting frame for a helix, or the lead for an angle"
    verb = add_verb(verbs, name, message, "lobework helix --diameter '40 mm' --twist '60 deg' --over '50 mm'", _helix)
    allow_signed_values(verb)
    verb.add_argument(
        "--diameter", metavar="LENGTH", nargs="+", required=True, help="diameter of the work; give several if the work tapers"
    )
    verb.add_argument("--lead", metavar="LENGTH", help="lead of the helix: distance along the work per turn of the work")
    verb.add_argument("--twist", metavar="ANGLE", help="angle by which the pattern turns over the length --over")
    verb.add_argument("--over", metavar="LENGTH", help="length over which the pattern turns by --twist")
    verb.add_argument("--travel", metavar="LENGTH", help="travel of the slide in --turns turns of the spindle")
    verb.add_argument("--turns", metavar="N", help="turns of the spindle for --travel")
    verb.add_argument(
        "--angle", metavar="ANGLE", help="angle of the helix to the axis of the work; the lead for this angle is printed"
    )
    verb.add_argument(
        "--even",
        metavar="LENGTH",
        help="lead with change wheels of ratio 1; needed to choose the wheels for --lead from --wheels",
    )
    verb.add_argument(
        "--wheels",
        metavar="LIST",
        help="numbers of teeth of your wheels, such as 24,24,28,32,40; list a wheel twice if you own two",
    )
    verb.add_argument("--pairs", metavar="N", help="largest number of pairs of wheels (default: 2)")
    add_units(verb)


def _helix(options: argparse.Namespace) -> int:
    from lobework.gearing.helix import helix_angle, lead_from_angle
    from lobework.quantities.units import angle

    units = units_of(options, *options.diameter, options.lead, options.over, options.travel, options.even)
    diameters = [length_of("--diameter", each, units) for each in options.diameter]
    lead = _lead(options, units)
    rows = [["diameter", "angle to the axis", "lead"]]
    angles = []
    for diameter in diameters:
        lead_here = lead if lead is not None else lead_from_angle(diameter, read("--angle", options.angle, angle))
        angles.append(helix_angle(diameter, lead_here))
        rows.append([_length_text(diameter, units), f"{angles[-1]:.3f} deg", _length_text(lead_here, units)])
    train_lines = list(_train_lines(options, lead, units))
    print(*columns(rows), sep="\n")
    if lead is not None and len(diameters) > 1:
        middle = (min(angles) + max(angles)) / 2
        print(f"\none setting for all diameters: {middle:.3f} deg, at most {max(angles) - middle:.3f} deg off")
    for line in train_lines:
        print(line)
    return DONE


def _lead(options: argparse.Namespace, units: LengthUnit) -> float | None:
    """Return the lead, mm, from the options that give it; None if an angle is given instead."""
    from lobework.gearing.helix import lead_of_travel, lead_of_twist
    from lobework.quantities.units import angle, number

    choices = {"--lead": [options.lead], "--twist and --over": [options.twist, options.over], "--angle": [options.angle]}
    choices["--travel and --turns"] = [options.travel, options.turns]
    given = [name for name, parts in choices.items() if any(part is not None for part in parts)]
    if len(given) != 1 or None in choices[given[0]]:
        options.verb.error(f"give one of {', '.join(choices)}" + (f"; given: {', '.join(given)}" if given else ""))
    if options.lead is not None:
        return length_of("--lead", options.lead, units)
    if options.twist is not None:
        return lead_of_twist(length_of("--over", options.over, units), read("--twist", options.twist, angle))
    if options.travel is not None:
        return lead_of_travel(length_of("--travel", options.travel, units), float(read("--turns", options.turns, number)))
    return None


def _length_text(mm: float, units: LengthUnit) -> str:
    from lobework.quantities.units import format_length

    return format_length(mm, units, 4) if isfinite(mm) else "endless"


def _train_lines(options: argparse.Namespace, lead: float | None, units: LengthUnit) -> Iterator[str]:
    """Yield the lines on the change wheels from spindle to screw for a lead, if the options request them."""
    from lobework.gearing.change_wheels import trains_for

    if options.even is None and options.wheels is None:
        return
    if options.even is None or options.wheels is None or lead is None or not 0 < abs(lead) < inf:
        verb: Parser = options.verb
        verb.error("to choose change wheels, give a lead, --even and --wheels")
    even = Fraction(str(above_zero("--even", options.even, units, 0.0)))
    wheels, pairs = read("--wheels", options.wheels, whole_numbers), read("--pairs", options.pairs or "2", whole_number)
    wanted = Fraction(str(abs(lead)))
    with option_errors("--wheels"):
        trains = trains_for(wanted / even, wheels, pairs)
    rows = [["wheels from spindle to screw", "lead", "off"]]
    for train in trains:
        off = train.ratio * even - wanted
        rows.append(
            [str(train), _length_text(float(train.ratio * even), units), _length_text(float(off), units) if off else "exact"]
        )
    yield ""
    yield from columns(rows)
    yield from other_orders(trains[-1:])


VERBS: Final[Verbs] = {"helix": _add_helix}
