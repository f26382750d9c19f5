"""What every check promises."""

from __future__ import annotations

import functools
from dataclasses import replace
from typing import TYPE_CHECKING, Any, get_args

from lobework.checks.check import Finding
from lobework.quantities.fields import hints_of
from lobework.testing.compare import Broken
from lobework.testing.jobs import JOBS
from lobework.testing.promise import promised
from lobework.testing.snapshots import Snapshot

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from lobework.kinematics.trace import Trace
    from lobework.lathe.passes import Cut
    from lobework.plugins.sample import Sample

__all__: list[str] = []


def _looked_at() -> Iterator[tuple[str, list[Cut], Sequence[Trace]]]:
    """Yield cuts and their traces: of every job, in mm and in inches, of one cut of each alone, and none at all."""
    for name in JOBS:
        traces = replace(JOBS[name], units="inch").trace()
        yield f"{name}, in inch", [each.cut for each in traces], traces
        traces = JOBS[name].trace()
        yield name, [each.cut for each in traces], traces
        yield f"the last cut of {name}", [traces[-1].cut], traces[-1:]
    yield "no cuts at all", [], ()


def _found(check: Any, cuts: Sequence[Cut], traces: Sequence[Trace]) -> list[Finding]:
    return list(check(cuts, traces))


@promised(
    "check",
    "finds findings",
    "What it finds is told in one line each, with its level, whatever there is to look at: no cams, no turns, nothing.",
)
def _finds(sample: Sample) -> int:
    levels = get_args(hints_of(Finding)["level"])
    cases = 0
    for name, cuts, traces in _looked_at():
        try:
            found = _found(sample.part, cuts, traces)
        except Exception as error:
            raise Broken(f"{name}: it fails: {type(error).__name__}: {error}") from error
        for each in found:
            if not isinstance(each, Finding):
                raise Broken(f"{name}: it finds {each!r}, which is not a lobework.plugins.Finding")
            if each.level not in levels:
                raise Broken(f"{name}: it finds a {each.level!r}; a level is one of {', '.join(levels)}")
            for what in ("kind", "where", "message"):
                text = getattr(each, what)
                if not isinstance(text, str) or not text.strip() or len(text.splitlines()) != 1:
                    raise Broken(f"{name}: {what} is {text!r}; it must be one line of words")
        cases += 1 + len(found)
    return cases


@promised("check", "finds the same again", "Looked at again, as a list or as a tuple, the same cuts give the same findings.")
def _again(sample: Sample) -> int:
    cases = 0
    for name, cuts, traces in _looked_at():
        first = _found(sample.part, cuts, traces)
        for again in (_found(sample.part, cuts, traces), _found(sample.part, tuple(cuts), list(traces))):
            if again != first:
                raise Broken(f"{name}: it finds {len(again)} things for {len(first)} the second time, or others")
            cases += 1
    return cases


@promised("check", "leaves its input alone", "It changes neither the cuts nor their traces.")
def _leaves_alone(sample: Sample) -> int:
    cases = 0
    for name, cuts, traces in _looked_at():
        given = list(cuts), list(traces)
        before = Snapshot(given)
        _found(sample.part, *given)
        cases += before.assert_unchanged(name)
    return cases


@promised(
    "check",
    "finds something",
    "In one of the kit's jobs, or where its sample asks it a known question, there is something that it finds.",
)
def _something(sample: Sample) -> int:
    found, cases = 0, 0

    @functools.wraps(sample.part)
    def watched(cuts: Sequence[Cut], traces: Sequence[Trace]) -> list[Finding]:
        nonlocal found, cases
        told = _found(sample.part, cuts, traces)
        found, cases = found + len(told), cases + 1
        return told

    for _, cuts, traces in _looked_at():
        watched(cuts, traces)
    for known in sample.known:
        known.asks(watched)
    if not found:
        raise Broken(f"it finds nothing, in {cases} tries; give its sample an ExpectedValue in which it finds something")
    return cases


@promised("check", "finds nothing in nothing", "Where there are no cuts there is nothing to find.")
def _nothing(sample: Sample) -> int:
    if found := _found(sample.part, [], ()):
        raise Broken(f"without any cuts it finds: {found[0]}")
    return 1
