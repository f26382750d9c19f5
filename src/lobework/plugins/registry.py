"""The registry of plugins: each plugin is loaded separately, and a plugin that breaks a promise is not loaded."""

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
from lobework.plugins.validation import findings, name_of, one_line, shortened_line, sound_depths, whole_file

if TYPE_CHECKING:
    from lobework.carve import Ability, Backend, Progress, Stock, Sweep
    from lobework.carve.stock import Depth
    from lobework.plugins.hookspecs import Check
    from lobework.plugins.sample import Sample
    from lobework.targets import Target

__all__ = ["GROUP", "SLOW_S", "VARIABLE", "PartKind", "PluginWarning", "Plugins", "Record", "installed", "last_load_notes"]

PartKind = Literal["cam", "follower", "chuck", "cutter", "piece"]

GROUP: Final = "lobework"
"""The entry-point group under which a package names its plugins."""

VARIABLE: Final = "LOBEWORK_PLUGINS"
"""The environment variable that selects the plugins to load. If unset, all plugins are loaded; if empty or ``none``, only the
built-in plugin. Otherwise the variable is a list of plugins or packages, separated by commas."""

SLOW_S: Final = 2.0
"""Load time, in seconds, above which a note names the plugin: every command that needs plugins waits until all are loaded."""

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
_BUILT_IN: Final = "built-in"
_Known = TypeVar("_Known")
_warned: Final[set[Record]] = set()
_last_load_notes: Final[list[str]] = []


class PluginWarning(UserWarning):
    """A plugin is not loaded; the message names the plugin, its package and the cause."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """A plugin that was found, and the result of loading it.

    Parameters
    ----------
    name : str
        The name of the entry point of the plugin; ``"built-in"`` for the items of lobework itself.
    package, version : str
        The installed package of the plugin, and the version of the package; empty if there is no package.
    cause : str
        The reason why the plugin is not loaded, in one line; empty if the plugin is loaded.
    offers : tuple of (kind, name) pairs
        The items that the plugin offers, such as ``("chuck", "oval")``; empty if the plugin is not loaded.
    path : str
        The file from which the module of the plugin was loaded; empty if the module was not imported or has no file.

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
            return f"{self.title} is not loaded: {self.cause}"
        return f"{self.title}: {', '.join(f'{kind} {name!r}' for kind, name in self.offers) or 'nothing on this machine'}"


class _Offer(NamedTuple):
    kind: str
    name: str
    thing: Any


class _Loaded(NamedTuple):
    record: Record
    offers: tuple[_Offer, ...] = ()
    samples: Callable[[], tuple[Sample, ...]] = tuple
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Plugins:
    """The installed items: first the built-in items, then the items of each plugin, in the order of the plugins' names.

    Parameters
    ----------
    loaded, refused : tuple of Record
        The plugins that are loaded, and the plugins that are not loaded, with the causes.
    parts : mapping from kind to a mapping from name to item
        The items; the kinds are "cam", "follower", "chuck", "cutter", "piece", "backend", "target" and "check".
    asked_samples : mapping from a plugin's name to a function that returns its samples
        The functions that `samples` calls.
    notes : tuple of str
        One line for each plugin that took longer than `SLOW_S` to load, and one line for each plugin that printed while loading.

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
        """Find and load the plugins that ``LOBEWORK_PLUGINS`` selects; warn once about each plugin that is not loaded.

        Raises
        ------
        PluginError
            If a built-in item breaks a promise; never for an item of another plugin.
        """
        built_in = _built_in()
        entries, refused = _entries()
        results = [_load(entry) for entry in entries]
        sound = [found for found in results if not found.record.cause]
        clashes = _clashes(built_in, sound)
        good = [found for found in sound if found.record not in clashes]
        refused += [found.record for found in results if found.record.cause]
        refused += [replace(record, cause=cause, offers=()) for record, cause in clashes.items()]
        refused.sort(key=lambda record: (record.name, record.package))
        parts: dict[str, dict[str, Any]] = {kind: {} for kind in _HOOKS.values()}
        accepted = (built_in, *good)
        for found in accepted:
            for offer in found.offers:
                parts[offer.kind][offer.name] = offer.thing if found is built_in else _guarded(offer, found.record)
        for record in refused:
            _warn_once(record)
        asked_samples = {found.record.name: found.samples for found in accepted}
        loaded = tuple(found.record for found in accepted)
        notes = tuple(note for found in results for note in found.notes)
        _last_load_notes[:] = notes
        return cls(loaded=loaded, refused=tuple(refused), parts=parts, asked_samples=asked_samples, notes=notes)

    def kinds(self, kind: PartKind) -> dict[str, type]:
        """Return all parts of one kind by their names; the kind is "cam", "follower", "chuck", "cutter" or "piece"."""
        if kind not in get_args(PartKind):
            raise UnknownNameError("kind of part", kind, get_args(PartKind))
        return dict(self.parts[kind])

    def part(self, kind: PartKind, name: str) -> type:
        """Return the part called ``name`` of the kind ``kind``; raise `UnknownNameError` if there is no such part."""
        return _lookup(kind, name, self.kinds(kind))

    def backends(self) -> dict[str, Backend]:
        """Return all carving backends by their names."""
        return dict(self.parts["backend"])

    def backend(self, name: str) -> Backend:
        """Return the carving backend called ``name``; raise `UnknownNameError` if there is no such backend."""
        return _lookup("backend", name, self.backends())

    def targets(self) -> dict[str, Target]:
        """Return all targets by their names."""
        return dict(self.parts["target"])

    def target(self, name: str) -> Target:
        """Return the target called ``name``; raise `UnknownNameError` if there is no such target."""
        return _lookup("target", name, self.targets())

    def plugin_at_fault(self, error: BaseException | None) -> Record | None:
        """Return the plugin whose part raised an error or a cause of the error; None if no part of a plugin did.

        The causes are searched too, because Python replaces a StopIteration inside a generator by a RuntimeError.
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
        """Return all checks; the name of a check is its ``__name__``."""
        return tuple(self.parts["check"].values())

    def samples(self, plugin: str) -> tuple[Sample, ...]:
        """Return the samples of the plugin called ``plugin``; only this method calls the hook for samples.

        Raises
        ------
        PluginError
            If the hook of the plugin fails, or returns anything but samples.
        UnknownNameError
            If no plugin of this name is loaded.
        """
        return _lookup("plugin", plugin, self.asked_samples)()


@functools.cache
def installed() -> Plugins:
    """Return the installed items; the first call loads them, later calls return the same object.

    >>> sorted(installed().kinds("follower"))[:3]
    ['flat', 'knife', 'roller']
    """
    return Plugins.load()


def last_load_notes() -> tuple[str, ...]:
    """Return the notes on the plugins loaded last (``Plugins.notes``), without loading any."""
    return tuple(_last_load_notes)


def _lookup(kind: str, name: str, known: Mapping[str, _Known]) -> _Known:
    if name not in known:
        raise UnknownNameError(kind, name, known)
    return known[name]


def _warn_once(record: Record) -> None:
    if record not in _warned:
        _warned.add(record)
        warnings.warn(f"lobework {record}", PluginWarning, stacklevel=3)


def _selection() -> set[str] | None:
    """Return the names of plugins and packages in the environment variable; None if the variable is unset."""
    given = os.environ.get(VARIABLE)
    if given is None:
        return None
    return set() if given.strip().lower() == "none" else {name.strip() for name in given.split(",") if name.strip()}


def _same_package(name: str) -> str:
    """Return the normalised name of a package (PyPA specification "Names and normalization")."""
    return re.sub(r"[-_.]+", "-", name).lower()


def _matches(name: str, entry: metadata.EntryPoint) -> bool:
    return name == entry.name or _same_package(name) == _same_package(_package(entry.dist)[0])


def _entries() -> tuple[list[metadata.EntryPoint], list[Record]]:
    """Return the entry points to load, sorted by name, and a refused record for each selected name that is not installed."""
    selection = _selection()
    if selection == set():
        return [], []
    entries, refused = _all_entries()
    entries.sort(key=lambda entry: (entry.name, *_package(entry.dist)))
    if selection is None:
        return entries, refused
    known = sorted({entry.name for entry in entries})
    for name in sorted(selection):
        if not any(_matches(name, entry) for entry in entries):
            cause = f"{VARIABLE} names this plugin, but no plugin or package of this name is installed{nearest(name, known)}"
            refused.append(Record(name=name, package="", version="", cause=f"{cause}; installed: {', '.join(known) or 'none'}"))
    return [entry for entry in entries if any(_matches(name, entry) for name in selection)], refused


def _all_entries() -> tuple[list[metadata.EntryPoint], list[Record]]:
    """Return all entry points of the group, and a refused record for each package whose entry points cannot be read."""
    try:
        return list(metadata.entry_points(group=GROUP)), []
    except Exception:  # noqa: BLE001  (one unreadable package must not hide the others)
        return _entries_by_package()


def _entries_by_package() -> tuple[list[metadata.EntryPoint], list[Record]]:
    entries: dict[str, list[metadata.EntryPoint]] = {}
    refused = []
    for package in metadata.distributions():
        name, version = _package(package)
        try:
            entries.setdefault(_same_package(name), list(package.entry_points.select(group=GROUP)))
        except Exception as error:  # noqa: BLE001
            cause = f"the package's list of plugins cannot be read: {one_line(error)}; install {name} again"
            refused.append(Record(name=name, package=name, version=version, cause=cause))
    return [entry for found in entries.values() for entry in found], refused


def _package(package: metadata.Distribution | None) -> tuple[str, str]:
    """Return the name and version of a package from its metadata; substitutes if they are missing."""
    unknown = "a package without a name"
    if package is None:
        return unknown, ""
    return package.metadata.get_all("Name", [unknown])[0], package.metadata.get_all("Version", [""])[0]


def _built_in() -> _Loaded:
    from lobework.plugins import builtin

    try:
        version = metadata.version("lobework")
    except metadata.PackageNotFoundError:
        version = ""
    return _validated(Record(name=_BUILT_IN, package="lobework", version=version, path=_file_of(builtin, "")), builtin)


def _load(entry: metadata.EntryPoint) -> _Loaded:
    """Load a plugin and read the items that it offers; an error is stored as the cause in the record of the plugin."""
    package, version = _package(entry.dist)
    record = Record(name=entry.name, package=package, version=version)
    with to_stderr(descriptor=True) as printed:
        began = time.perf_counter()
        found = _try_load(entry, record)
        seconds = time.perf_counter() - began
    return found._replace(notes=tuple(_notes(record, seconds, printed)))


def _try_load(entry: metadata.EntryPoint, record: Record) -> _Loaded:
    try:
        plugin = entry.load()
    except KeyboardInterrupt:
        raise
    except BaseException as error:  # noqa: BLE001  (a plugin may raise anything; the others must load)
        remedy = f"{now}; update {record.package}" if (now := place_now(error)) else f"repair or remove {record.package}"
        return _Loaded(replace(record, cause=f"it cannot be imported: {one_line(error)}; {remedy}"))
    record = replace(record, path=_file_of(plugin, entry.module))
    try:
        return _validated(record, plugin)
    except KeyboardInterrupt:
        raise
    except PluginError as error:
        return _Loaded(replace(record, cause=shortened_line(str(error))))
    except BaseException as error:  # noqa: BLE001
        return _Loaded(replace(record, cause=f"it cannot be used: {one_line(error)}"))


def _file_of(plugin: object, module: str) -> str:
    """Return the file of a plugin's module; empty if the module has no file."""
    found = plugin if inspect.ismodule(plugin) else sys.modules.get(module)
    file = getattr(found, "__file__", None)
    return file if isinstance(file, str) else ""


def _notes(record: Record, seconds: float, printed: RedirectedOutput) -> Iterator[str]:
    if seconds > SLOW_S:
        yield f"{record.title} took {seconds:.1f} s to load; import large libraries only in the functions that use them"
    if first := shortened_line(printed.first):
        remedy = "standard output is for results, so a plugin must print nothing"
        yield f"{record.title} prints to standard output while it loads: {first!r}; {remedy}"


def _validated(record: Record, plugin: object) -> _Loaded:
    """Return the items that a plugin offers, after validating each item.

    Each plugin has its own plugin manager, so that the hooks of one plugin cannot wrap or block the hooks of another.
    """
    _require_contract(getattr(plugin, "lobework_contract", None))
    manager = pluggy.PluginManager("lobework")
    manager.add_hookspecs(hookspecs)
    _check_hooks(plugin, manager)
    manager.register(plugin)
    manager.check_pending()
    offers = [
        _Offer(kind, name_of(kind, thing), thing)
        for hook, kind in _HOOKS.items()
        for thing in _hook_results(hook, getattr(manager.hook, hook))
    ]
    names = list(_unique_names(offers))
    for kind, name in names:
        if names.count((kind, name)) > 1:
            raise PluginError(f"the plugin offers {kind} {name!r} twice; give the two items different names")
    record = replace(record, offers=tuple((offer.kind, offer.name) for offer in offers))
    return _Loaded(record, tuple(offers), functools.partial(_samples, record, manager.hook.lobework_samples))


def _samples(record: Record, caller: pluggy.HookCaller) -> tuple[Sample, ...]:
    """Return the samples of a plugin; raise `PluginError` if the hook returns anything else."""
    from lobework.plugins.sample import Sample

    try:
        with to_stderr(descriptor=True):
            given = tuple(_hook_results(_SAMPLES, caller))
    except PluginError as error:
        raise PluginError(f"{record.title}: {shortened_line(str(error))}") from error
    if strange := [each for each in given if not isinstance(each, Sample)]:
        message = f"returned {shortened_line(repr(strange[0]))}, which is not a lobework.testing.Sample"
        raise PluginError(f"{record.title}: its hook {_SAMPLES} {message}")
    return given


def _require_contract(contract: object) -> None:
    """Raise `PluginError` unless the plugin was written for the present contract."""
    if contract is None:
        raise PluginError(f"the plugin states no contract; write lobework_contract = {CONTRACT} in the module, as a plain number")
    if type(contract) is not int:
        raise PluginError(f"lobework_contract is {contract!r}; it must be a whole number, here {CONTRACT}")
    if contract != CONTRACT:
        update = "the plugin's package" if contract < CONTRACT else "lobework"
        raise PluginError(
            f"the plugin was written for contract {contract}, but this version of lobework supports contract {CONTRACT}; "
            f"update {update}"
        )


def _check_hooks(plugin: object, manager: pluggy.PluginManager) -> None:
    """Raise `PluginError` unless every marked function is a hook, every hook is marked, and no hook has required parameters."""
    marked = {name: options for name in dir(plugin) if (options := manager.parse_hookimpl_opts(plugin, name)) is not None}
    for name, options in marked.items():
        hook = options["specname"] or name
        if hook not in _EVERY_HOOK:
            if options["optionalhook"]:
                continue
            known = f"{nearest(hook, _EVERY_HOOK)}; hooks: {', '.join(sorted(_EVERY_HOOK))}"
            raise PluginError(f"lobework has no hook {hook!r}{known}")
        required = [
            each.name
            for each in inspect.signature(getattr(plugin, name)).parameters.values()
            if each.default is each.empty and each.kind not in (each.VAR_POSITIONAL, each.VAR_KEYWORD)
        ]
        if required:
            raise PluginError(f"its hook {name} takes {', '.join(required)}; hooks take no arguments: write def {name}():")
    for name in _EVERY_HOOK:
        if name not in marked and hasattr(plugin, name):
            raise PluginError(f"its function {name} is not marked; put @hookimpl from lobework.plugins above it")
    if not marked:
        raise PluginError(
            "the plugin has no hooks; write a hook, such as lobework_chucks, with @hookimpl from lobework.plugins above it"
        )


def _hook_results(hook: str, caller: pluggy.HookCaller) -> Iterator[Any]:
    """Yield the items that a plugin returns from the functions for one hook."""
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
            raise PluginError(f"its hook {hook} returned {shortened_line(repr(answer))}; it must return a list")
        yield from answer


def _unique_names(offers: Iterable[_Offer]) -> Iterator[tuple[str, str]]:
    """Yield the names that must be unique: the names of the items, and the file names of the targets."""
    for offer in offers:
        yield offer.kind, offer.name
        if offer.kind == "target":
            yield "target file", offer.thing.file.casefold()


def _clashes(built_in: _Loaded, external: Sequence[_Loaded]) -> dict[Record, str]:
    """Return the external plugins that have a name in common with another plugin, each with the cause.

    All plugins are compared, including plugins that clash already, so that the result does not depend on the order of loading.
    """
    owners: dict[tuple[str, str], list[Record]] = defaultdict(list)
    for found in (built_in, *external):
        for unique in (("plugin name", found.record.name), *_unique_names(found.offers)):
            owners[unique].append(found.record)
    clashes: dict[Record, str] = {}
    for (kind, name), records in owners.items():
        both = " and by ".join(record.title for record in records)
        remedy = f"neither is loaded: remove one package, or name the package to use in {VARIABLE}"
        if records[0] is built_in.record:
            remedy = "the built-in one is used; rename the other"
        for record in records if len(records) > 1 else ():
            if record is not built_in.record:
                clashes.setdefault(record, f"{kind} {name!r} is offered by {both}; {remedy}")
    return clashes


def _guarded(offer: _Offer, record: Record) -> Any:
    """Return an external backend, target or check whose errors name its plugin; return a part unchanged."""
    where = f"{offer.kind} {offer.name!r} of {record.title}"
    if offer.kind == "backend":
        return _GuardedBackend(offer.thing, where)
    if offer.kind == "target":
        return replace(offer.thing, render=_naming_plugin(offer.thing.render, where, whole_file))
    return _naming_plugin(offer.thing, where, findings) if offer.kind == "check" else offer.thing


def _naming_plugin(act: Callable[..., Any], where: str, accept: Callable[[Any], Any]) -> Callable[..., Any]:
    @functools.wraps(act)
    def guarded(*given: Any) -> Any:
        try:
            return accept(act(*given))
        except PluginError as error:
            raise PluginError(f"{where} failed: {shortened_line(str(error))}") from error
        except (LobeworkError, KeyboardInterrupt):
            raise
        except BaseException as error:
            raise PluginError(f"{where} failed: {one_line(error)}") from error

    return guarded


@dataclass(frozen=True, slots=True)
class _GuardedBackend:
    """An external carving backend whose errors, and invalid depths, raise a `PluginError` that names its plugin."""

    own: Backend
    where: str

    @property
    def name(self) -> str:
        """The name of the backend."""
        return self.own.name

    @property
    def description(self) -> str:
        """The purpose of the backend, in one line."""
        return self.own.description

    @property
    def can(self) -> frozenset[Ability]:
        """The abilities of the backend."""
        return self.own.can

    @property
    def within(self) -> float:
        """The accuracy of the backend, mm."""
        from lobework.carve.backend import accuracy_of

        return accuracy_of(self.own)

    def carve(self, stock: Stock, sweeps: Sequence[Sweep], depth: Depth, progress: Progress | None = None) -> None:
        """Increase the depths ``depth`` in place where the sweeps cut; an error raised by ``progress`` is raised unchanged."""
        stops: list[BaseException] = []

        def report(part: float) -> None:
            try:
                progress(part)  # type: ignore[misc]
            except BaseException as stop:
                stops.append(stop)
                raise

        def carved() -> None:
            self.own.carve(stock, sweeps, depth, None if progress is None else report)
            sound_depths(stock, depth)

        try:
            _naming_plugin(carved, self.where, lambda nothing: nothing)()
        except PluginError:
            if stops:
                raise stops[0] from None
            raise
