"""Jobs drawn by chance, cheap to trace: every kind of lathe, pass, pace and controller; and what their programs are held to.

The reader in here is for programs that lobework wrote: it shares nothing with the writer but the standard (NISTIR 6556, 2000).
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from lobework.jobs.job import Job
from lobework.kinematics.trace import trace
from lobework.lathe.lathe import Axis, CamShaft, Controller, Lathe
from lobework.lathe.passes import Pass
from lobework.parts.cam import Scallop, Wave
from lobework.parts.chuck import EccentricChuck, Oval
from lobework.parts.cutter import Pen
from lobework.parts.drive import Drive
from lobework.parts.feeds import Feeds
from lobework.parts.follower import Knife, Roller
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Barrel, Disc
from lobework.parts.slide import At, SlideArc
from lobework.parts.template import Template
from lobework.parts.twist import Twist
from tests.search import examples

EDGES = (
    (Wave(lobes=4, base_radius=60.0, rise=4.0), Roller(3.0)),
    (Wave(lobes=12, base_radius=60.0, rise=1.5), Roller(2.0)),
    (Scallop(lobes=6, base_radius=60.0, rise=2.0), Roller(3.0)),
    (Wave(lobes=3, base_radius=50.0, rise=6.0), Knife()),
)
FACES = (
    (Wave(lobes=8, base_radius=40.0, rise=1.0, on="face"), Knife()),
    (Wave(lobes=24, base_radius=40.0, rise=0.4, on="face"), Roller(1.0)),
)
DRAWN = int(os.environ.get("LOBEWORK_DRAWN", examples(900)))
"""How many jobs the suite draws."""


def _one(rng, *of):
    return of[int(rng.integers(len(of)))]


def _between(rng, low, high):
    return round(float(rng.uniform(low, high)), 3)


def _tens(rng, low, high):
    """Return a number as likely in each decade."""
    return float(f"{10 ** rng.uniform(np.log10(low), np.log10(high)):.3g}")


def _axis(rng, moves, letter, fastest):
    turns = letter in "ABC"
    speed = _tens(rng, *((2.0, 400.0) if turns else (0.5, 60.0)))
    change = _tens(rng, *((5.0, 4000.0) if turns else (1.0, 500.0)))
    given = {} if rng.random() < 0.2 and not fastest else {"top_speed": speed}
    given |= {} if rng.random() < 0.2 else {"acceleration": change}
    ends = {} if turns else {"low": -60.0 if letter != "Y" else -40.0, "high": 160.0 if letter != "Y" else 40.0}
    return Axis(moves=moves, letter=letter, **given, **ends)


def drawn_lathe(rng, fastest=False):
    """Return a lathe of any kind, with limits of any size."""
    sideways = _one(rng, "fixed", "slides", "rocks", "software")
    moves = [("spindle", "C"), ("x", "X"), ("z", "Z")]
    own = sideways in ("slides", "rocks") and rng.random() < 0.8
    moves += [("cam 1", "A")] if own else []
    moves += [("cutter", "B")] if rng.random() < 0.3 else []
    moves += [("y", "Y")] if rng.random() < 0.3 else []
    head = {"rocks": Headstock(sideways="rocks", endways="pumps", pivot_height=250.0)}.get(
        sideways, Headstock(sideways="slides" if sideways == "slides" else "fixed", endways=_one(rng, "pumps", "fixed"))
    )
    controller = Controller(
        slide_places=_one(rng, None, None, 5, 4),
        rotary_places=_one(rng, 6, 6, 5, 4),
        line_numbers=bool(rng.random() < 0.3),
        inverse_time=bool(rng.random() < 0.8),
        comments=_one(rng, "parentheses", "parentheses", "semicolon", "none"),
    )
    lathe = Lathe(
        name="drawn",
        headstock=head,
        axes=tuple(_axis(rng, *each, fastest) for each in moves),
        cams=(CamShaft(number=1, turned_by="software"),) if sideways == "software" else (),
        controller=controller,
    )
    for chuck in (EccentricChuck(shift=_between(rng, 0, 6)), Oval(throw=_between(rng, 0, 4))):
        if rng.random() < 0.2:
            lathe = lathe.mount(chuck)
    return lathe


def _drive(rng, lathe, barrel):
    software = lathe.cam_shaft(1).turned_by == "software"
    own = software or lathe.axis("cam 1") is not None
    kinds = EDGES if software or lathe.headstock.sideways != "fixed" else ()
    kinds += FACES if software or lathe.headstock.endways == "pumps" else ()
    if not kinds or rng.random() < 0.15:
        return ()
    cam, nose = _one(rng, *kinds)
    twist = None
    if own and rng.random() < 0.4:
        ease = _one(rng, 0, "1/4", "1/2")
        twist = Twist(angle=f"{_one(rng, 1, -2)} lobe", over=_between(rng, 8, 40), ease=ease)
        twist = twist if barrel or rng.random() < 0.3 else Twist(angle="1 lobe", turns=_one(rng, 1, 2), ease=ease)
    ratio = _one(rng, Fraction(1), Fraction(3, 4), Fraction(-1), Fraction(2)) if own else Fraction(1)
    side = _one(rng, "front", "back")
    return (Drive(cam, follower=nose, ratio=ratio, phase=f"1/{_one(rng, 2, 8)} lobe", side=side, twist=twist),)


def _pass(rng, lathe, barrel):
    cams = _drive(rng, lathe, barrel)
    depth = _between(rng, 0.05, 0.6)
    y = _between(rng, -2, 2) if lathe.axis("y") and rng.random() < 0.3 else 0.0
    turns = _one(rng, Fraction(1), Fraction(1, 2), Fraction(2), Fraction(5, 4))
    at = At(x=20.0, y=y, z=_between(rng, -20, -5), depth=depth) if barrel else At(x=_between(rng, 4, 26), y=y, depth=depth)
    way = _one(rng, "ring", "ring", "travel", "travel", "along", "along", "arc", "arc", "template", "in")
    if way == "ring":
        return Pass(turns=turns, at=at, cams=cams)
    if way == "in":
        return Pass(turns=Fraction(0), at=at)
    turns = Fraction(0) if way == "along" or rng.random() < 0.3 else turns
    cams = tuple(each for each in cams if turns or each.twist is None or each.twist.turns is None)
    if way == "arc":
        cutter = "turns" if lathe.axis("cutter") and rng.random() < 0.6 else "keeps"
        ends = sorted((_between(rng, 5, 40), _between(rng, 45, 85)), reverse=bool(rng.random() < 0.5))
        arc = SlideArc(radius=20.0, from_deg=ends[0], to_deg=ends[1], cutter=cutter)
        return Pass(turns=turns, at=At(x=0.0, z=-20.0, depth=depth), arc=arc, cams=cams)
    if way == "template":
        points = (
            ((0.0, 20.0), (-8.0, 18.0), (-20.0, 20.0), (-30.0, 17.0)) if barrel else ((-1.0, 5.0), (-0.2, 12.0), (-2.0, 26.0))
        )
        template = Template(points=points, smooth=bool(rng.random() < 0.5))
        return Pass(turns=turns, at=At(depth=depth), template=template, cams=cams)
    travel = (
        At(x=_between(rng, -3, 0), z=_between(rng, -15, -1)) if barrel else At(x=_between(rng, -4, 4), z=_between(rng, -0.2, 0))
    )
    return Pass(turns=turns, at=at, travel=travel if travel != At() else At(x=1.0), cams=cams)


def drawn_job(rng):
    """Return a job of one to three short cuts; it may be one that its lathe cannot do."""
    pace = _one(rng, "spindle", "spindle", "cutter", "fastest")
    lathe, barrel = drawn_lathe(rng, pace == "fastest"), bool(rng.random() < 0.5)
    feeds = Feeds(
        spindle_rpm=_tens(rng, 0.2, 60.0),
        clear=_between(rng, 6, 12),
        plunge=_tens(rng, 5.0, 600.0),
        pace=pace,
        feed=_tens(rng, 10.0, 3000.0),
        tolerance=_one(rng, 0.005, 0.005, 0.002, 0.02),
        dwell=_one(rng, 0.0, 0.0, 0.25),
    )
    one = _pass(rng, lathe, barrel)
    return Job(
        title="drawn",
        lathe=lathe,
        piece=Barrel(diameter=40.0, length=50.0) if barrel else Disc(diameter=60.0, thickness=8.0),
        cutter=Pen(),
        passes=[one.series(2, depth=0.05) if rng.random() < 0.3 else one],
        units=_one(rng, "mm", "mm", "inch"),
        chord=0.02,
        feeds=feeds,
    )


def drawn(numbers, seed=2026):
    """Yield jobs, each with its number: (seed, number) draws it again."""
    for number in numbers:
        yield number, drawn_job(np.random.default_rng((seed, number)))


def traces_of(job):
    """Return the traces of a job, without asking first how large they will be."""
    return [trace(cut, chord=job.chord) for cut in job.cuts()]


_WORD = re.compile(r"([A-Z])([-+]?[0-9.]+)")
_LETTERS = "XYZABC"


@dataclass(frozen=True)
class Read:
    """A program's moves as its text says them: (m, 6) mm and degrees, X Y Z A B C, in runs without a stop."""

    minutes: np.ndarray
    ends: np.ndarray
    starts: np.ndarray
    runs: np.ndarray
    fast: np.ndarray


def read_program(text, joined=True):
    """Return the moves of a program that lobework wrote; with ``joined``, only what truly stops parts two runs."""
    place, unit, inverse, feed = [np.nan] * 6, 1.0, False, None
    rows, run, moves = [], 0, None
    for line in text.decode("ascii").splitlines():
        if not line or line[0] in "(;":
            continue
        words = _WORD.findall(line)
        stopped = False
        begin = list(place)
        for letter, number in words:
            if letter == "G":
                code = number
                if code in ("20", "21"):
                    unit = 25.4 if code == "20" else 1.0
                elif code in ("93", "94"):
                    inverse = code == "93"
                    feed = None if inverse else feed
                    stopped |= not joined
                elif code in ("0", "1"):
                    moves = code
                elif code == "4":
                    stopped = True
            elif letter == "M":
                stopped = True
            elif letter == "F":
                feed = float(number)
            elif letter in _LETTERS:
                at = _LETTERS.index(letter)
                place[at] = float(number) * (unit if at < 3 else 1.0)
        run += stopped
        if any(letter in _LETTERS for letter, _ in words):
            fast = moves == "0"
            run += fast
            off = np.nan_to_num(np.array(place) - np.array(begin))
            if fast:
                minutes = 0.0
            elif inverse:
                minutes = 1 / feed
                feed = None
            else:
                along = np.linalg.norm(off[:3]) / unit
                minutes = (along or np.linalg.norm(off[3:])) / feed
            rows.append((minutes, run, fast, begin, list(place)))
            run += fast
    minutes, runs, fast, starts, ends = zip(*rows, strict=True)
    return Read(np.array(minutes), np.array(ends), np.array(starts), np.array(runs), np.array(fast))


def overstepped(text, lathe):
    """Return by how much a program oversteps the lathe, as parts of its limits: travel (mm, degrees), speed, acceleration."""
    read = read_program(text)
    of = {axis.letter: axis for axis in lathe.axes}
    travel = speed = change = 0.0
    goes = ~read.fast
    for at, letter in enumerate(_LETTERS):
        places = read.ends[:, at]
        if letter not in of:
            assert np.isnan(places).all(), letter
            continue
        axis = of[letter]
        known = places[~np.isnan(places)]
        travel = max(travel, *(axis.low - known), *(known - axis.high), 0.0) if known.size else travel
        seconds = 60 * read.minutes[goes]
        v = np.nan_to_num((read.ends[:, at] - read.starts[:, at])[goes]) / seconds
        runs = read.runs[goes]
        speed = max(speed, float(np.abs(v).max(initial=0.0)) / axis.top_speed)
        last = np.append(runs[1:] != runs[:-1], True)
        first = np.append(True, last[:-1])
        for rest in (first, last):
            change = max(change, float((np.abs(v[rest]) / seconds[rest]).max(initial=0.0)) / axis.acceleration)
        same = ~last[:-1]
        turned = np.abs(np.diff(v))[same] / np.minimum(seconds[1:], seconds[:-1])[same]
        change = max(change, float(turned.max(initial=0.0)) / axis.acceleration)
    return travel, speed, change
