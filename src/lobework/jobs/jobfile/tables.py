"""The tables of a job file, made from the parts' own fields: a part of yours is read like one that ships inside."""

from __future__ import annotations

import contextlib
import inspect
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import MISSING, dataclass, fields, is_dataclass
from fractions import Fraction
from functools import cache, cached_property, reduce
from operator import or_
from pathlib import Path
from types import NoneType, UnionType
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal, NotRequired, Protocol, Union, get_args, get_origin

from pydantic import (
    ConfigDict,
    Field,
    PlainValidator,
    StrictBool,
    StrictInt,
    StrictStr,
    TypeAdapter,
    ValidationError,
    ValidationInfo,
    WithJsonSchema,
    with_config,
)
from pydantic_core import ErrorDetails, core_schema
from typing_extensions import TypedDict  # before Python 3.12, pydantic takes no other

from lobework.errors import InputError, PluginError, nearest
from lobework.gearing.dividing_wheel import Holes, Wheel
from lobework.gearing.screw import Screw, Wound, wound_length
from lobework.jobs.jobfile.source import inside, pointed, shown, written_key
from lobework.lathe.mounting import may_have
from lobework.parts.holder import HOLDERS, Holder
from lobework.parts.protocols import Cam, Chuck, Cutter, Follower, Piece
from lobework.plugins import registry
from lobework.plugins.registry import PartKind
from lobework.quantities.fields import Length, Measure, Turning, hints_of
from lobework.quantities.units import LengthUnit, Phase, format_length, format_phase, length, ratio

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
    from pydantic.json_schema import JsonSchemaValue

__all__ = [
    "Choice",
    "Context",
    "Key",
    "OneOrMore",
    "Reader",
    "Table",
    "built",
    "choice_of",
    "chosen",
    "first_line",
    "list_of",
    "measured",
    "part_keys",
    "part_table",
    "quantity",
    "read_by",
    "reading",
    "wound_on",
]

_LONGEST_QUANTITY: Final = 80
_LONGEST_TEXT: Final = 300
"""Of a name, which stands on each line of what is written, or a path."""
_MOST: Final = 10**6
_NUMBER_OR_TEXT: Final = {"type": ["number", "string"]}
_LIST_OF_PAIRS: Final = {
    "type": "array",
    "items": {"type": "array", "items": _NUMBER_OR_TEXT, "minItems": 2, "maxItems": 2},
}
_ENTRY: Final = re.compile(r"(?P<names>\w+(?:, \w+)*) : .*")
_PROMISES: Final[dict[Any, tuple[PartKind, str]]] = {
    Cam: ("cam", "shape"),
    Follower: ("follower", "kind"),
    Chuck: ("chuck", "kind"),
    Cutter: ("cutter", "kind"),
    Piece: ("piece", "form"),
}


@dataclass(frozen=True, slots=True)
class Context:
    """What bare numbers and relative paths in a file mean.

    Parameters
    ----------
    units : "mm" or "inch"
        Of bare lengths.
    folder : Path
        Where the file lies.
    screw : callable
        From a slide to the screw by which a person winds it on the file's lathe; None where none does.
    """

    units: LengthUnit
    folder: Path
    screw: Callable[[str], Screw | None] = lambda _: None


class Reader(Protocol):
    """Reads a written value as a part or a setting."""

    def read(self, given: Any, context: Context) -> Any:
        """Return the object that ``given`` describes.

        Raises
        ------
        InputError
            If it is wrong, with the key path inside ``given``.
        """

    def form(self) -> Any:
        """Return the type whose JSON Schema describes the written value."""


@dataclass(frozen=True, slots=True)
class Key:
    """A key of a table.

    Parameters
    ----------
    reads : Any
        The type by which pydantic reads it.
    description : str
        What may be written.
    default : Any
        For the schema; ``...`` where the key is needed, None where there is nothing short to show.
    about : str
        What the setting is.
    """

    reads: Any
    description: str
    default: Any = ...
    about: str = ""


class _ReadBy:
    """Makes pydantic read a value by a `Reader`; the JSON Schema is made only when it is asked for."""

    def __init__(self, reader: Reader) -> None:
        self.reader = reader

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.with_info_plain_validator_function(lambda given, info: self.reader.read(given, _context(info)))

    def __get_pydantic_json_schema__(self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        form: TypeAdapter[Any] = TypeAdapter(self.reader.form())
        return handler(form.core_schema)


def read_by(reader: Reader) -> Any:
    """Return the type of a value that ``reader`` reads."""
    return Annotated[Any, _ReadBy(reader)]


def list_of(reader: Reader) -> Any:
    """Return the type of a list of values that ``reader`` reads."""
    return list[Annotated[Any, _ReadBy(reader)]]


def _context(info: ValidationInfo) -> Context:
    context: Context | None = info.context
    assert context is not None
    return context


class Table:
    """A table with known keys, and what it builds.

    Parameters
    ----------
    title : str
        Names it in the schema.
    keys : mapping from key to Key
        What may stand in it.
    build : callable
        From the keys that were given, read, to what the table stands for.
    about : str
        What it is, for the schema.
    """

    def __init__(self, title: str, keys: Mapping[str, Key], build: Callable[[dict[str, Any]], Any], about: str = "") -> None:
        self.title = title
        self.keys = keys
        self.build = build
        self.about = about

    def form(self) -> Any:
        """Return the TypedDict of the table."""
        return self._form

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of the table."""
        return self._adapter.json_schema()

    @cached_property
    def _form(self) -> Any:
        types: dict[str, Any] = {}
        for name, key in self.keys.items():
            extra = None if key.default in (..., None) else {"default": key.default}
            field = Field(title=name, description=key.about or key.description, json_schema_extra=extra)
            types[name] = Annotated[key.reads, field] if key.default is ... else NotRequired[Annotated[key.reads, field]]
        form: Any = TypedDict(self.title, types)  # type: ignore[misc]
        form.__doc__ = self.about or None
        return with_config(ConfigDict(extra="forbid", title=self.title))(form)

    @cached_property
    def _adapter(self) -> TypeAdapter[dict[str, Any]]:
        return TypeAdapter(self._form)

    def read(self, given: Any, context: Context) -> Any:
        """Return the object that the table ``given`` describes; the error has one for each wrong key."""
        if not isinstance(given, dict):
            raise InputError("is not a table", given=shown(given), remedy=f"write a table with {', '.join(self.keys)}")
        try:
            values = self._adapter.validate_python(given, context=context)
        except ValidationError as error:
            raise InputError.combine(list(self._errors(error))) from None
        try:
            return self.build(values)
        except InputError as error:
            raise pointed(error, given) from None
        except (ValueError, TypeError, ArithmeticError, LookupError, AttributeError) as error:
            raise InputError(f"{self.title} refuses these settings: {error}", remedy="see its documentation") from None

    def _errors(self, found: ValidationError) -> Iterator[InputError]:
        """Yield an error for each unknown key, then for each missing key, then for each value that does not fit.

        A missing key is left out if an unknown one is that key misspelt; of the errors of one value only the first is kept,
        because it may have been tried as several types.
        """
        hints, seen = "", set()
        for each in sorted(found.errors(include_url=False), key=_rank):
            name, *places = each["loc"]
            key, where, rank = str(name), written_key(str(name)), _rank(each)
            if rank == _UNKNOWN_KEY:
                hint = nearest(key, self.keys)
                hints += hint
                yield InputError(f"there is no such key{hint}", where, remedy=f"keys here: {', '.join(self.keys)}")
            elif rank == _MISSING_KEY:
                if repr(key) not in hints:
                    yield InputError("is missing", key, remedy=f"write {self.keys[key].description}")
            else:
                indices = places[:-1] if each["type"] == "missing" else places
                where += "".join(f"[{index + 1}]" for index in indices if isinstance(index, int))
                if where not in seen:
                    seen.add(where)
                    yield self._value_error(each, key, where)

    def _value_error(self, found: ErrorDetails, key: str, where: str) -> InputError:
        cause = found.get("ctx", {}).get("error")
        if isinstance(cause, InputError):
            return inside(cause, where)
        remedy = f"write {self.keys[key].description}"
        return InputError("does not fit here", where, given=shown(found["input"]), remedy=remedy)


_UNKNOWN_KEY, _MISSING_KEY, _WRONG_VALUE = range(3)


def _rank(found: ErrorDetails) -> int:
    """Return the kind of an error of a table; errors are reported in the order of their kinds."""
    kinds = {"extra_forbidden": _UNKNOWN_KEY, "missing": _MISSING_KEY}
    return kinds.get(found["type"], _WRONG_VALUE) if len(found["loc"]) == 1 else _WRONG_VALUE


class Choice:
    """A table whose key ``key`` says which part it is.

    Parameters
    ----------
    what : str
        "cam", "follower", "chuck", "cutter", "piece" or "holder".
    key : str
        "shape", "kind" or "form".
    table : callable
        From a part's name and class to its table.
    known : callable, optional
        To the parts by name; those that are installed unless given.
    """

    def __init__(
        self, what: str, key: str, table: Callable[[str, type], Table], known: Callable[[], Mapping[str, type]] | None = None
    ) -> None:
        self.what = what
        self.key = key
        self._table = cache(table)
        self._more = "" if known else " (lobework list shows more)"
        self._known = known or (lambda: registry.installed().kinds(what))  # type: ignore[arg-type]

    def form(self) -> Any:
        """Return the union of the tables of every installed part that a file can hold."""
        forms: list[Any] = []
        for name, part in self._known().items():
            with contextlib.suppress(PluginError):
                forms.append(self._table(name, part).form())
        return forms[0] if len(forms) == 1 else Annotated[reduce(or_, forms), Field(discriminator=self.key)]

    def read(self, given: Any, context: Context) -> Any:
        """Return the part that ``given`` describes."""
        known = self._known()
        if not isinstance(given, dict):
            raise InputError(f"{shown(given)} is not a table; write {self.key} = one of {', '.join(known)}, and its settings")
        name = given.get(self.key)
        if name is None:
            raise InputError(f"is missing; write one of {', '.join(known)}", self.key)
        if not isinstance(name, str) or name not in known:
            hint = nearest(name, known) if isinstance(name, str) else ""
            description = f"no {self.what} is called {shown(name)}{hint}; installed: {', '.join(known)}{self._more}"
            raise InputError(description, self.key)
        try:
            table = self._table(name, known[name])
        except PluginError as error:
            raise InputError(str(error), self.key) from None
        return table.read(given, context)


class OneOrMore:
    """One table, or a list of them, read as a list of pairs: what was read, and its place such as ``[2]``."""

    def __init__(self, table: Table) -> None:
        self.table = table

    def form(self) -> Any:
        """Return the type of a table, or of a list of them."""
        return self.table.form() | list[self.table.form()]  # type: ignore[misc]

    def read(self, given: Any, context: Context) -> list[tuple[Any, str]]:
        """Return what each table stands for, with its place; a single one has none."""
        if not isinstance(given, list):
            return [(self.table.read(given, context), "")]
        found, wrong = [], []
        for number, each in enumerate(given, 1):
            try:
                found.append((self.table.read(each, context), f"[{number}]"))
            except InputError as error:
                wrong.append(inside(error, f"[{number}]"))
        if wrong:
            raise InputError.combine(wrong) from None
        return found


def measured(mark: Measure) -> Any:
    """Return the type of a setting that is written as ``mark`` says; bare lengths are in the file's units."""
    takes_bare = mark.takes_bare

    def read(given: Any, info: ValidationInfo) -> Any:
        bare = {"bare": _context(info).units} if takes_bare else {}
        return quantity(lambda value: mark.read(value, **bare), given, mark.description)

    written = mark.schema or (_LIST_OF_PAIRS if mark.pairs else _NUMBER_OR_TEXT)
    return Annotated[Any, PlainValidator(read), WithJsonSchema({**written, "description": mark.description})]


def quantity(read: Callable[[Any], Any], given: Any, description: str) -> Any:
    """Return what ``read`` makes of a written number; whatever it complains of, in one line."""
    if isinstance(given, str) and len(given) > _LONGEST_QUANTITY:
        raise InputError(f"{shown(given)} is too long for a number; write {description}")
    try:
        value = read(given)
    except InputError:
        raise
    except (ValueError, TypeError, ArithmeticError) as error:
        raise InputError(f"{shown(given)} does not fit here ({error}); write {description}") from None
    if not all(-_MOST <= each <= _MOST for each in _numbers(value)):
        raise InputError(f"{shown(given)} is more than a million, beyond any lathe; write {description}")
    return value


def _numbers(value: Any) -> tuple[float | Fraction, ...]:
    if isinstance(value, Phase):
        return value.turns, value.lobes
    if isinstance(value, tuple):
        return tuple(number for each in value for number in _numbers(each))
    return (value,) if isinstance(value, int | float | Fraction) else ()


def _number(read: Callable[[Any], Any], description: str) -> tuple[Any, str]:
    plain = PlainValidator(lambda given: quantity(read, given, description))
    return Annotated[Any, plain, WithJsonSchema({**_NUMBER_OR_TEXT, "description": description})], description


_PLAIN: Final[dict[Any, tuple[Any, str]]] = {
    int: (StrictInt, "a whole number"),
    str: (Annotated[StrictStr, Field(max_length=_LONGEST_TEXT)], f"text in quotes, at most {_LONGEST_TEXT} characters"),
    bool: (StrictBool, "true or false"),
    float: _number(lambda given: float(ratio(given)), "a number such as 0.5 or '1/2'"),
    Fraction: _number(ratio, "a number such as 2, '3/4' or '66.67 %'"),
}


def reading(hint: Any) -> tuple[Any, str]:
    """Return the type by which pydantic reads a field with this type hint, and what may be written."""
    origin, inner = get_origin(hint), get_args(hint)
    if origin is Annotated:
        mark = next((each for each in inner[1:] if isinstance(each, Measure)), None)
        return (measured(mark), mark.description) if mark is not None else reading(inner[0])
    if origin is Literal:
        return hint, " or ".join(repr(each) for each in inner)
    if hint == Holder:
        return read_by(_holder_choice()), "a table with kind = 'fixed', 'drilling spindle', 'cutting frame' or 'eccentric frame'"
    if origin in (Union, UnionType):
        ways = [reading(each) for each in inner if each is not NoneType]
        return reduce(or_, [way for way, _ in ways]), " or ".join(description for _, description in ways)
    if origin is tuple and Ellipsis not in inner:
        ways = [reading(each) for each in inner]
        return tuple[tuple(way for way, _ in ways)], f"a list: {', '.join(description for _, description in ways)}"  # type: ignore[misc]
    if origin in (tuple, list, Sequence):
        each, description = reading(inner[0])
        return tuple[each, ...], f"a list, each {description}"  # type: ignore[valid-type]
    if hint in _PLAIN:
        return _PLAIN[hint]
    if hint in _PROMISES:
        what, key = _PROMISES[hint]
        return read_by(choice_of(what)), f"a table with {key} = the {what}'s name"
    if isinstance(hint, type) and is_dataclass(hint):
        keys = part_keys(hint)
        return read_by(Table(hint.__name__, keys, built(hint))), f"a table with {', '.join(keys)}"
    raise PluginError(f"settings of type {hint} cannot be written in a file")


def part_keys(part: type) -> dict[str, Key]:
    """Return the keys of a part's settings, in the order of its fields; angles drop their ``_deg``.

    Raises
    ------
    PluginError
        Where the part is no dataclass, or a field's type cannot be written in a file.
    """
    told = _told(part)
    found: dict[str, Key] = {}
    try:
        hints = hints_of(part)
        for each in fields(part):
            if each.init:
                reads, description = reading(_waiting(part, each.name))
                found[_key_of(each.name, hints[each.name])] = Key(reads, description, _default(each), told.get(each.name, ""))
    except (PluginError, TypeError, NameError, AttributeError) as error:
        raise PluginError(f"{part.__name__} cannot be read from a file: {error}; ask its author") from None
    return found


def _length_or_wound(given: object, bare: LengthUnit = "mm") -> float | Wound:
    return Wound.of(given) or length(given, bare)


def _phase_or_holes(given: object) -> Phase | Holes:
    return Holes.of(given) or Phase.of(given)


_WOUND: Final = Annotated[
    float, Measure("a length such as 3, '3 mm' or '1/8 in', or '16 turns' of its screw", _length_or_wound, format_length)
]
_IN_HOLES: Final = Annotated[
    Phase, Measure("an angle such as '2 deg' or '1/96 turn', or '8 holes of 96' of its wheel", _phase_or_holes, format_phase)
]


def wound_on(slide: str) -> tuple[Any, str]:
    """Return the type of a place on a slide that a person may wind by the lathe's own screw, and what may be written."""
    description = "a length such as 3, '3 mm' or '1/8 in', or '16 turns' of the screw of a slide that is set by hand"

    def read(given: Any, info: ValidationInfo) -> Any:
        context = _context(info)
        wound = Wound.of(given)
        screw = context.screw(slide) if wound is not None else None
        if wound is not None and screw is None:
            says_none = f"no [[hand]] table of the lathe gives its {slide} slide a screw"
            raise InputError(f"{shown(given)} must be in mm or inches, for {says_none}")
        return quantity(lambda value: wound_length(value, context.units, screw), given, description)

    return Annotated[Any, PlainValidator(read), WithJsonSchema({**_NUMBER_OR_TEXT, "description": description})], description


def _waiting(part: type, name: str) -> Any:
    """Return a field's type as a file has it: of a part with a screw or a wheel, turns and holes that wait for them."""
    hint = hints_of(part)[name]
    if hint == Length and may_have(part, Screw):
        return _WOUND
    return _IN_HOLES if name == "index" and hint == Turning and may_have(part, Wheel) else hint


def _key_of(name: str, hint: Any) -> str:
    marked = any(isinstance(mark, Measure) for mark in getattr(hint, "__metadata__", ()))
    return name.removesuffix("_deg") if marked else name


def _default(each: Any) -> Any:
    """Return ``...`` for a field that must be given, else its default as far as a JSON Schema can show it."""
    if each.default is MISSING and each.default_factory is MISSING:
        return ...
    return each.default if isinstance(each.default, bool | int | str) or each.default == 0.0 else None


def _told(part: type) -> dict[str, str]:
    """Return what the docstrings of a part and its bases say of each setting."""
    found: dict[str, str] = {}
    for base in reversed(part.__mro__):
        names: list[str] = []
        for line in inspect.cleandoc(base.__dict__.get("__doc__") or "").splitlines():
            if entry := _ENTRY.fullmatch(line):
                names = entry["names"].split(", ")
                found.update(dict.fromkeys(names, ""))
            elif names and line.startswith("    "):
                found.update({name: f"{found[name]} {line.strip()}".strip() for name in names})
            else:
                names = []
    return found


def built(part: type, *others: str) -> Callable[[dict[str, Any]], Any]:
    """Return what makes ``part`` of its keys, leaving out those in ``others``."""
    hints = hints_of(part)
    names = {_key_of(each.name, hints[each.name]): each.name for each in fields(part)}
    usual = {each.name: each.default for each in fields(part)}

    def make(values: dict[str, Any]) -> Any:
        own = {names[key]: value for key, value in values.items() if key not in others}
        fitted = {**usual, **own}
        for name, value in own.items():
            if isinstance(value, Wound | Holes):
                try:
                    own[name] = value.on(fitted["screw"] if isinstance(value, Wound) else fitted["wheel"])
                except InputError as error:
                    raise error.replaced(name=name) from None
        return part(**own)

    return make


def part_table(part: type, named: Mapping[str, Key] | None = None, build: Callable[[dict[str, Any]], Any] | None = None) -> Table:
    """Return the table of a part: the keys ``named`` come first; only ``build`` knows what to do with them."""
    named, own = named or {}, part_keys(part)
    for key in own:
        if key in named:
            taken = f"its setting {key!r} is a key of the table already"
            raise PluginError(f"{part.__name__} cannot be read from a file: {taken}; ask its author")
    return Table(part.__name__, {**named, **own}, build or built(part, *named), first_line(part))


def first_line(part: type) -> str:
    """Return the first line of a part's docstring."""
    return (inspect.getdoc(part) or "").partition("\n")[0]


def chosen(what: str, key: str, name: str, part: type) -> dict[str, Key]:
    """Return the key that says which part a table is."""
    return {key: Key(Literal[name], repr(name), about=f"This {what}: {first_line(part)}")}


@cache
def _holder_choice() -> Choice:
    holders = {holder.kind: holder for holder in HOLDERS}

    def table(name: str, part: type) -> Table:
        return part_table(part, chosen("holder", "kind", name, part))

    return Choice("holder", "kind", table, lambda: holders)


@cache
def choice_of(what: PartKind) -> Choice:
    """Return the choice among the installed parts of one promise: "cam", "follower", "chuck", "cutter" or "piece"."""
    key = next(key for each, key in _PROMISES.values() if each == what)

    def table(name: str, part: type) -> Table:
        return part_table(part, chosen(what, key, name, part))

    return Choice(what, key, table)
