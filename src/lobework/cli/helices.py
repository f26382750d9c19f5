"""The verb on helices: what a cutting frame is set to, and the wheels that give a lead."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from fractions import Fraction
from math import inf, isfinite
from typing import TYPE_CHECKING, Any, Final

from lobework.cli.given import above_zero, columns, length_of, read, takes_signed, takes_units, told, units_of, whole, wholes
from lobework.cli.numbers import other_orders
from lobework.cli.parser import DONE, Parser, Verbs, add_verb

if TYPE_CHECKING:
    from lobework.quantities.units import LengthUnit

__all__ = ["VERBS"]


def _add_helix(verbs: Any, name: str) -> None:
    message = "give the angle at which a cutting frame swings along a helix, or the lead of an angle"
    verb = add_verb(verbs, name, message, "lobework helix --diameter '40 mm' --twist '60 deg' --over '50 mm'", _helix)
    takes_signed(verb)
    verb.add_argument("--diameter", metavar="LENGTH", nargs="+", required=True, help="of the work; several where it tapers")
    verb.add_argument("--lead", metavar="LENGTH", help="along the work in one turn of it")
    verb.add_argument("--twist", metavar="ANGLE", help="that the pattern turns by in the length that --over gives")
    verb.add_argument("--over", metavar="LENGTH", help="the length of --twist")
    verb.add_argument("--travel", metavar="LENGTH", help="of the slide, in the turns that --turns gives")
    verb.add_argument("--turns", metavar="N", help="of the spindle, in which the slide goes --travel")
    verb.add_argument("--angle", metavar="ANGLE", help="to the axis of the work: then its lead is given")
    verb.add_argument(
        "--even", metavar="LENGTH", help="that equal wheels from spindle to screw give: then the train from --wheels"
    )
    verb.add_argument(
        "--wheels", metavar="LIST", help="teeth of the wheels owned, such as 24,24,28,32,40; two alike listed twice"
    )
    verb.add_argument("--pairs", metavar="N", help="most pairs of wheels (otherwise 2)")
    takes_units(verb)


def _helix(asked: argparse.Namespace) -> int:
    from lobework.gearing.helix import helix_angle, lead_from_angle
    from lobework.quantities.units import angle

    units = units_of(asked, *asked.diameter, asked.lead, asked.over, asked.travel, asked.even)
    diameters = [length_of("--diameter", each, units) for each in asked.diameter]
    lead = _lead(asked, units)
    rows = [["diameter", "angle to the axis", "lead"]]
    angles = []
    for diameter in diameters:
        each_lead = lead if lead is not None else lead_from_angle(diameter, read("--angle", asked.angle, angle))
        angles.append(helix_angle(diameter, each_lead))
        rows.append([_long(diameter, units), f"{angles[-1]:.3f} deg", _long(each_lead, units)])
    geared = list(_geared(asked, lead, units))
    print(*columns(rows), sep="\n")
    if lead is not None and len(diameters) > 1:
        middle = (min(angles) + max(angles)) / 2
        print(f"\none setting for all: {middle:.3f} deg, at most {max(angles) - middle:.3f} deg out")
    for line in geared:
        print(line)
    return DONE


def _lead(asked: argparse.Namespace, units: LengthUnit) -> float | None:
    """Return the lead, mm, from whatever gives it; None where an angle is given instead."""
    from lobework.gearing.helix import lead_of_travel, lead_of_twist
    from lobework.quantities.units import angle, number

    ways = {"--lead": [asked.lead], "--twist and --over": [asked.twist, asked.over], "--angle": [asked.angle]}
    ways["--travel and --turns"] = [asked.travel, asked.turns]
    given = [way for way, parts in ways.items() if any(part is not None for part in parts)]
    if len(given) != 1 or None in ways[given[0]]:
        asked.verb.error(f"give one of {', '.join(ways)}" + (f"; there is {', '.join(given)}" if given else ""))
    if asked.lead is not None:
        return length_of("--lead", asked.lead, units)
    if asked.twist is not None:
        return lead_of_twist(length_of("--over", asked.over, units), read("--twist", asked.twist, angle))
    if asked.travel is not None:
        return lead_of_travel(length_of("--travel", asked.travel, units), float(read("--turns", asked.turns, number)))
    return None


def _long(mm: float, units: LengthUnit) -> str:
    from lobework.quantities.units import format_length

    return format_length(mm, units, 4) if isfinite(mm) else "endless"


def _geared(asked: argparse.Namespace, lead: float | None, units: LengthUnit) -> Iterator[str]:
    """Yield the wheels from the spindle to the screw that give a lead, where they are asked for."""
    from lobework.gearing.change_wheels import trains_for

    if asked.even is None and asked.wheels is None:
        return
    if asked.even is None or asked.wheels is None or lead is None or not 0 < abs(lead) < inf:
        verb: Parser = asked.verb
        verb.error("wheels are found for a lead, from --even and --wheels together")
    even = Fraction(str(above_zero("--even", asked.even, units, 0.0)))
    wheels, pairs = read("--wheels", asked.wheels, wholes), read("--pairs", asked.pairs or "2", whole)
    wanted = Fraction(str(abs(lead)))
    with told("--wheels"):
        trains = trains_for(wanted / even, wheels, pairs)
    rows = [["wheels from spindle to screw", "lead", "off"]]
    for train in trains:
        off = train.ratio * even - wanted
        rows.append([str(train), _long(float(train.ratio * even), units), _long(float(off), units) if off else "exact"])
    yield ""
    yield from columns(rows)
    yield from other_orders(trains[-1:])


VERBS: Final[Verbs] = {"helix": _add_helix}
