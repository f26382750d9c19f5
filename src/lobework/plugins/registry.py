"""Plugins: found when asked for, each kept apart from the others, and left out whole where it breaks a promise."""

from __future__ import annotations

import functools
import inspect
import os
import re
import sys
import time
import traceback
import warnings
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib import metadata
from typing import TYPE_CHECKING, Any, Final, Literal, NamedTuple, TypeVar, get_args

import pluggy

from lobework.errors import LobeworkError, PluginError, UnknownNameError, nearest
from lobework.files.standard_output import RedirectedOutput, to_stderr
from lobework.plugins import hookspecs
from lobework.plugins.former import place_now
from lobework.plugins.hookspecs import CONTRACT
from lobework.plugins.validation import findings, name_of, one_line, plain, sound_depths, whole_file

if TYPE_CHECKING:
    from lobework.carve import Ability, Backend, Progress, Stock, Sweep
    from lobework.carve.stock import Depth
    from lobework.plugins.hookspecs import Check
    from lobework.plugins.sample import Sample
    from lobework.targets import Target

__all__ = ["GROUP", "SLOW_S", "VARIABLE", "PartKind", "PluginWarning", "Plugins", "Record", "installed", "noted"]

PartKind = Literal["cam", "follower", "chuck", "cutter", "piece"]

GROUP: Final = "lobework"
"""The entry-point group under which a package names its plugins."""

VARIABLE: Final = "LOBEWORK_PLUGINS"
"""The environment variable that says which plugins load: unset, all; empty or ``none``, what ships inside;
otherwise a list with commas of plugins or packages."""

SLOW_S: Final = 2.0
"""A plugin that takes longer to load, in seconds, is named: every command that needs plugins waits for it."""

_HOOKS: Final[dict[str, str]] = {
    "lobework_cams": "cam",
    "lobework_followers": "follower",
    "lobework_chucks": "chuck",
    "lobework_cutters": "cutter",
    "lobework_pieces": "piece",
    "lobework_backends": "backend",
    "lobework_targets": "target",
    "lobework_checks": "check",
}
_SAMPLES: Final = "lobework_samples"
_EVERY_HOOK: Final = (*_HOOKS, _SAMPLES)
_INSIDE: Final = "built-in"
_Known = TypeVar("_Known")
_warned: Final[set[Record]] = set()
_noted: Final[list[str]] = []


class PluginWarning(UserWarning):
    """A plugin is left out; the message names it, its package, and why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """A plugin that was found, and what became of it.

    Parameters
    ----------
    name : str
        The name of its entry point; ``"built-in"`` for what ships inside.
    package, version : str
        The installed package that it came with; empty where nothing installed has it.
    cause : str
        Why it is left out, in one line; empty for one that loaded.
    offers : tuple of (kind, name) pairs
        What it brought in, such as ``("chuck", "oval")``; empty for one that is left out.
    path : str
        The file that its module was loaded from; empty if it was not imported or has no file.

    Examples
    --------
    >>> str(Record(name="sway", package="lobework-sway", version="0.1.0", offers=(("chuck", "sway"),)))
    "plugin 'sway' (lobework-sway 0.1.0): chuck 'sway'"
    """

    name: str
    package: str
    version: str
    cause: str = ""
    offers: tuple[tuple[str, str], ...] = ()
    path: str = ""

    @property
    def title(self) -> str:
        """The plugin and its package: ``"plugin 'sway' (lobework-sway 0.1.0)"``."""
        package = f"{self.package} {self.version}".strip()
        return f"plugin {self.name!r}" + (f" ({package})" if package else "")

    def __str__(self) -> str:
        if self.cause:
            return f"{self.title} is left out: {self.cause}"
        return f"{self.title}: {', '.join(f'{kind} {name!r}' for kind, name in self.offers) or 'nothing on this machine'}"


class _Offer(NamedTuple):
    kind: str
    name: str
    thing: Any


class _Found(NamedTuple):
    record: Record
    offers: tuple[_Offer, ...] = ()
    samples: Callable[[], tuple[Sample, ...]] = tuple
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Plugins:
    """What is installed, shipped parts first, then each plugin's in the order of the plugins' names.

    Parameters
    ----------
    loaded, refused : tuple of Record
        The plugins that came in, and those left out with their causes.
    parts : mapping from kind to what goes by each name
        "cam", "follower", "chuck", "cutter", "piece", "backend", "target" and "check".
    asked_samples : mapping from a plugin's name to what asks it for its samples
        See `samples`.
    notes : tuple of str
        One line on each plugin that took longer than `SLOW_S` to load, or printed while it did.

    Examples
    --------
    >>> shelf = installed()
    >>> shelf.part("chuck", "oval").__name__
    'Oval'
    >>> shelf.target("svg").file
    'drawing.svg'
    """

    loaded: tuple[Record, ...]
    refused: tuple[Record, ...]
    parts: Mapping[str, Mapping[str, Any]] = field(repr=False)
    asked_samples: Mapping[str, Callable[[], tuple[Sample, ...]]] = field(default_factory=dict, repr=False)
    notes: tuple[str, ...] = ()

    @classmethod
    def load(cls) -> Plugins:
        """Look for plugins now, as ``LOBEWORK_PLUGINS`` says; warn once of each that is left out.

        Raises
        ------
        PluginError
            Where a part that ships inside breaks a promise; never for anybody else's.
        """
        inside = _shipped()
        entries, refused = _entries()
        examined = [_examined(entry) for entry in entries]
        sound = [found for found in examined if not found.record.cause]
        clashes = _clashes(inside, sound)
        good = [found for found in sound if found.record not in clashes]
        refused += [found.record for found in examined if found.record.cause]
        refused += [replace(record, cause=cause, offers=()) for record, cause in clashes.items()]
        refused.sort(key=lambda record: (record.name, record.package))
        parts: dict[str, dict[str, Any]] = {kind: {} for kind in _HOOKS.values()}
        came_in = (inside, *good)
        for found in came_in:
            for offer in found.offers:
                parts[offer.kind][offer.name] = offer.thing if found is inside else _watched(offer, found.record)
        for record in refused:
            _warn_once(record)
        asked_samples = {found.record.name: found.samples for found in came_in}
        loaded = tuple(found.record for found in came_in)
        notes = tuple(note for found in examined for note in found.notes)
        _noted[:] = notes
        return cls(loaded=loaded, refused=tuple(refused), parts=parts, asked_samples=asked_samples, notes=notes)

    def kinds(self, kind: PartKind) -> dict[str, type]:
        """Return every part of one kind by name: "cam", "follower", "chuck", "cutter" or "piece"."""
        if kind not in get_args(PartKind):
            raise UnknownNameError("kind of part", kind, get_args(PartKind))
        return dict(self.parts[kind])

    def part(self, kind: PartKind, name: str) -> type:
        """Return the part of a kind that goes by ``name``; `UnknownNameError` where none does."""
        return _known(kind, name, self.kinds(kind))

    def backends(self) -> dict[str, Backend]:
        """Return every way of carving by name."""
        return dict(self.parts["backend"])

    def backend(self, name: str) -> Backend:
        """Return the way of carving that goes by ``name``; `UnknownNameError` where none does."""
        return _known("backend", name, self.backends())

    def targets(self) -> dict[str, Target]:
        """Return every target by name."""
        return dict(self.parts["target"])

    def target(self, name: str) -> Target:
        """Return the target that goes by ``name``; `UnknownNameError` where none does."""
        return _known("target", name, self.targets())

    def behind(self, error: BaseException | None) -> Record | None:
        """Return the plugin whose part an error, or what caused it, arose in, or None where it did not arise in a plugin's.

        Python replaces a StopIteration inside a generator by a RuntimeError, whose cause is the StopIteration.
        """
        kinds = get_args(PartKind)
        offers = [(record, kind, name) for record in self.loaded[1:] for kind, name in record.offers if kind in kinds]
        authors = {self.parts[kind][name].__module__: record for record, kind, name in offers}
        seen: set[int] = set()
        while error is not None and id(error) not in seen:
            for frame, _ in reversed(list(traceback.walk_tb(error.__traceback__))):
                module = str(frame.f_globals.get("__name__", ""))
                if module in authors:
                    return authors[module]
                if module.partition(".")[0] == "lobework":
                    break
            seen.add(id(error))
            error = error.__cause__
        return None

    def checks(self) -> tuple[Check, ...]:
        """Return every check; each is known by its ``__name__``."""
        return tuple(self.parts["check"].values())

    def samples(self, plugin: str) -> tuple[Sample, ...]:
        """Return what the plugin by this name gives to be tried with; it is not asked before.

        Raises
        ------
        PluginError
            Where its hook fails, or returns anything but samples.
        UnknownNameError
            Where no plugin by that name has come in.
        """
        return _known("plugin", plugin, self.asked_samples)()


@functools.cache
def installed() -> Plugins:
    """Return what is installed; looked for at the first call, then kept.

    >>> sorted(installed().kinds("follower"))[:3]
    ['flat', 'knife', 'roller']
    """
    return Plugins.load()


def noted() -> tuple[str, ...]:
    """Return what is to be noted of the plugins that have been loaded last (``Plugins.notes``); none is loaded for that."""
    return tuple(_noted)


def _known(kind: str, name: str, known: Mapping[str, _Known]) -> _Known:
    if name not in known:
        raise UnknownNameError(kind, name, known)
    return known[name]


def _warn_once(record: Record) -> None:
    if record not in _warned:
        _warned.add(record)
        warnings.warn(f"lobework {record}", PluginWarning, stacklevel=3)


def _wanted() -> set[str] | None:
    """Return the plugins and packages that the environment names, or None where it leaves the choice open."""
    given = os.environ.get(VARIABLE)
    if given is None:
        return None
    return set() if given.strip().lower() == "none" else {name.strip() for name in given.split(",") if name.strip()}


def _same_package(name: str) -> str:
    """Return a package's name as installers compare it (PyPA specification "Names and normalization")."""
    return re.sub(r"[-_.]+", "-", name).lower()


def _answers_to(wanted: str, entry: metadata.EntryPoint) -> bool:
    return wanted == entry.name or _same_package(wanted) == _same_package(_package(entry.dist)[0])


def _entries() -> tuple[list[metadata.EntryPoint], list[Record]]:
    """Return the entry points to load, in the order of their names, and a refusal for each that cannot be found."""
    wanted = _wanted()
    if wanted == set():
        return [], []
    entries, refused = _listed()
    entries.sort(key=lambda entry: (entry.name, *_package(entry.dist)))
    if wanted is None:
        return entries, refused
    known = sorted({entry.name for entry in entries})
    for name in sorted(wanted):
        if not any(_answers_to(name, entry) for entry in entries):
            cause = f"{VARIABLE} names it, but nothing installed is called so{nearest(name, known)}"
            refused.append(Record(name=name, package="", version="", cause=f"{cause}; installed: {', '.join(known) or 'none'}"))
    return [entry for entry in entries if any(_answers_to(name, entry) for name in wanted)], refused


def _listed() -> tuple[list[metadata.EntryPoint], list[Record]]:
    """Return every entry point of the group, and a refusal for each package whose list cannot be read."""
    try:
        return list(metadata.entry_points(group=GROUP)), []
    except Exception:  # noqa: BLE001  (one package's unreadable list must not hide the others')
        return _listed_one_by_one()


def _listed_one_by_one() -> tuple[list[metadata.EntryPoint], list[Record]]:
    entries: dict[str, list[metadata.EntryPoint]] = {}
    refused = []
    for package in metadata.distributions():
        name, version = _package(package)
        try:
            entries.setdefault(_same_package(name), list(package.entry_points.select(group=GROUP)))
        except Exception as error:  # noqa: BLE001
            cause = f"its list of plugins cannot be read: {one_line(error)}; install {name} again"
            refused.append(Record(name=name, package=name, version=version, cause=cause))
    return [entry for found in entries.values() for entry in found], refused


def _package(package: metadata.Distribution | None) -> tuple[str, str]:
    """Return a package's name and version, as far as its metadata says."""
    unknown = "a package without a name"
    if package is None:
        return unknown, ""
    return package.metadata.get_all("Name", [unknown])[0], package.metadata.get_all("Version", [""])[0]


def _shipped() -> _Found:
    from lobework.plugins import builtin

    try:
        version = metadata.version("lobework")
    except metadata.PackageNotFoundError:
        version = ""
    return _found(Record(name=_INSIDE, package="lobework", version=version, path=_file_of(builtin, "")), builtin)


def _examined(entry: metadata.EntryPoint) -> _Found:
    """Load one plugin and ask what it offers; whatever goes wrong is kept in its record."""
    package, version = _package(entry.dist)
    record = Record(name=entry.name, package=package, version=version)
    with to_stderr(descriptor=True) as printed:
        began = time.perf_counter()
        found = _loaded(entry, record)
        seconds = time.perf_counter() - began
    return found._replace(notes=tuple(_notes(record, seconds, printed)))


def _loaded(entry: metadata.EntryPoint, record: Record) -> _Found:
    try:
        plugin = entry.load()
    except KeyboardInterrupt:
        raise
    except BaseException as error:  # noqa: BLE001  (a plugin may fail in any way; it harms nothing else)
        remedy = f"{now}; update {record.package}" if (now := place_now(error)) else f"mend or remove {record.package}"
        return _Found(replace(record, cause=f"it cannot be imported: {one_line(error)}; {remedy}"))
    record = replace(record, path=_file_of(plugin, entry.module))
    try:
        return _found(record, plugin)
    except KeyboardInterrupt:
        raise
    except PluginError as error:
        return _Found(replace(record, cause=plain(str(error))))
    except BaseException as error:  # noqa: BLE001
        return _Found(replace(record, cause=f"it cannot be used: {one_line(error)}"))


def _file_of(plugin: object, module: str) -> str:
    """Return the file that a plugin's module was loaded from, or nothing if it has none."""
    found = plugin if inspect.ismodule(plugin) else sys.modules.get(module)
    file = getattr(found, "__file__", None)
    return file if isinstance(file, str) else ""


def _notes(record: Record, seconds: float, printed: RedirectedOutput) -> Iterator[str]:
    if seconds > SLOW_S:
        yield f"{record.title} took {seconds:.1f} s to load; its module must import what is heavy only where it is used"
    if first := plain(printed.first):
        yield f"{record.title} prints while it loads: {first!r}; a plugin prints nothing, standard output is for results"


def _found(record: Record, plugin: object) -> _Found:
    """Return all that a plugin offers, each thing held to its promises.

    Each plugin is asked by a manager of its own, so that none can wrap, block or outlive another.
    """
    _agree(getattr(plugin, "lobework_contract", None))
    manager = pluggy.PluginManager("lobework")
    manager.add_hookspecs(hookspecs)
    _look_at_hooks(plugin, manager)
    manager.register(plugin)
    manager.check_pending()
    offers = [
        _Offer(kind, name_of(kind, thing), thing)
        for hook, kind in _HOOKS.items()
        for thing in _asked(hook, getattr(manager.hook, hook))
    ]
    claims = list(_claims(offers))
    for kind, name in claims:
        if claims.count((kind, name)) > 1:
            raise PluginError(f"it offers {kind} {name!r} twice; give each its own")
    record = replace(record, offers=tuple((offer.kind, offer.name) for offer in offers))
    return _Found(record, tuple(offers), functools.partial(_samples, record, manager.hook.lobework_samples))


def _samples(record: Record, caller: pluggy.HookCaller) -> tuple[Sample, ...]:
    """Return the samples that a plugin gives, which must be samples."""
    from lobework.plugins.sample import Sample

    try:
        with to_stderr(descriptor=True):
            given = tuple(_asked(_SAMPLES, caller))
    except PluginError as error:
        raise PluginError(f"{record.title}: {plain(str(error))}") from error
    if strange := [each for each in given if not isinstance(each, Sample)]:
        message = f"returned {plain(repr(strange[0]))}, which is not a lobework.testing.Sample"
        raise PluginError(f"{record.title}: its hook {_SAMPLES} {message}")
    return given


def _agree(contract: object) -> None:
    """Raise unless the plugin was written for this contract."""
    if contract is None:
        raise PluginError(f"it says no contract; write lobework_contract = {CONTRACT} in the module, as a plain number")
    if type(contract) is not int:
        raise PluginError(f"lobework_contract is {contract!r}; it must be a whole number, here {CONTRACT}")
    if contract != CONTRACT:
        update = "the plugin's package" if contract < CONTRACT else "lobework"
        raise PluginError(f"it was written for contract {contract}, this lobework keeps contract {CONTRACT}; update {update}")


def _look_at_hooks(plugin: object, manager: pluggy.PluginManager) -> None:
    """Raise unless every marked function is a hook, every hook is marked, and none asks for arguments."""
    marked = {name: options for name in dir(plugin) if (options := manager.parse_hookimpl_opts(plugin, name)) is not None}
    for name, options in marked.items():
        hook = options["specname"] or name
        if hook not in _EVERY_HOOK:
            if options["optionalhook"]:
                continue
            known = f"{nearest(hook, _EVERY_HOOK)}; hooks: {', '.join(sorted(_EVERY_HOOK))}"
            raise PluginError(f"it has no hook to be called {hook!r}{known}")
        asks = [
            each.name
            for each in inspect.signature(getattr(plugin, name)).parameters.values()
            if each.default is each.empty and each.kind not in (each.VAR_POSITIONAL, each.VAR_KEYWORD)
        ]
        if asks:
            raise PluginError(f"its hook {name} asks for {', '.join(asks)}; hooks take no arguments: write def {name}():")
    for name in _EVERY_HOOK:
        if name not in marked and hasattr(plugin, name):
            raise PluginError(f"its {name} is not marked; put @hookimpl from lobework.plugins above it")
    if not marked:
        raise PluginError("it has no hooks; write one, such as lobework_chucks, with @hookimpl from lobework.plugins above it")


def _asked(hook: str, caller: pluggy.HookCaller) -> Iterator[Any]:
    """Yield what the plugin's functions for one hook return."""
    if not caller.get_hookimpls():
        return
    try:
        answers = caller()
    except KeyboardInterrupt:
        raise
    except BaseException as error:
        raise PluginError(f"its hook {hook} failed: {one_line(error)}") from error
    for answer in answers or [None]:
        if not isinstance(answer, list | tuple):
            raise PluginError(f"its hook {hook} returned {plain(repr(answer))}; it must return a list")
        yield from answer


def _claims(offers: Iterable[_Offer]) -> Iterator[tuple[str, str]]:
    """Yield every name that nobody else may have: the things' own, and the files that targets write."""
    for offer in offers:
        yield offer.kind, offer.name
        if offer.kind == "target":
            yield "target file", offer.thing.file.casefold()


def _clashes(inside: _Found, outside: Sequence[_Found]) -> dict[Record, str]:
    """Return each outside plugin that claims a name which another claims too, with the cause.

    All claims count, so that what is left out never depends on the order of loading.
    """
    claimants: dict[tuple[str, str], list[Record]] = defaultdict(list)
    for found in (inside, *outside):
        for claim in (("plugin name", found.record.name), *_claims(found.offers)):
            claimants[claim].append(found.record)
    clashes: dict[Record, str] = {}
    for (kind, name), records in claimants.items():
        both = " and by ".join(record.title for record in records)
        remedy = f"neither is used: remove one package, or name the one to use in {VARIABLE}"
        if records[0] is inside.record:
            remedy = "the built-in one stays, the other must be renamed"
        for record in records if len(records) > 1 else ():
            if record is not inside.record:
                clashes.setdefault(record, f"{kind} {name!r} is claimed by {both}; {remedy}")
    return clashes


def _watched(offer: _Offer, record: Record) -> Any:
    """Return an outside backend, target or check that blames its own plugin when it fails; parts are returned as they are."""
    where = f"{offer.kind} {offer.name!r} of {record.title}"
    if offer.kind == "backend":
        return _WatchedBackend(offer.thing, where)
    if offer.kind == "target":
        return replace(offer.thing, render=_blaming(offer.thing.render, where, whole_file))
    return _blaming(offer.thing, where, findings) if offer.kind == "check" else offer.thing


def _blaming(act: Callable[..., Any], where: str, accept: Callable[[Any], Any]) -> Callable[..., Any]:
    @functools.wraps(act)
    def watched(*given: Any) -> Any:
        try:
            return accept(act(*given))
        except PluginError as error:
            raise PluginError(f"{where} failed: {plain(str(error))}") from error
        except (LobeworkError, KeyboardInterrupt):
            raise
        except BaseException as error:
            raise PluginError(f"{where} failed: {one_line(error)}") from error

    return watched


@dataclass(frozen=True, slots=True)
class _WatchedBackend:
    """An outside way of carving that blames its own plugin when it fails, or leaves depths that no cutter can leave."""

    own: Backend
    where: str

    @property
    def name(self) -> str:
        """What people call it."""
        return self.own.name

    @property
    def description(self) -> str:
        """One line on what it is for."""
        return self.own.description

    @property
    def can(self) -> frozenset[Ability]:
        """What it can carve."""
        return self.own.can

    @property
    def within(self) -> float:
        """Its accuracy, mm."""
        from lobework.carve.backend import accuracy_of

        return accuracy_of(self.own)

    def carve(self, stock: Stock, sweeps: Sequence[Sweep], depth: Depth, progress: Progress | None = None) -> None:
        """Deepen ``depth`` in place; what ``progress`` raises is nobody's fault."""
        stops: list[BaseException] = []

        def told(part: float) -> None:
            try:
                progress(part)  # type: ignore[misc]
            except BaseException as stop:
                stops.append(stop)
                raise

        def carved() -> None:
            self.own.carve(stock, sweeps, depth, None if progress is None else told)
            sound_depths(stock, depth)

        try:
            _blaming(carved, self.where, lambda nothing: nothing)()
        except PluginError:
            if stops:
                raise stops[0] from None
            raise
