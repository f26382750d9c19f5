"""Validation of the items that plugins offer; each error message is one line."""

from __future__ import annotations

import dataclasses
import inspect
import re
import traceback
from typing import TYPE_CHECKING, Any, Final, get_args

from lobework.errors import PluginError
from lobework.plugins.former import former_member_of, member_now

if TYPE_CHECKING:
    from lobework.carve.stock import Depth, Stock
    from lobework.checks.check import Finding

__all__ = ["findings", "name_of", "one_line", "shortened_line", "sound_depths", "whole_file"]

_DATACLASS: Final = "@dataclass(frozen=True, slots=True, kw_only=True)"
_ROUNDING: Final = 1e-6
"""Allowed relative rounding error of a depth that is stored in 32 bits."""
_FILE: Final = re.compile(r"\w[\w-]*(?:\.[\w-]+)+")


def shortened_line(text: str) -> str:
    """Return text as one line of at most 400 characters."""
    text = " ".join(text.split())
    return text if len(text) <= 400 else f"{text[:399]}…"


def one_line(error: BaseException) -> str:
    """Return the type and message of an error as one line; for a syntax error also the file and line number."""
    if isinstance(error, SyntaxError):
        return shortened_line(f"{type(error).__name__}: {error}")
    message = traceback.format_exception_only(error)[0].rstrip()
    return shortened_line(f"{message}; {now}" if (now := member_now(error)) else message)


def name_of(kind: str, thing: Any) -> str:
    """Return the name of an item, after validating the item as one of the kind ``kind``."""
    if kind == "target":
        return _target_name(thing)
    if kind == "check":
        return _check_name(thing)
    if kind == "backend":
        return _backend_name(thing)
    return _part_name(kind, thing)


def _checked_name(name: object, what: str) -> str:
    if not isinstance(name, str) or not name or name != " ".join(name.split()) or not name.isprintable():
        raise PluginError(f"{what} is {name!r}; it must be a name on one line, without spaces at its ends")
    return name


def _part_name(kind: str, part: Any) -> str:
    from lobework.parts import protocols
    from lobework.quantities.fields import measures

    title = f"{kind} {getattr(part, '__name__', None) or shortened_line(repr(part))}"
    if not isinstance(part, type) or not dataclasses.is_dataclass(part):
        raise PluginError(f"{title} is not a dataclass; write a class with {_DATACLASS} above it")
    if not part.__dataclass_params__.frozen:  # type: ignore[attr-defined]
        raise PluginError(f"{title} is not frozen; write {_DATACLASS} above the class")
    settings = {each.name for each in dataclasses.fields(part)}
    names = "form" if kind == "piece" else "kind"
    if names in settings or not isinstance(getattr(part, names, None), str):
        raise PluginError(f"{title} has no name; write {names}: ClassVar[str] = 'its name' in the class")
    protocol = getattr(protocols, kind.capitalize())
    required_members = {name for name in (*vars(protocol), *inspect.get_annotations(protocol)) if not name.startswith("_")}
    if absent := sorted(name for name in required_members if not hasattr(part, name) and name not in settings):
        raise PluginError(f"{title} lacks {', '.join(absent)}; see lobework.plugins.{protocol.__name__} for the definition")
    if renamed := former_member_of(kind, part):
        raise PluginError(f"{title}: {renamed}; rename it")
    _require_methods(part, protocol, title)
    if reserved := sorted(settings & _reserved_keys(kind)):
        raise PluginError(f"{title} has a setting {reserved[0]!r}, but job files use that key already; rename the setting")
    try:
        measures(part)
    except Exception as error:
        why = f"{title} has a setting whose type cannot be found: {one_line(error)}"
        raise PluginError(f"{why}; import it at the top of the module") from error
    return _checked_name(getattr(part, names), f"{title}: {names}")


_OPTIONAL_METHODS: Final = {"Chuck": {"slides": ("theta",)}, "Piece": {"seen": ("points",)}}
"""The optional methods of each protocol, with the names of their arguments."""


def _require_methods(part: type, protocol: type, title: str) -> None:
    """Raise `PluginError` if a method of a part does not take the arguments that its protocol defines."""
    required_members = {
        name: method for name, method in vars(protocol).items() if inspect.isfunction(method) and not name.startswith("_")
    }
    methods = {name: tuple(inspect.signature(method).parameters)[1:] for name, method in required_members.items()}
    optional = {name: given for name, given in _OPTIONAL_METHODS.get(protocol.__name__, {}).items() if hasattr(part, name)}
    for name, declared in ((name, inspect.getattr_static(part, name)) for name in vars(protocol) if hasattr(part, name)):
        if isinstance(declared, property) and not _accepts(declared.fget, (None,)):
            raise PluginError(f"{title}: {name} must take no argument; write def {name}(self): below @property")
    for name, arguments in (methods | optional).items():
        given = getattr(part, name, None)
        write = f"write def {name}({', '.join(('self', *arguments))}):"
        if not callable(given):
            raise PluginError(f"{title}: {name} is {shortened_line(repr(given))}; it must be a method: {write}")
        bound = isinstance(inspect.getattr_static(part, name), staticmethod | classmethod)
        if not _accepts(given, (*(() if bound else (None,)), *arguments)):
            raise PluginError(f"{title}: {name} must take {', '.join(arguments) or 'no argument'}; {write}")


def _accepts(function: Any, given: tuple[object, ...]) -> bool:
    """Return whether a function accepts the arguments ``given``."""
    try:
        inspect.signature(function).bind(*given)
    except (TypeError, ValueError):
        return False
    return True


def _reserved_keys(kind: str) -> set[str]:
    """Return the keys that job files reserve in the table of a part of the kind ``kind``."""
    if kind == "cam":
        from lobework.parts.drive import Drive

        return {each.name for each in dataclasses.fields(Drive)} | {"shape"}
    return {"chuck": {"kind", "name"}, "piece": {"form"}}.get(kind, {"kind"})


def _target_name(target: Any) -> str:
    from lobework.targets.target import Shows, Target

    if not isinstance(target, Target):
        raise PluginError(f"target {shortened_line(repr(target))} is not a lobework.plugins.Target; return an instance of it")
    name = _checked_name(target.name, "a target's name")
    _checked_name(target.description, f"target {name!r}: description")
    if not isinstance(target.file, str) or not _FILE.fullmatch(target.file):
        raise PluginError(f"target {name!r}: file is {target.file!r}; it must be a plain file name such as 'drawing.svg'")
    if target.shows not in get_args(Shows):
        raise PluginError(f"target {name!r}: shows is {target.shows!r}; it must be one of {', '.join(get_args(Shows))}")
    if not callable(target.render):
        raise PluginError(f"target {name!r}: render is {target.render!r}; it must be a function that returns the file's bytes")
    return name


def _backend_name(backend: Any) -> str:
    from lobework.carve import Backend
    from lobework.carve.backend import EVERYTHING, accuracy_of

    if isinstance(backend, type) or not isinstance(backend, Backend):
        lacking = [each for each in ("name", "description", "can", "carve") if not hasattr(backend, each)]
        why = f"lacks {', '.join(lacking)}" if lacking else "is a class; return an instance of it"
        raise PluginError(f"backend {shortened_line(repr(backend))} {why}; see lobework.plugins.Backend for the definition")
    name = _checked_name(backend.name, "a backend's name")
    _checked_name(backend.description, f"backend {name!r}: description")
    if not isinstance(backend.can, frozenset) or not backend.can:
        raise PluginError(f"backend {name!r}: can is {shortened_line(repr(backend.can))}; it must be a frozenset of abilities")
    if unknown := sorted(map(str, backend.can - EVERYTHING)):
        raise PluginError(f"backend {name!r}: can contains {unknown[0]!r}; the abilities are {', '.join(sorted(EVERYTHING))}")
    accuracy_of(backend)
    try:
        inspect.signature(backend.carve).bind((), (), (), progress=None)
    except TypeError:
        message = "write def carve(self, stock, sweeps, depth, progress=None):"
        raise PluginError(f"backend {name!r}: carve must take stock, sweeps, depth and progress; {message}") from None
    return name


def _check_name(check: Any) -> str:
    name = getattr(check, "__name__", "")
    if not callable(check) or isinstance(check, type) or not str(name).isidentifier():
        raise PluginError(f"check {shortened_line(repr(check))} is not a named function; write def its_name(cuts, traces):")
    try:
        inspect.signature(check).bind((), ())
    except TypeError:
        raise PluginError(f"check {name} must take two arguments; write def {name}(cuts, traces):") from None
    return str(name)


def whole_file(given: Any) -> bytes:
    """Return the result of a target's ``render`` if it is bytes; raise `PluginError` otherwise."""
    if not isinstance(given, bytes):
        raise PluginError(f"render returned {type(given).__name__} instead of the file's bytes")
    return given


def findings(given: Any) -> list[Finding]:
    """Return the result of a check as a list if it contains only findings; raise `PluginError` otherwise."""
    from lobework.checks.check import Finding

    found = list(given)
    if strange := [each for each in found if not isinstance(each, Finding)]:
        raise PluginError(f"the check returned {shortened_line(repr(strange[0]))}, which is not a lobework.plugins.Finding")
    return found


def sound_depths(stock: Stock, depth: Depth) -> None:
    """Raise `PluginError` for depths that are negative, infinite or nan, outside the work, or beyond the axis of the work."""
    for sound, message in (
        ((depth >= 0) & (depth < float("inf")), "a depth must be a number, zero or more"),
        ((depth == 0) | stock.inside, "there is no work at this ray, so its depth must stay zero"),
        (depth <= (stock.to_axis * (1 + _ROUNDING))[:, None], "the depth must not reach beyond the axis of the work"),
    ):
        if not sound.all():
            row, column = (int(each[0]) for each in (~sound).nonzero())
            raise PluginError(f"the backend left a depth of {depth[row, column]:g} mm at row {row}, column {column}; {message}")
