"""What a machine does when it runs a program, by an interpreter that is not ours, and whether two such runs are the same."""

from __future__ import annotations

import math
import re
from typing import NamedTuple

import numpy as np

from tests.proof.test_reader_and_interpreter import carried_out

MESSAGE = re.compile(r'MESSAGE\("(.*)"\)')
TOLERANCE_MM = 0.02
"""Two paths this near are the same for a tolerance of 0.01 mm."""
MM_A_DEGREE = 0.1
SLOWER, FASTER = 1.6, 0.985


class Run(NamedTuple):
    """Events of a run: (kind, (6,) mm and degrees, seconds); the words of each stop; what it ends as."""

    events: list
    words: list


def run_of(stdout):
    lines = stdout.splitlines()
    words, last = [], ""
    for line in lines:
        if match := MESSAGE.search(line):
            last = "".join(match[1].split()).lower()
        elif "STRAIGHT_" in line or "ARC_FEED" in line:
            last = ""
        elif "PROGRAM_STOP" in line and "OPTIONAL" not in line:
            words.append(last)
            last = ""
    return Run(carried_out("\n".join(line for line in lines if "MESSAGE(" not in line)), words)


def _moves(run, kinds):
    found, here = [], np.zeros(6)
    for kind, to, seconds in run.events:
        if kind in kinds:
            found.append((kind, here, to, seconds))
        if kind in (0, 1, 2):
            here = to
    return [each for each in found if np.abs(each[1] - each[2]).max() > 1e-9 or each[0] > 2]


def _apart(one, other):
    off = np.abs(one - other)
    return max(off[:3].max(), MM_A_DEGREE * off[3:].max())


def same(one, other):
    """Return whether two runs are the same to the last figure that is printed."""
    if len(one.events) != len(other.events) or one.words != other.words:
        return False
    return all(
        a[0] == b[0] and _apart(a[1], b[1]) < 1e-3 and (math.isnan(a[2]) or abs(a[2] - b[2]) <= 1e-3 * max(a[2], 0.1))
        for a, b in zip(one.events, other.events, strict=True)
    )


def _one_slide(move):
    """Return whether a move goes along one slide alone: the way in or out, which may begin further out."""
    return (move[1] != move[2]).sum() == 1 and (move[1] != move[2])[:3].any()


def _creeps(move):
    """Return whether the slides go so little that the interpreter's four decimals do not tell how fast."""
    return 0 < np.linalg.norm((move[1] - move[2])[:3]) < 0.05


def _on_past(mine, theirs):
    """Return whether a move goes on a little past the end of another, the same way."""
    way, more = mine[2] - mine[1], theirs[2] - mine[2]
    return bool((more * way >= 0).all() and (np.abs(more) <= 0.12 * np.abs(way) + 1e-9).all())


def _within(words, others):
    """Return whether the stops of a run are all among those of another, in order."""
    left = iter(others)
    return all(any(word == other for other in left) for word in words)


def differs(one, other):
    """Return what of a run differs so much from another that it must be found; empty if nothing does."""
    mine, theirs = _moves(one, (1, 2)), _moves(other, (1, 2))
    if len(mine) != len(theirs):
        return "moves at a feed"
    for a, b in zip(mine, theirs, strict=True):
        out = (_one_slide(a) and _one_slide(b)) or _on_past((a[0], a[2], a[1]), (b[0], b[2], b[1]))
        begins = 0.0 if out else _apart(a[1], b[1])
        if max(begins, 0.0 if _on_past(a, b) else _apart(a[2], b[2])) > TOLERANCE_MM:
            return "a place"
        if _creeps(a) or _creeps(b):
            continue
        if b[3] < FASTER * a[3] and abs(b[3] - a[3]) > 0.02:
            return "faster"
        if b[3] > SLOWER * a[3] + 3:
            return "slower"
    if not _within(one.words, other.words):
        return "the words of stops" if len(one.words) == len(other.words) else "stops"
    further = other.events[-1][1] - one.events[-1][1]
    further[3:] = (further[3:] + 180) % 360 - 180
    if _apart(further, 0.0 * further) > TOLERANCE_MM and not ((further != 0).sum() == 1 and further[:3].max() > 0):
        return "the end"
    return ""
