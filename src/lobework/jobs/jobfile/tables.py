"""The tables of a job file, derived from the fields of the parts; parts of plugins are read like built-in parts."""

from __future__ import annotations

import contextlib
import inspect
import re
import sys
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

from lobework.errors import InputError, PluginError, nearest
from lobework.gearing.dividing_wheel import Holes, Wheel
from lobework.gearing.screw import Screw, Wound, wound_length
from lobework.jobs.jobfile.source import short_text, with_key_and_value, with_key_prefix, written_key
from lobework.lathe.mounting import may_have
from lobework.parts.holder import HOLDERS, Holder
from lobework.parts.protocols import Cam, Chuck, Cutter, Follower, Piece
from lobework.plugins import registry
from lobework.plugins.registry import PartKind
from lobework.quantities.fields import Length, Measure, Turning, hints_of
from lobework.quantities.units import LengthUnit, Phase, format_length, format_phase, length, ratio

if sys.version_info >= (3, 12):
    from typing import TypedDict
else:
    from typing_extensions import TypedDict  # pydantic accepts no other before Python 3.12

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
    "builder_of",
    "choice_of",
    "first_line",
    "key_of",
    "list_of",
    "part_keys",
    "part_table",
    "quantity",
    "read_by",
    "setting_type",
    "slide_length",
    "written_as",
]

_LONGEST_QUANTITY: Final = 80
_LONGEST_TEXT: Final = 300
"""Largest length of a text, such as a path, or a name that is printed on each line of the output."""
_LARGEST: Final = 10**6
_NUMBER_OR_TEXT: Final = {"type": ["number", "string"]}
_LIST_OF_PAIRS: Final = {
    "type": "array",
    "items": {"type": "array", "items": _NUMBER_OR_TEXT, "minItems": 2, "maxItems": 2},
}
_ENTRY: Final = re.compile(r"(?P<names>\w+(?:, \w+)*) : .*")
_KINDS: Final[dict[Any, PartKind]] = {Cam: "cam", Follower: "follower", Chuck: "chuck", Cutter: "cutter", Piece: "piece"}
_KIND_KEYS: Final = {"cam": "shape", "piece": "form"}
"""The key that names a part, for the kinds of parts for which this key is not ``kind``."""


@dataclass(frozen=True, slots=True)
class Context:
    """The units, the folder and the lathe to which numbers and paths in a file refer.

    Parameters
    ----------
    units : "mm" or "inch"
        Unit of lengths that are written without a unit.
    folder : Path
        The folder of the file, for relative paths.
    screw : callable
        Function that takes the name of a slide and returns the screw by which the slide is set by hand; None if there is none.
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
            If ``given`` is wrong; the error gives the key path inside ``given``.
        """

    @property
    def form(self) -> Any:
        """The type whose JSON Schema describes the written value."""


@dataclass(frozen=True, slots=True)
class Key:
    """A key of a table.

    Parameters
    ----------
    type : Any
        The type that pydantic reads.
    description : str
        Description of the allowed values.
    default : Any
        Default value in the schema; ``...`` if the key is required, None if the default cannot be shown briefly.
    about : str
        The meaning of the setting.
    """

    type: Any
    description: str
    default: Any = ...
    about: str = ""


def key_of(hint: Any, default: Any = ..., about: str = "") -> Key:
    """Return the key of a setting with this type hint."""
    return Key(*setting_type(hint), default, about)


class _ReadBy:
    """Makes pydantic read a value with a `Reader`; the JSON Schema is made only on demand."""

    def __init__(self, reader: Reader) -> None:
        self.reader = reader

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.with_info_plain_validator_function(lambda given, info: self.reader.read(given, _context(info)))

    def __get_pydantic_json_schema__(self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        form: TypeAdapter[Any] = TypeAdapter(self.reader.form)
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
    """A table with known keys, and the function that builds its object.

    Parameters
    ----------
    title : str
        Name of the table in the schema.
    keys : mapping from key to Key
        The keys that are allowed.
    build : callable
        Function that takes the given values by key, and returns the object that the table describes.
    about : str
        Description of the table in the schema.
    """

    def __init__(self, title: str, keys: Mapping[str, Key], build: Callable[[dict[str, Any]], Any], about: str = "") -> None:
        self.title = title
        self.keys = keys
        self.build = build
        self.about = about

    @cached_property
    def form(self) -> Any:
        """The TypedDict of the table."""
        types: dict[str, Any] = {}
        for name, key in self.keys.items():
            extra = None if key.default in (..., None) else {"default": key.default}
            field = Field(title=name, description=key.about or key.description, json_schema_extra=extra)
            types[name] = Annotated[key.type, field] if key.default is ... else NotRequired[Annotated[key.type, field]]
        form: Any = TypedDict(self.title, types)  # type: ignore[misc]
        form.__doc__ = self.about or None
        return with_config(ConfigDict(extra="forbid", title=self.title))(form)

    @cached_property
    def _adapter(self) -> TypeAdapter[dict[str, Any]]:
        return TypeAdapter(self.form)

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of the table."""
        return self._adapter.json_schema()

    def read(self, given: Any, context: Context) -> Any:
        """Return the object that the table ``given`` describes; an error and its ``further_errors`` name every wrong key."""
        if not isinstance(given, dict):
            raise InputError("is not a table", given=short_text(given), remedy=f"write a table with {', '.join(self.keys)}")
        try:
            values = self._adapter.validate_python(given, context=context)
        except ValidationError as error:
            raise InputError.combine(list(self._errors(error))) from None
        try:
            return self.build(values)
        except InputError as error:
            raise with_key_and_value(error, given) from None
        except (ValueError, TypeError, ArithmeticError, LookupError, AttributeError) as error:
            raise InputError(f"{self.title} does not allow these settings: {error}", remedy="see its documentation") from None

    def _errors(self, found: ValidationError) -> Iterator[InputError]:
        """Yield an error for each unknown key, then for each missing key, then for each value that does not fit.

        A missing key is not reported if an unknown key appears to be a misspelling of it. Only the first error of each value is
        reported, because pydantic may have tried the value as several types.
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
            return with_key_prefix(cause, where)
        remedy = f"write {self.keys[key].description}"
        return InputError("does not fit here", where, given=short_text(found["input"]), remedy=remedy)


_UNKNOWN_KEY, _MISSING_KEY, _WRONG_VALUE = range(3)


def _rank(found: ErrorDetails) -> int:
    """Return the rank of an error of a table; errors are reported in the order of their ranks."""
    kinds = {"extra_forbidden": _UNKNOWN_KEY, "missing": _MISSING_KEY}
    return kinds.get(found["type"], _WRONG_VALUE) if len(found["loc"]) == 1 else _WRONG_VALUE


class Choice:
    """A table whose first key names the part that it describes.

    Parameters
    ----------
    what : str
        "cam", "follower", "chuck", "cutter", "piece" or "holder".
    keys : mapping from key to Key
        Further keys of the table, besides those of the part.
    finish : callable, optional
        Function that takes the part and the values of all keys, and returns the object that the table describes; by default it
        returns the part.
    """

    def __init__(
        self,
        what: PartKind | Literal["holder"],
        keys: Mapping[str, Key] | None = None,
        finish: Callable[[Any, dict[str, Any]], Any] = lambda part, _: part,
    ) -> None:
        self.what = what
        self.key = _KIND_KEYS.get(what, "kind")
        self._keys = keys or {}
        self._finish = finish
        self._table = cache(self._table_of)

    def _table_of(self, name: str, part: type) -> Table:
        named = Key(Literal[name], repr(name), about=f"This {self.what}: {first_line(part)}")
        return part_table(part, {self.key: named, **self._keys}, self._finish)

    @property
    def _known(self) -> Mapping[str, type]:
        return {each.kind: each for each in HOLDERS} if self.what == "holder" else registry.installed().kinds(self.what)

    @property
    def form(self) -> Any:
        """The union of the tables of every installed part that a file can hold."""
        forms: list[Any] = []
        for name, part in self._known.items():
            with contextlib.suppress(PluginError):
                forms.append(self._table(name, part).form)
        return forms[0] if len(forms) == 1 else Annotated[reduce(or_, forms), Field(discriminator=self.key)]

    def read(self, given: Any, context: Context) -> Any:
        """Return the part that ``given`` describes."""
        known = self._known
        if not isinstance(given, dict):
            remedy = f"write {self.key} = one of {', '.join(known)}, and its settings"
            raise InputError("is not a table", given=short_text(given), remedy=remedy)
        name = given.get(self.key)
        if name is None:
            raise InputError("is missing", self.key, remedy=f"write one of {', '.join(known)}")
        if not isinstance(name, str) or name not in known:
            hint = nearest(name, known) if isinstance(name, str) else ""
            remedy = f"installed: {', '.join(known)}{'' if self.what == 'holder' else ' (lobework list shows more)'}"
            raise InputError(f"no {self.what} is called {short_text(name)}{hint}", self.key, remedy=remedy)
        try:
            table = self._table(name, known[name])
        except PluginError as error:
            raise InputError(str(error), self.key) from None
        return table.read(given, context)


class OneOrMore:
    """One table, or a list of them, read as a list of pairs: each object, with its position in the list, such as ``[2]``."""

    def __init__(self, table: Table) -> None:
        self.table = table

    @property
    def form(self) -> Any:
        """The type of a table, or of a list of tables."""
        form = self.table.form
        return form | list[form]  # type: ignore[valid-type]

    def read(self, given: Any, context: Context) -> list[tuple[Any, str]]:
        """Return the object that each table describes, with the position of the table as text (empty for a single table)."""
        if not isinstance(given, list):
            return [(self.table.read(given, context), "")]
        found, wrong = [], []
        for number, each in enumerate(given, 1):
            try:
                found.append((self.table.read(each, context), f"[{number}]"))
            except InputError as error:
                wrong.append(with_key_prefix(error, f"[{number}]"))
        if wrong:
            raise InputError.combine(wrong) from None
        return found


def written_as(read: Callable[[Any, Context], Any], description: str, schema: Mapping[str, Any] = _NUMBER_OR_TEXT) -> Any:
    """Return the type of a quantity that the function ``read`` reads in a context, with its description and JSON Schema."""

    def checked(given: Any, info: ValidationInfo) -> Any:
        return quantity(lambda value: read(value, _context(info)), given, description)

    return Annotated[Any, PlainValidator(checked), WithJsonSchema({**schema, "description": description})]


def _measured(mark: Measure) -> Any:
    """Return the type of a setting that is written as ``mark`` describes; bare lengths are in the file's units."""
    schema = mark.schema or (_LIST_OF_PAIRS if mark.pairs else _NUMBER_OR_TEXT)
    if mark.takes_bare:
        return written_as(lambda given, context: mark.read(given, bare=context.units), mark.description, schema)
    return written_as(lambda given, _: mark.read(given), mark.description, schema)


def quantity(read: Callable[[Any], Any], given: Any, description: str) -> Any:
    """Convert a written number with the function ``read``; each error is one line and contains ``description``."""
    remedy = f"write {description}"
    if isinstance(given, str) and len(given) > _LONGEST_QUANTITY:
        raise InputError("is too long for a number", given=short_text(given), remedy=remedy)
    try:
        value = read(given)
    except InputError:
        raise
    except (ValueError, TypeError, ArithmeticError) as error:
        raise InputError(f"does not fit here ({error})", given=short_text(given), remedy=remedy) from None
    if not all(-_LARGEST <= each <= _LARGEST for each in _numbers(value)):
        raise InputError("is more than a million, beyond any lathe", given=short_text(given), remedy=remedy)
    return value


def _numbers(value: Any) -> tuple[float | Fraction, ...]:
    if isinstance(value, Phase):
        return value.turns, value.lobes
    if isinstance(value, tuple):
        return tuple(number for each in value for number in _numbers(each))
    return (value,) if isinstance(value, int | float | Fraction) else ()


_FLOAT: Final = "a number such as 0.5 or '1/2'"
_FRACTION: Final = "a number such as 2, '3/4' or '66.67 %'"
_PLAIN: Final[dict[Any, tuple[Any, str]]] = {
    int: (StrictInt, "a whole number"),
    str: (Annotated[StrictStr, Field(max_length=_LONGEST_TEXT)], f"text in quotes, at most {_LONGEST_TEXT} characters"),
    bool: (StrictBool, "true or false"),
    float: (written_as(lambda given, _: float(ratio(given)), _FLOAT), _FLOAT),
    Fraction: (written_as(lambda given, _: ratio(given), _FRACTION), _FRACTION),
}


def setting_type(hint: Any) -> tuple[Any, str]:
    """Return the type that pydantic reads for a field with this type hint, and the values that are allowed."""
    origin, inner = get_origin(hint), get_args(hint)
    if origin is Annotated:
        mark = next((each for each in inner[1:] if isinstance(each, Measure)), None)
        return (_measured(mark), mark.description) if mark is not None else setting_type(inner[0])
    if origin is Literal:
        return hint, " or ".join(repr(each) for each in inner)
    if hint == Holder:
        return read_by(
            choice_of("holder")
        ), "a table with kind = 'fixed', 'drilling spindle', 'cutting frame' or 'eccentric frame'"
    if origin in (Union, UnionType):
        types, descriptions = zip(*(setting_type(each) for each in inner if each is not NoneType), strict=True)
        return reduce(or_, types), " or ".join(descriptions)
    if origin is tuple and Ellipsis not in inner:
        types, descriptions = zip(*(setting_type(each) for each in inner), strict=True)
        return tuple[types], f"a list: {', '.join(descriptions)}"  # type: ignore[valid-type]
    if origin in (tuple, list, Sequence):
        each, description = setting_type(inner[0])
        return tuple[each, ...], f"a list, each {description}"  # type: ignore[valid-type]
    if hint in _PLAIN:
        return _PLAIN[hint]
    if hint in _KINDS:
        choice = choice_of(_KINDS[hint])
        return read_by(choice), f"a table with {choice.key} = the {choice.what}'s name"
    if isinstance(hint, type) and is_dataclass(hint):
        keys = part_keys(hint)
        return read_by(Table(hint.__name__, keys, builder_of(hint))), f"a table with {', '.join(keys)}"
    raise PluginError(f"settings of type {hint} cannot be written in a file")


def part_keys(part: type) -> dict[str, Key]:
    """Return the keys of a part's settings, in the order of its fields; the keys of angles have no ``_deg``.

    Raises
    ------
    PluginError
        If the part is not a dataclass, or a field's type cannot be written in a file.
    """
    abouts = _described_settings(part)
    found: dict[str, Key] = {}
    try:
        hints = hints_of(part)
        for each in fields(part):
            if each.init:
                read, description = setting_type(_type_in_file(part, each.name))
                key = _key_of(each.name, hints[each.name])
                found[key] = Key(read, description, _default(each), abouts.get(each.name, ""))
    except (PluginError, TypeError, NameError, AttributeError) as error:
        raise PluginError(f"{part.__name__} cannot be read from a file: {error}; ask the author of the part") from None
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


def slide_length(slide: str) -> tuple[Any, str]:
    """Return the type of a position of a slide, in units of length or in turns of the slide's screw, and the allowed values."""
    description = "a length such as 3, '3 mm' or '1/8 in', or '16 turns' of the screw of a slide that is set by hand"

    def read(given: Any, context: Context) -> float:
        screw = context.screw(slide) if (in_turns := Wound.of(given) is not None) else None
        if in_turns and screw is None:
            remedy = f"no [[hand]] table of the lathe describes a screw for the {slide} slide"
            raise InputError(given=short_text(given), must_be="in mm or inches", remedy=remedy)
        return wound_length(given, context.units, screw)

    return written_as(read, description), description


def _type_in_file(part: type, name: str) -> Any:
    """Return a field's type in a file; if the part has a screw or a wheel, its turns or holes are also allowed."""
    hint = hints_of(part)[name]
    if hint == Length and may_have(part, Screw):
        return _WOUND
    return _IN_HOLES if name == "index" and hint == Turning and may_have(part, Wheel) else hint


def _key_of(name: str, hint: Any) -> str:
    marked = any(isinstance(mark, Measure) for mark in getattr(hint, "__metadata__", ()))
    return name.removesuffix("_deg") if marked else name


def _default(each: Any) -> Any:
    """Return ``...`` for a required field, otherwise its default if a JSON Schema can show it."""
    if each.default is MISSING and each.default_factory is MISSING:
        return ...
    return each.default if isinstance(each.default, bool | int | str) or each.default == 0.0 else None


def _described_settings(part: type) -> dict[str, str]:
    """Return the description of each setting from the docstrings of a part and its bases."""
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


def builder_of(part: type) -> Callable[[dict[str, Any]], Any]:
    """Return the function that makes ``part`` from the values of its keys; the function ignores other keys."""
    hints = hints_of(part)
    names = {_key_of(each.name, hints[each.name]): each.name for each in fields(part)}
    defaults = {each.name: each.default for each in fields(part)}

    def build(values: dict[str, Any]) -> Any:
        settings = {names[key]: value for key, value in values.items() if key in names}
        values_with_defaults = {**defaults, **settings}
        for name, value in settings.items():
            if isinstance(value, Wound | Holes):
                fitting = "screw" if isinstance(value, Wound) else "wheel"
                try:
                    settings[name] = value.on(values_with_defaults[fitting])
                except InputError as error:
                    raise error.replaced(name=name) from None
        return part(**settings)

    return build


def part_table(
    part: type, named: Mapping[str, Key] | None = None, finish: Callable[[Any, dict[str, Any]], Any] = lambda part, _: part
) -> Table:
    """Return the table of a part: the keys in ``named`` come first; the function ``finish`` gets the part and all values."""
    named, own, build = named or {}, part_keys(part), builder_of(part)
    for key in own:
        if key in named:
            taken = f"its setting {key!r} has the same name as a key of the table"
            raise PluginError(f"{part.__name__} cannot be read from a file: {taken}; ask the author of the part")
    return Table(part.__name__, {**named, **own}, lambda values: finish(build(values), values), first_line(part))


def first_line(part: type) -> str:
    """Return the first line of a part's docstring."""
    return (inspect.getdoc(part) or "").partition("\n")[0]


@cache
def choice_of(what: PartKind | Literal["holder"]) -> Choice:
    """Return the choice among the installed parts of one kind: "cam", "follower", "chuck", "cutter", "piece" or "holder"."""
    return Choice(what)
