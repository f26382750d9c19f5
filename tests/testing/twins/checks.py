"""A check that keeps every promise, and its faulty twins."""

from __future__ import annotations

import itertools

import numpy as np

from lobework.checks.check import Finding
from lobework.testing import ExpectedValue, Sample
from tests.testing.twins.twin import Twin


def finding(cut, **given):
    return Finding(**{"kind": "turns", "level": "note", "where": cut.title, "message": f"{cut.passed.turns} turns", **given})


def turns(cuts, traces):
    return [finding(cut) for cut in cuts if cut.passed.turns > 1]


def rude(cuts, traces):
    return ["too many turns" for cut in cuts]


def shouting(cuts, traces):
    return [finding(cut, level="ERROR") for cut in cuts]


def wordy(cuts, traces):
    return [finding(cut, message="one thing\nand another") for cut in cuts]


def speechless(cuts, traces):
    return [finding(cut, where=" ") for cut in cuts]


def driven(cuts, traces):
    """Takes it that every pass has a cam."""
    return [finding(cut, message=cut.passed.cams[0].name) for cut in cuts]


def averaging(cuts, traces):
    """Takes it that there is a cut."""
    return [finding(cuts[0], message=f"{sum(cut.passed.turns for cut in cuts) / len(cuts)} turns")]


COUNT = itertools.count()


def counting(cuts, traces):
    return [finding(cut, message=f"cut {next(COUNT)}") for cut in cuts]


def listing(cuts, traces):
    """Takes nothing but a list."""
    return [finding(cut) for cut in ([*cuts] if isinstance(cuts, list) else [])]


def sorting(cuts, traces):
    if isinstance(cuts, list):
        cuts.sort(key=lambda cut: cut.title)
        del cuts[3:]
    return turns(cuts, traces)


def moving(cuts, traces):
    for each in traces:
        np.add(each.x, 1e-12, out=each.x)
    return turns(cuts, traces)


def blind(cuts, traces):
    """Finds nothing in anything."""
    return []


def constant(cuts, traces):
    """Finds the same in whatever it is shown."""
    return [Finding(kind="turns", level="note", where="the job", message="look at it again")]


def chatty(cuts, traces):
    print("looking")
    return turns(cuts, traces)


def in_mm(cuts, traces):
    """Fails where the job is in inches."""
    return [finding(cut, message={"mm": "in mm"}[cut.units]) for cut in cuts]


SEEN = set()


def once(cuts, traces):
    """Says each thing once, and never again."""
    new = [each for each in turns(cuts, traces) if each not in SEEN]
    SEEN.update(new)
    return new


NONE = ExpectedValue(lambda it: len(it([], [])), 0, "nothing to look at")
ONE = ExpectedValue(lambda it: len(it([], [])), 1, "a book, page 9")

TWINS = [
    Twin("finds words", "returns valid findings", Sample(rude), "which is not a lobework.plugins.Finding"),
    Twin(
        "a level that there is not", "returns valid findings", Sample(shouting), "the level must be one of note, warning, problem"
    ),
    Twin("two lines", "returns valid findings", Sample(wordy), "it must be one line of text"),
    Twin("nowhere", "returns valid findings", Sample(speechless), "where is ' '"),
    Twin("fails without cams", "returns valid findings", Sample(driven), "one ring, in inch: it fails: IndexError"),
    Twin("fails without cuts", "returns valid findings", Sample(averaging), "no cuts at all: it fails"),
    Twin("counts its calls", "returns the same findings again", Sample(counting), "the second time"),
    Twin(
        "takes a list alone",
        "returns the same findings again",
        Sample(listing),
        "the findings differ the second time: 0 findings instead of 1",
    ),
    Twin("finds nothing in anything", "finds something", Sample(blind, known=[NONE]), "the check has no finding in 11 cases"),
    Twin(
        "finds the same in everything", "finds nothing without cuts", Sample(constant), "the check has a finding without any cuts"
    ),
    Twin("prints what it does", "prints nothing", Sample(chatty), "the item prints 'looking'"),
    Twin("fails in inches", "returns valid findings", Sample(in_mm), "in inch: it fails: KeyError"),
    Twin(
        "says each thing once",
        "returns the same findings again",
        Sample(once),
        "the findings differ the second time: 0 findings instead of",
    ),
    Twin("drops cuts from the list", "does not change its input", Sample(sorting), "changes its input"),
    Twin("moves the traces", "does not change its input", Sample(moving), "changes its input: [1][0].x"),
    Twin(
        "another answer than the book's", "gives the known answers", Sample(turns, known=[ONE]), "0 instead of 1; source: a book"
    ),
]
HONESTS = [Sample(turns, known=[NONE])]
