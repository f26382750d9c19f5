"""Verification of plugins: every item of a plugin is tested for every promise of its kind."""

from __future__ import annotations

import importlib
import itertools
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from lobework.errors import PluginError, UnknownNameError
from lobework.files.standard_output import to_stderr
from lobework.plugins import registry
from lobework.plugins.hookspecs import CONTRACT
from lobework.plugins.registry import Record
from lobework.plugins.sample import ExpectedValue, Sample
from lobework.plugins.validation import one_line, shortened_line
from lobework.testing.compare import Broken, assert_close
from lobework.testing.promise import Promise, Unjudged, registered_promises

__all__ = ["PromiseTest", "Report", "Verdict", "promise_tests_of", "promises_of", "verify"]

_KINDS: Final = {
    "chuck": "chucks",
    "cam": "cams",
    "follower": "followers",
    "cutter": "cutters",
    "piece": "pieces",
    "backend": "backends",
    "target": "targets",
    "check": "checks",
}

_EVERY_KIND: Final = ("fields", "others", "printing")
"""Modules with promises that apply to several kinds of items."""

_KNOWN: Final = "gives the known answers"
_KNOWN_DESCRIPTION: Final = "The item gives the answers that are known from publications or from geometry."


def promises_of(kind: str) -> tuple[Promise, ...]:
    """Return all promises of a kind of item.

    Raises
    ------
    UnknownNameError
        If there is no such kind.

    Examples
    --------
    >>> str(promises_of("chuck")[0])
    'chuck: keeps its settings'
    """
    if kind not in _KINDS:
        raise UnknownNameError("kind of thing", kind, _KINDS)
    order = [f"lobework.testing.{module}" for module in ("settings", _KINDS[kind], *_EVERY_KIND)]
    for module in order:
        importlib.import_module(module)
    found = sorted(registered_promises(kind), key=lambda each: [*order, each.tries.__module__].index(each.tries.__module__))
    return (
        *found,
        Promise(kind=kind, name=_KNOWN, description=_KNOWN_DESCRIPTION, tries=_known_answers, within="the tolerance of each"),
    )


def _ignores_item(known: ExpectedValue) -> bool:
    """Return whether the function of a known answer does not use the item."""
    try:
        known.asks(object())
    except KeyboardInterrupt:
        raise
    except BaseException:  # noqa: BLE001  (a function that uses the item fails without it)
        return False
    return True


def _largest_tolerance(gives: Any) -> float:
    """Return the largest allowed tolerance of a known answer: a fraction of its largest number, or 0.001 if it is zero."""
    largest = float(np.abs(np.asarray(gives, dtype=np.float64)).max(initial=0.0))
    return _LOOSEST * largest or 1e-3


_LOOSEST: Final = 0.05
"""Largest allowed tolerance of a known answer, as a fraction of the largest number in the answer."""


def _known_answers(sample: Sample) -> int:
    """Compare every known answer of the sample with the result of the item; return the number of known answers."""
    if not sample.known:
        raise Unjudged("its sample has no known answers; add a lobework.testing.ExpectedValue with its source")
    for number, known in enumerate(sample.known, 1):
        if not 0 <= known.within <= _largest_tolerance(known.gives):
            message = (
                f"within is {known.within!r}, which is too large; within must be at most {_largest_tolerance(known.gives):g}"
            )
            raise Broken(f"known answer {number}: {message}; source: {known.source}")
        if _ignores_item(known):
            raise Broken(f"known answer {number}: its function does not use the item under test; source: {known.source}")
        try:
            assert_close(known.asks(sample.part), known.gives, known.within, unit="")
        except Broken as broken:
            raise Broken(f"known answer {number}: {broken}; source: {known.source}") from None
    return len(sample.known)


@dataclass(frozen=True, slots=True, kw_only=True)
class PromiseTest:
    """One test: a promise, and an item that a plugin offers.

    Parameters
    ----------
    kind, name : str
        Kind and name of the item, such as "chuck" and "sway".
    promise : Promise
        The promise to test; for an item without a sample, the promise that the item has a sample.
    sample : Sample or None
        The sample to test with.
    number : int
        Number of the sample among the samples of the item, from 1; 0 if the item has only one sample.
    """

    kind: str
    name: str
    promise: Promise
    sample: Sample | None
    number: int = 0

    @property
    def title(self) -> str:
        """The item and the number of its sample: ``"chuck sway 2"``."""
        return f"{self.kind} {self.name}" + (f" {self.number}" if self.number else "")

    def __str__(self) -> str:
        return f"{self.title}: {self.promise.name}"

    def hold(self) -> int:
        """Test the promise and return the number of cases; see `Promise.hold`."""
        if self.sample is None:
            raise Broken(f"the plugin has no sample of {self.kind} {self.name!r}; return a sample from lobework_samples")
        return self.promise.hold(self.sample)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The result of testing one promise.

    Parameters
    ----------
    test : PromiseTest
        The test.
    cases : int
        Number of cases, all of which passed.
    broken : str
        Reason why the promise is broken; empty if the promise is not broken.
    unjudged : str
        Reason why the promise cannot be judged; empty if the promise can be judged.
    """

    test: PromiseTest
    cases: int = 0
    broken: str = ""
    unjudged: str = ""

    def __str__(self) -> str:
        promise = self.test.promise
        if self.broken:
            return f"{promise.name}: BROKEN: {shortened_line(self.broken)}"
        if self.unjudged:
            return f"{promise.name}: not judged: {shortened_line(self.unjudged)}"
        return f"{promise.name}: {_count_text(self.cases)}" + (f" within {promise.within}" if promise.within else "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """The results of verifying a plugin, or every plugin of a package.

    Parameters
    ----------
    plugins : tuple of Record
        The plugins that were verified.
    verdicts : tuple of Verdict
        The verdicts: one for each pair of a promise and a sample.
    speeds : mapping
        Run time, as text, for each sample of each item; the keys are the titles of the tests (`PromiseTest.title`).
    """

    plugins: tuple[Record, ...]
    verdicts: tuple[Verdict, ...]
    speeds: Mapping[str, str] = field(default_factory=dict)

    @property
    def kept(self) -> bool:
        """Whether every plugin is loaded and no promise is broken."""
        return not any(record.cause for record in self.plugins) and not any(each.broken for each in self.verdicts)

    @property
    def cases(self) -> int:
        """Number of cases of all promises, all of which passed."""
        return sum(each.cases for each in self.verdicts)

    def __str__(self) -> str:
        return "\n".join(self._lines())

    def _lines(self) -> Iterator[str]:
        for record in self.plugins:
            yield f"{record.title} is not loaded" if record.cause else f"{record.title}, contract {CONTRACT}"
            if record.path:
                yield f"loaded from {record.path}"
        for (title, _), group in itertools.groupby(self.verdicts, key=lambda each: (each.test.title, id(each.test.sample))):
            verdicts = list(group)
            yield f"{title}{_summary_of(verdicts[0].test.sample)}"
            yield from (f"  {each}" for each in verdicts)
            if title in self.speeds:
                yield f"  note: run time {self.speeds[title]}"
        broken = sum(bool(each.broken) for each in self.verdicts)
        unjudged = sum(bool(each.unjudged) for each in self.verdicts)
        kept = len(self.verdicts) - broken - unjudged
        parts = [f"{kept} of {len(self.verdicts)} promises kept in {_count_text(self.cases)}"]
        parts += [f"{broken} broken"] if broken else []
        parts += [f"{unjudged} not judged"] if unjudged else []
        yield ", ".join(parts)


def _count_text(cases: int) -> str:
    return "1 case" if cases == 1 else f"{cases} cases"


def _summary_of(sample: Sample | None) -> str:
    """Return the settings of a part, the abilities of a backend or the file of a target, for the title line."""
    if sample is None or sample.kind == "check":
        return ""
    part = sample.part
    try:
        if sample.kind == "backend":
            return f": {', '.join(sorted(part.can))}"
        return f": {part.file}, shows {part.shows}" if sample.kind == "target" else f": {shortened_line(repr(part))}"
    except KeyboardInterrupt:
        raise
    except BaseException as error:  # noqa: BLE001  (an error of a plugin must not end the report)
        return f": a {type(part).__name__} that cannot be printed: {one_line(error)}"


def _records_of(name: str) -> tuple[Record, ...]:
    """Return the plugin called ``name``, or all plugins of the package called ``name``."""
    shelf = registry.installed()
    every = (*shelf.loaded, *shelf.refused)
    same_package = re.sub(r"[-_.]+", "-", name).lower()
    found = tuple(each for each in every if each.name == name) or tuple(
        each for each in every if re.sub(r"[-_.]+", "-", each.package).lower() == same_package
    )
    if not found:
        raise UnknownNameError("plugin or package", name, {each.name for each in every})
    return found


def promise_tests_of(name: str) -> tuple[PromiseTest, ...]:
    """Return all tests of a plugin, or of all plugins of a package.

    Raises
    ------
    UnknownNameError
        If no plugin or package of that name is installed.
    PluginError
        If the samples of a plugin cannot be read.
    """
    return tuple(test for record in _records_of(name) for test in _tests_of(record))


def _tests_of(record: Record) -> Iterator[PromiseTest]:
    if record.cause or not record.offers:
        yield PromiseTest(kind="plugin", name=record.name, promise=_is_loaded(record), sample=Sample(_no_findings))
    samples = registry.installed().samples(record.name) if not record.cause else ()
    for sample in samples:
        if (sample.kind, sample.name) not in record.offers:
            raise PluginError(f"{record.title} returns a sample of {sample.kind} {sample.name!r}, but does not offer that item")
    for kind, name in record.offers:
        own = [sample for sample in samples if (sample.kind, sample.name) == (kind, name)]
        if not own:
            yield PromiseTest(kind=kind, name=name, promise=_HAS_SAMPLE, sample=None)
        known = any(sample.known for sample in own)
        for number, sample in enumerate(own, 1):
            for promise in promises_of(kind):
                if promise.name == _KNOWN and not sample.known and known:
                    continue
                yield PromiseTest(kind=kind, name=name, promise=promise, sample=sample, number=number if len(own) > 1 else 0)


def _is_loaded(record: Record) -> Promise:
    """Return the promise that a plugin is loaded and offers at least one item."""

    def tries(_: Sample) -> int:
        if record.cause:
            raise Broken(record.cause)
        raise Unjudged("the plugin offers nothing on this machine")

    return Promise(
        kind="plugin", name="is loaded", description="The plugin can be loaded, and offers at least one item.", tries=tries
    )


def _no_findings(cuts: object, traces: object) -> tuple[()]:  # noqa: ARG001
    """Return no findings: a substitute for the item of a plugin that offers nothing."""
    return ()


_HAS_SAMPLE: Final = Promise(
    kind="", name="has a sample", description="The plugin has a sample with which the item can be tested.", tries=lambda _: 1
)


def verify(name: str, progress: Callable[[float], None] | None = None) -> Report:
    """Test every promise of a plugin, or of every plugin of a package, and return the report.

    Parameters
    ----------
    name : str
        Name of a plugin or package; "built-in" for the built-in parts.
    progress : callable, optional
        Function that is called after each test with the fraction of the tests that are done, 0 to 1.

    Raises
    ------
    UnknownNameError
        If no plugin or package of that name is installed.
    """
    every = promise_tests_of(name)
    verdicts = []
    for number, test in enumerate(every, 1):
        verdicts.append(_verdict(test))
        if progress is not None:
            progress(number / len(every))
    return Report(plugins=_records_of(name), verdicts=tuple(verdicts), speeds=dict(_speeds(every)))


def _speeds(every: Iterable[PromiseTest]) -> Iterator[tuple[str, str]]:
    """Yield the title and the run time of each item with each sample; skip an item that fails: a promise reports the failure."""
    from lobework.testing.speed import speed_of

    samples = {test.title: test.sample for test in every if test.sample is not None and test.kind != "plugin"}
    for title, sample in samples.items():
        try:
            with to_stderr():
                speed = speed_of(sample)
        except KeyboardInterrupt:
            raise
        except BaseException:  # noqa: BLE001
            continue
        if speed:
            yield title, speed


def _verdict(test: PromiseTest) -> Verdict:
    try:
        return Verdict(test=test, cases=test.hold())
    except Broken as broken:
        return Verdict(test=test, broken=str(broken))
    except Unjudged as lacking:
        return Verdict(test=test, unjudged=str(lacking))
