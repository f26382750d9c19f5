"""Everything that a plugin offers, held to every promise of its kind."""

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
from lobework.plugins.validation import one_line, plain
from lobework.testing.compare import Broken, assert_close
from lobework.testing.promise import Promise, Unjudged, made

__all__ = ["Asked", "Report", "Verdict", "asked_of", "promises_of", "verify"]

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
"""Modules whose promises several kinds keep."""

_KNOWN: Final = "gives the known answers"
_KNOWN_SAYS: Final = "Where the answer is known, from a book or from geometry, that is what it gives."


def promises_of(kind: str) -> tuple[Promise, ...]:
    """Return every promise of a kind of thing.

    Raises
    ------
    UnknownNameError
        Where there is no such kind.

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
    found = sorted(made(kind), key=lambda each: [*order, each.tries.__module__].index(each.tries.__module__))
    return (*found, Promise(kind=kind, name=_KNOWN, description=_KNOWN_SAYS, tries=_known_answers, within="what each says"))


def _asks_nothing(known: ExpectedValue) -> bool:
    """Return whether a question can be answered without the thing that it is asked of."""
    try:
        known.asks(object())
    except KeyboardInterrupt:
        raise
    except BaseException:  # noqa: BLE001  (a question that needs the thing fails without it)
        return False
    return True


def _tolerable(gives: Any) -> float:
    """Return how far off a known answer may be at most: a twentieth of its largest number, a thousandth if that is zero."""
    largest = float(np.abs(np.asarray(gives, dtype=np.float64)).max(initial=0.0))
    return _LOOSEST * largest or 1e-3


_LOOSEST: Final = 0.05


def _known_answers(sample: Sample) -> int:
    """Ask everything to which the answer is known."""
    if not sample.known:
        raise Unjudged("its sample has no known; give a lobework.testing.ExpectedValue with its source")
    for number, known in enumerate(sample.known, 1):
        if not 0 <= known.within <= _tolerable(known.gives):
            message = f"within is {known.within!r}, so that almost anything is right; {_tolerable(known.gives):g} at most"
            raise Broken(f"known {number}: {message}; source: {known.source}")
        if _asks_nothing(known):
            raise Broken(f"known {number}: it asks nothing of what is tried: anything gives its answer; source: {known.source}")
        try:
            assert_close(known.asks(sample.part), known.gives, known.within, unit="")
        except Broken as broken:
            raise Broken(f"known {number}: {broken}; source: {known.source}") from None
    return len(sample.known)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One promise asked of one thing that a plugin offers.

    Parameters
    ----------
    kind, name : str
        Of the thing, such as "chuck" and "sway".
    promise : Promise
        What is asked; of a thing without a sample, that there is one.
    sample : Sample or None
        What it is tried with.
    number : int
        Which of the thing's samples, from 1; 0 where there are not several.
    """

    kind: str
    name: str
    promise: Promise
    sample: Sample | None
    number: int = 0

    @property
    def title(self) -> str:
        """The thing, and which of its samples: ``"chuck sway"``."""
        return f"{self.kind} {self.name}" + (f" {self.number}" if self.number else "")

    def __str__(self) -> str:
        return f"{self.title}: {self.promise.name}"

    def hold(self) -> int:
        """Return how many cases were tried; see `Promise.hold`."""
        if self.sample is None:
            raise Broken(f"offers no sample of {self.kind} {self.name!r}; return one from lobework_samples")
        return self.promise.hold(self.sample)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What became of one promise.

    Parameters
    ----------
    asked : Asked
        What was asked.
    cases : int
        How many were tried and kept.
    broken : str
        Why it is not kept; empty where it is.
    unjudged : str
        Why it cannot be judged; empty where it can.
    """

    asked: Asked
    cases: int = 0
    broken: str = ""
    unjudged: str = ""

    def __str__(self) -> str:
        promise = self.asked.promise
        if self.broken:
            return f"{promise.name}: BROKEN: {plain(self.broken)}"
        if self.unjudged:
            return f"{promise.name}: not judged: {plain(self.unjudged)}"
        return f"{promise.name}: {_counted(self.cases)}" + (f" within {promise.within}" if promise.within else "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What came of verifying a plugin, or every plugin of a package.

    Parameters
    ----------
    plugins : tuple of Record
        Those that it was asked for.
    verdicts : tuple of Verdict
        One for each promise and sample.
    speeds : mapping
        From the title of each thing and sample (`Asked.title`) to how long it takes, in words.
    """

    plugins: tuple[Record, ...]
    verdicts: tuple[Verdict, ...]
    speeds: Mapping[str, str] = field(default_factory=dict)

    @property
    def kept(self) -> bool:
        """Whether every plugin came in and no promise is broken."""
        return not any(record.cause for record in self.plugins) and not any(each.broken for each in self.verdicts)

    @property
    def cases(self) -> int:
        """How many were tried and kept, of every promise together."""
        return sum(each.cases for each in self.verdicts)

    def __str__(self) -> str:
        return "\n".join(self._lines())

    def _lines(self) -> Iterator[str]:
        for record in self.plugins:
            yield f"{record.title} is left out" if record.cause else f"{record.title}, contract {CONTRACT}"
            if record.path:
                yield f"loaded from {record.path}"
        for (title, _), of_thing in itertools.groupby(self.verdicts, key=lambda each: (each.asked.title, id(each.asked.sample))):
            verdicts = list(of_thing)
            yield f"{title}{_claims(verdicts[0].asked.sample)}"
            yield from (f"  {each}" for each in verdicts)
            if title in self.speeds:
                yield f"  note: takes {self.speeds[title]}"
        broken = sum(bool(each.broken) for each in self.verdicts)
        unjudged = sum(bool(each.unjudged) for each in self.verdicts)
        kept = len(self.verdicts) - broken - unjudged
        parts = [f"{kept} of {len(self.verdicts)} promises kept in {_counted(self.cases)}"]
        parts += [f"{broken} broken"] if broken else []
        parts += [f"{unjudged} not judged"] if unjudged else []
        yield ", ".join(parts)


def _counted(cases: int) -> str:
    return "1 case" if cases == 1 else f"{cases} cases"


def _claims(sample: Sample | None) -> str:
    """Return what a thing says that it can do, for the line that it stands under."""
    if sample is None or sample.kind == "check":
        return ""
    part = sample.part
    try:
        if sample.kind == "backend":
            return f": {', '.join(sorted(part.can))}"
        return f": {part.file}, shows {part.shows}" if sample.kind == "target" else f": {plain(repr(part))}"
    except KeyboardInterrupt:
        raise
    except BaseException as error:  # noqa: BLE001  (whatever a plugin raises, its report is whole)
        return f": a {type(part).__name__} that cannot be shown: {one_line(error)}"


def _named(name: str) -> tuple[Record, ...]:
    """Return the plugins by a name, or of a package by it."""
    shelf = registry.installed()
    every = (*shelf.loaded, *shelf.refused)
    same_package = re.sub(r"[-_.]+", "-", name).lower()
    found = tuple(each for each in every if each.name == name) or tuple(
        each for each in every if re.sub(r"[-_.]+", "-", each.package).lower() == same_package
    )
    if not found:
        raise UnknownNameError("plugin or package", name, {each.name for each in every})
    return found


def asked_of(name: str) -> tuple[Asked, ...]:
    """Return every promise that is asked of what a plugin offers, or every plugin of a package.

    Raises
    ------
    UnknownNameError
        Where no plugin or package is installed by that name.
    PluginError
        Where a plugin's samples cannot be had.
    """
    return tuple(asked for record in _named(name) for asked in _asked(record))


def _asked(record: Record) -> Iterator[Asked]:
    if record.cause or not record.offers:
        yield Asked(kind="plugin", name=record.name, promise=_comes_in(record), sample=Sample(_nothing))
    samples = registry.installed().samples(record.name) if not record.cause else ()
    for sample in samples:
        if (sample.kind, sample.name) not in record.offers:
            raise PluginError(f"{record.title} gives a sample of {sample.kind} {sample.name!r}, which it does not offer")
    for kind, name in record.offers:
        own = [sample for sample in samples if (sample.kind, sample.name) == (kind, name)]
        if not own:
            yield Asked(kind=kind, name=name, promise=_HAS_SAMPLE, sample=None)
        known = any(sample.known for sample in own)
        for number, sample in enumerate(own, 1):
            for promise in promises_of(kind):
                if promise.name == _KNOWN and not sample.known and known:
                    continue
                yield Asked(kind=kind, name=name, promise=promise, sample=sample, number=number if len(own) > 1 else 0)


def _comes_in(record: Record) -> Promise:
    """Return the promise that a plugin is not left out and offers something."""

    def tries(_: Sample) -> int:
        if record.cause:
            raise Broken(record.cause)
        raise Unjudged("it offers nothing on this machine")

    return Promise(kind="plugin", name="comes in", description="It can be loaded, and offers something.", tries=tries)


def _nothing(cuts: object, traces: object) -> tuple[()]:  # noqa: ARG001
    """Stand for a plugin of which nothing can be tried."""
    return ()


_HAS_SAMPLE: Final = Promise(kind="", name="has a sample", description="There is something to try it with.", tries=lambda _: 1)


def verify(name: str, progress: Callable[[float], None] | None = None) -> Report:
    """Return what came of holding a plugin, or every plugin of a package, to every promise.

    Parameters
    ----------
    name : str
        Of a plugin or package; "built-in" for what ships inside.
    progress : callable, optional
        Called now and then with the part done, 0 to 1.

    Raises
    ------
    UnknownNameError
        Where no plugin or package is installed by that name.
    """
    every = asked_of(name)
    verdicts = []
    for number, asked in enumerate(every, 1):
        verdicts.append(_verdict(asked))
        if progress is not None:
            progress(number / len(every))
    return Report(plugins=_named(name), verdicts=tuple(verdicts), speeds=dict(_speeds(every)))


def _speeds(every: Iterable[Asked]) -> Iterator[tuple[str, str]]:
    """Yield how long each thing takes with each sample; nothing of one that fails, which a promise has said."""
    from lobework.testing.speed import speed_of

    samples = {asked.title: asked.sample for asked in every if asked.sample is not None and asked.kind != "plugin"}
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


def _verdict(asked: Asked) -> Verdict:
    try:
        return Verdict(asked=asked, cases=asked.hold())
    except Broken as broken:
        return Verdict(asked=asked, broken=str(broken))
    except Unjudged as lacking:
        return Verdict(asked=asked, unjudged=str(lacking))
