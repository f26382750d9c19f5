"""The promises of every check."""

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


def _cases() -> Iterator[tuple[str, list[Cut], Sequence[Trace]]]:
    """Yield test cases, each a name, cuts and the traces of the cuts.

    The cases are every job in inches and in mm, the last cut of each job alone, and no cuts at all.
    """
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
    "returns valid findings",
    "Each finding has a valid level and texts of one line; cuts without cams or turns, and no cuts at all, are accepted.",
)
def _finds(sample: Sample) -> int:
    levels = get_args(hints_of(Finding)["level"])
    cases = 0
    for name, cuts, traces in _cases():
        try:
            found = _found(sample.part, cuts, traces)
        except Exception as error:
            raise Broken(f"{name}: it fails: {type(error).__name__}: {error}") from error
        for each in found:
            if not isinstance(each, Finding):
                raise Broken(f"{name}: the check returns {each!r}, which is not a lobework.plugins.Finding")
            if each.level not in levels:
                raise Broken(
                    f"{name}: the check returns a finding of level {each.level!r}; the level must be one of {', '.join(levels)}"
                )
            for what in ("kind", "where", "message"):
                text = getattr(each, what)
                if not isinstance(text, str) or not text.strip() or len(text.splitlines()) != 1:
                    raise Broken(f"{name}: {what} is {text!r}; it must be one line of text")
        cases += 1 + len(found)
    return cases


@promised(
    "check",
    "returns the same findings again",
    "If the same cuts are given again, as a list or as a tuple, the check returns the same findings.",
)
def _again(sample: Sample) -> int:
    cases = 0
    for name, cuts, traces in _cases():
        first = _found(sample.part, cuts, traces)
        for again in (_found(sample.part, cuts, traces), _found(sample.part, tuple(cuts), list(traces))):
            if again != first:
                raise Broken(f"{name}: the findings differ the second time: {len(again)} findings instead of {len(first)}")
            cases += 1
    return cases


@promised("check", "does not change its input", "The check changes neither the cuts nor their traces.")
def _leaves_alone(sample: Sample) -> int:
    cases = 0
    for name, cuts, traces in _cases():
        given = list(cuts), list(traces)
        before = Snapshot(given)
        _found(sample.part, *given)
        cases += before.assert_unchanged(name)
    return cases


@promised(
    "check",
    "finds something",
    "The check returns a finding for one of the kit's jobs, or in a known answer of its sample.",
)
def _something(sample: Sample) -> int:
    found, cases = 0, 0

    @functools.wraps(sample.part)
    def counted(cuts: Sequence[Cut], traces: Sequence[Trace]) -> list[Finding]:
        nonlocal found, cases
        findings = _found(sample.part, cuts, traces)
        found, cases = found + len(findings), cases + 1
        return findings

    for _, cuts, traces in _cases():
        counted(cuts, traces)
    for known in sample.known:
        known.asks(counted)
    if not found:
        raise Broken(
            f"the check has no finding in {cases} cases; add to its sample an ExpectedValue in which the check has a finding"
        )
    return cases


@promised("check", "finds nothing without cuts", "Without cuts the check returns no findings.")
def _nothing(sample: Sample) -> int:
    if found := _found(sample.part, [], ()):
        raise Broken(f"the check has a finding without any cuts: {found[0]}")
    return 1
