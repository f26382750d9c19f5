"""What every part must offer: the promises that a part of your own keeps to be used like a built-in one.

Parts are frozen dataclasses. The job file, the settings and the docs learn a part's settings from its
fields: their names, types, defaults and `Annotated` units below.
"""

from __future__ import annotations

import inspect
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from functools import cache, lru_cache
from typing import (
    TYPE_CHECKING,
    Annotated,
    Any,
    ClassVar,
    Final,
    Literal,
    NamedTuple,
    Protocol,
    get_type_hints,
    runtime_checkable,
)

import numpy as np

from lobework.errors import PartError, SettingError, require
from lobework.units import (
    MM_PER,
    LengthUnit,
    Phase,
    angle,
    format_length,
    format_number,
    format_phase,
    is_real,
    length,
    plain_number,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from lobework.rigid import Array, Rigid

__all__ = [
    "Angle",
    "Cam",
    "Chuck",
    "ChuckSlide",
    "Cutter",
    "Follower",
    "Length",
    "Measure",
    "Pairs",
    "Piece",
    "Turning",
    "as_pairs",
    "held_in",
    "hints_of",
    "length_pairs",
    "measures",
    "not_continuous",
    "not_finite",
    "pairs_measure",
    "require_numbers",
    "require_part",
    "require_rests",
    "seen_on",
    "show_pairs",
    "smooth_slope",
]

Pairs = tuple[tuple[float, float], ...]

_LONGEST_SHOWN: Final = 40


@dataclass(frozen=True, slots=True)
class Measure:
    """How a setting is written at the bench, for whoever reads files or prints settings.

    Parameters
    ----------
    says : str
        What may be written, for messages and the schema.
    read : callable
        Written value to the value kept in the field (mm, degrees or `Phase`). Lengths also take ``bare``.
    show : callable
        The value kept to text for people; of a single number, text that `read` takes.
    pairs : bool
        Whether it is a list of pairs rather than a single number.
    beside : callable, optional
        The value kept to what is shown beside it, such as turns of a screw.
    schema : mapping, optional
        The JSON Schema of what may be written, where it is neither a number, a text nor pairs.
    """

    says: str
    read: Callable[..., Any]
    show: Callable[[Any], str]
    pairs: bool = False
    beside: Callable[[Any], str] | None = None
    schema: Mapping[str, Any] | None = field(default=None, compare=False)

    @property
    def takes_bare(self) -> bool:
        """Whether a bare number is a length, in the unit of whoever reads it."""
        return _takes_bare(self.read)


@lru_cache(maxsize=256)
def _takes_bare(read: Callable[..., Any]) -> bool:
    return "bare" in inspect.signature(read).parameters


Length = Annotated[float, Measure("a length such as 3, '3 mm' or '1/8 in'", length, format_length)]
"""A field in millimetres."""

Angle = Annotated[
    float, Measure("an angle such as 90, '90 deg' or '1/4 turn'", angle, lambda deg: f"{format_number(deg, 6)} deg")
]
"""A field in degrees; its name ends in ``_deg``, and files drop that ending."""

Turning = Annotated[Phase, Measure("an angle such as '2 deg', '1/96 turn' or '1/2 lobe'", Phase.of, format_phase)]
"""A field that holds an exact `Phase`; lobes are those of the cam it belongs to."""


def length_pairs(given: object, bare: LengthUnit = "mm") -> Pairs:
    """Return pairs of lengths in mm, as files write them; a bare number is in the unit ``bare``.

    >>> length_pairs([[0, 20], ["-1 in", "3/4 in"]])
    ((0.0, 20.0), (-25.4, 19.05))
    """
    rows = given if isinstance(given, list | tuple) else ()
    pairs = [tuple(row) if isinstance(row, list | tuple) else () for row in rows]
    if not pairs or any(len(pair) != 2 for pair in pairs):
        raise ValueError("it is no list of pairs")
    return tuple((length(a, bare), length(b, bare)) for a, b in pairs)


def show_pairs(pairs: Pairs, units: LengthUnit = "mm") -> str:
    """Return pairs of lengths as they are read at the bench.

    >>> show_pairs(((0.0, 20.0), (-25.4, 19.05))), show_pairs(((-25.4, 19.05),), "inch")
    ('(0, 20), (-25.4, 19.05) mm', '(-1, 0.75) in')
    """
    scale, places = float(MM_PER[units]), {"mm": 4, "inch": 5}[units]
    each = (f"({format_number(a / scale, places)}, {format_number(b / scale, places)})" for a, b in pairs)
    return f"{', '.join(each)} {'mm' if units == 'mm' else 'in'}"


def pairs_measure(says: str) -> Measure:
    """Return how a field of pairs of lengths is written: what may be written, for messages and the schema."""
    return Measure(says, length_pairs, show_pairs, pairs=True)


@runtime_checkable
class Cam(Hashable, Protocol):
    """A disc with a waved edge or a waved face.

    `lobes` equal lobes stand round it; the top of one stands at angle zero.
    """

    kind: ClassVar[str]

    @property
    def lobes(self) -> int:
        """Equal lobes in one turn."""

    @property
    def base_radius(self) -> float:
        """Edge cam: radius under the lobes, mm. Face cam: radius of the track that the follower runs on, mm."""

    @property
    def on(self) -> Literal["edge", "face"]:
        """Where the wave is cut."""

    @property
    def corners(self) -> Sequence[float]:
        """Angles in [0, 2 pi / lobes), rad, where slope or curvature jumps."""

    def rise_at(self, psi: Array) -> Array:
        """Return the height above the base, mm, at angles ``psi``: (n,) rad round the cam, counterclockwise."""

    def slope_at(self, psi: Array) -> Array:
        """Return the slope of `rise_at`, mm/rad, at (n,) rad; at a corner, either side's."""


@runtime_checkable
class Follower(Hashable, Protocol):
    """What bears on the cam: a nose, symmetrical or not, moved along a line through the cam's centre."""

    kind: ClassVar[str]

    @property
    def form(self) -> Literal["round", "flat", "shaped"]:
        """The same from every side (a roller, a knife), an endless flat, or neither."""

    @property
    def half_width(self) -> float:
        """How far the nose reaches to either side of the line of action, mm; zero a knife, infinite a flat."""

    @property
    def rest(self) -> float:
        """From the nose's tip to the point whose travel counts (a roller's centre), mm."""

    def nose_at(self, q: Array) -> Array:
        """Return how far that point stands outside the touching point when it touches at ``q``: (n,) mm across."""

    def nose_slope_at(self, q: Array) -> Array:
        """Return the slope of `nose_at`; infinite at a vertical side."""


class ChuckSlide(NamedTuple):
    """Where a slide of a chuck stands as the spindle turns, and the ends of its travel.

    Parameters
    ----------
    name : str
        What the chuck's maker calls it: "slide", "ring".
    at : (n or 1,) float64, mm
        Where it stands at each angle of the spindle.
    low, high : float, mm
        The ends of its travel; infinite where it has none.
    """

    name: str
    at: Array
    low: float
    high: float


@runtime_checkable
class Chuck(Protocol):
    """Where the work stands on the spindle, at each angle of the spindle.

    Its motions are finite at every angle, and continuous: a path that jumps is a problem to the check, and is never proved.

    A chuck may say more, and what it says is used:

    - ``comes_back: int``: whole turns of the spindle after which it stands as it did; 0, never. Where it does not say,
      it is found out by number.
    - ``needs: tuple[str, ...]``: fittings that the lathe must have for it, in the trade's words: "ring". They may hang on
      its settings.
    - ``slides(theta) -> tuple[ChuckSlide, ...]``: where each of its slides stands at (n,) rad. A pass that drives one past
      its end is refused.
    - a field ``screw: Screw | None = None``: its lengths are shown in turns and divisions too, and may be written so.
    - a field ``wheel: Wheel | None = None``: its field ``index`` is shown in holes too, may be written so, and must fall on
      a hole.

    A field ``screw`` or ``wheel`` of another type is whatever its author meant.
    """

    kind: ClassVar[str]

    @property
    def varies(self) -> bool:
        """Whether the chuck moves as the spindle turns; if not, `motions` may return a batch of one."""

    def motions(self, theta: Array) -> Rigid:
        """Return the outgoing frame in the incoming one: (n,) rad in, n rigid motions out."""


@runtime_checkable
class Cutter(Protocol):
    """What leaves a line or a groove; its tip is the point that the slides place."""

    kind: ClassVar[str]

    def width_at(self, depth: float) -> float:
        """Return how wide a line, mm, it leaves at ``depth`` mm below the surface."""


@runtime_checkable
class Piece(Protocol):
    """The work in the chuck."""

    form: ClassVar[str]

    @property
    def outline(self) -> Array:
        """(m, 2) mm: the closed edge of the face, as seen from the cutter."""


def seen_on(piece: Piece, points: Array) -> Array:
    """Return (n, 3) mm, where points on the work are on its sheet, and how deep: as the piece sees them, or a face's X, Y and -Z.

    >>> from lobework.piece import Barrel
    >>> seen_on(Barrel(diameter=20.0, length=30.0), np.array([[9.5, 0.0, -4.0]])).tolist()
    [[0.0, -4.0, 0.5]]
    """
    seen: Array = piece.seen(points) if hasattr(piece, "seen") else points * np.array([1.0, 1.0, -1.0])
    return seen


def smooth_slope(rise_at: Callable[[Array], Array], psi: Array, step: float) -> Array:
    """Return a slope from six neighbours, its error of the sixth order in ``step``: for cams that state none."""
    weights = ((1, 45 / 60), (2, -9 / 60), (3, 1 / 60))
    slope: Array = np.zeros_like(psi)
    for k, weight in weights:
        slope += weight * (rise_at(psi + k * step) - rise_at(psi - k * step))
    return slope / step


@cache
def hints_of(part: type) -> dict[str, Any]:
    """Return the type of each field of a part, with what is marked beside it."""
    return get_type_hints(part, include_extras=True)


def measures(part: type) -> dict[str, Measure | None]:
    """Return each field of a part with how it is written, or None where its plain type says all.

    >>> from lobework.follower import Roller
    >>> measures(Roller)["radius"].read("1/8 in")
    3.175
    """
    hints = hints_of(part)
    found: dict[str, Measure | None] = {}
    for each in fields(part):
        marks = getattr(hints[each.name], "__metadata__", ())
        found[each.name] = next((mark for mark in marks if isinstance(mark, Measure)), None)
    return found


def held_in(part: Any, field: str) -> dict[str, Any]:
    """Return the parts that a field holds in a list, by what each is called: the field's name for one of them, and its number.

    >>> from types import SimpleNamespace
    >>> from lobework.follower import Roller
    >>> held_in(SimpleNamespace(rollers=(Roller(3.0), Roller(4.0)), radius=3.0), "rollers")
    {'roller 1': Roller(radius=3.0), 'roller 2': Roller(radius=4.0)}
    """
    held = getattr(part, field)
    parts = held if isinstance(held, tuple) and all(is_dataclass(each) for each in held) else ()
    one = field.replace("_", " ").removesuffix("s")
    return {f"{one} {number}": each for number, each in enumerate(parts, 1)}


@cache
def _numbers(part: type) -> tuple[tuple[str, str], ...]:
    """Return each field that holds a plain number, with the unit that Python keeps it in."""
    hints = hints_of(part)
    units = {Length: ", in mm", Angle: ", in degrees", float: "", int: ""}
    return tuple((each.name, units[hints[each.name]]) for each in fields(part) if hints[each.name] in units)


def require_numbers(part: Any) -> None:
    """Keep the numbers of numpy in a part's fields as Python numbers; refuse words, lists and the like in a field of a number.

    >>> from lobework.follower import Roller
    >>> Roller("1/8 in")
    Traceback (most recent call last):
    lobework.errors.SettingError: radius='1/8 in': must be a plain number, in mm; in Python write lobework.units.length('1/8 in')
    """
    for each in fields(part):
        given = getattr(part, each.name)
        if (plain := plain_number(given)) is not given:
            object.__setattr__(part, each.name, plain)
    for name, unit in _numbers(type(part)):  # type: ignore[arg-type]
        given = getattr(part, name)
        if not is_real(given):
            reads = {", in mm": "length", ", in degrees": "angle"}.get(unit) if isinstance(given, str) else None
            remedy = f"in Python write lobework.units.{reads}({given!r})" if reads else ""
            require(False, name, repr(given), f"a plain number{unit}", remedy)


def not_finite(kind: str, name: str, part: Any, says: str) -> PartError:
    """Return the error for a part that gives a number that is not finite; it names the part, its class and its settings.

    Parameters
    ----------
    kind, name : str
        What it is, and what it is called.
    part : part
        At fault.
    says : str
        What is not finite, and where.

    Examples
    --------
    >>> from lobework.follower import Roller
    >>> print(not_finite("follower", "roller", Roller(3.0), "nose_at is not finite at 1 mm across"))
    follower 'roller' (lobework.follower.Roller): nose_at is not finite at 1 mm across, with radius 3 mm; it must be finite \
    everywhere: change its settings, or mend it
    """
    return _part_error(kind, name, part, says, "it must be finite everywhere")


def not_continuous(kind: str, name: str, part: Any, says: str) -> PartError:
    """Return the error for a part whose shape jumps where that cannot be traced; it names what `not_finite` does."""
    return _part_error(kind, name, part, says, "it must be continuous")


def _part_error(kind: str, name: str, part: Any, says: str, must_be: str) -> PartError:
    marks = measures(type(part))
    shown = []
    for each in fields(part):
        value = getattr(part, each.name)
        mark = marks.get(each.name)
        said = " ".join((mark.show(value) if mark is not None and value is not None else str(value)).split())
        shown.append(
            f"{each.name.removesuffix('_deg')} {said if len(said) <= _LONGEST_SHOWN else said[: _LONGEST_SHOWN - 1] + '…'}"
        )
    settings = f", with {', '.join(shown)}" if shown else ""
    where = f"{type(part).__module__}.{type(part).__qualname__}"
    error = PartError(f"{kind} {name!r} ({where}): {says}{settings}; {must_be}: change its settings, or mend it")
    error.part = type(part)
    return error


def as_pairs(name: str, given: Any) -> Pairs:
    """Return a setting that holds pairs of plain numbers, in mm; refuse anything else.

    >>> as_pairs("points", [[0, 0], [0.5, 2]])
    ((0.0, 0.0), (0.5, 2.0))
    >>> as_pairs("points", ["0, 0"])
    Traceback (most recent call last):
    lobework.errors.SettingError: points=['0, 0']: must be pairs of plain numbers, in mm
    """
    try:
        rows = [tuple(map(plain_number, row)) for row in given]
    except TypeError:
        rows = [()]
    plain = all(len(row) == 2 and all(map(is_real, row)) for row in rows)
    require(plain, name, " ".join(repr(given).split())[:80], "pairs of plain numbers, in mm")
    return tuple((float(a), float(b)) for a, b in rows)


def require_part(given: object, offers: str, name: str, must_be: str) -> None:
    """Refuse what is no part, or the class of one: whatever ``offers`` nothing by that name.

    >>> require_part("knife", "nose_at", "follower", "a follower such as Knife() or Roller(3)")
    Traceback (most recent call last):
    lobework.errors.SettingError: follower='knife': must be a follower such as Knife() or Roller(3)
    """
    require(hasattr(given, offers) and not isinstance(given, type), name, repr(given), must_be)


def require_rests(cam: Cam, follower: Follower) -> None:
    """Refuse a follower that spans the whole track of a face cam: it rests on the tops of the waves, and nothing moves.

    Raises
    ------
    SettingError
        Where the follower is wider than the radius of the track.
    """
    if cam.on == "face" and follower.half_width > cam.base_radius:
        raise SettingError(
            f"follower: a {follower.kind} as wide as this cannot rest in the waves of a face cam; "
            f"use a knife, or a roller smaller than the track's radius, {cam.base_radius:g} mm"
        )
