"""A chuck on the spindle: how its settings are written, what it needs of the lathe, and whether what it says is sound."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from typing import Any, Final, NamedTuple

import numpy as np

from lobework.errors import PluginError, SettingError, nearest
from lobework.gearing.dividing_wheel import Wheel, wheel_phase
from lobework.gearing.screw import Screw, wound_length
from lobework.geometry.continuity import Continuity, Discontinuity, all_finite, continuity_of, extremes_of, turn_edges
from lobework.geometry.rigid import Array, Rigid
from lobework.parts.abilities import FittedChuck, PeriodicChuck, SlidingChuck
from lobework.parts.protocols import Chuck, ChuckSlide, not_finite
from lobework.quantities.fields import Measure, hints_of, measures
from lobework.quantities.tolerances import JOIN_MM, RIGID
from lobework.quantities.units import Phase, format_length, format_number, format_phase, length, plain_number

__all__ = ["Mounted", "may_have", "measures_of", "places_of"]

_TRIED_RAD: Final = np.array([0.0, 0.7, 1.9, 3.1, 4.4, 5.6, 9.0])
"""Where a chuck that says it stands still is looked at: seven places, so that no other shape passes for theirs."""
_ARM_MM: Final = 100.0
"""How far from the chuck's middle a turn of it is looked at."""
_LONGEST_PERIOD: Final = 64
_FINER: Final = 8
"""How many times as closely a chuck is looked at for jumps, in one turn."""


class Mounted(NamedTuple):
    """A chuck on the spindle, with the name that steps and settings call it by."""

    name: str
    chuck: Chuck

    @property
    def needs(self) -> tuple[str, ...]:
        """Fittings that the lathe must have for it.

        Raises
        ------
        PluginError
            If what it says is no tuple of names.
        """
        needs = self.chuck.needs if isinstance(self.chuck, FittedChuck) else ()
        if not isinstance(needs, tuple) or not all(isinstance(need, str) for need in needs):
            raise _broken(self.chuck, f"needs is {needs!r}; it must be a tuple of fittings, such as ('ring',)")
        return needs

    @property
    def is_dynamic(self) -> bool:
        """Whether it moves the work as the spindle turns.

        Raises
        ------
        PluginError
            If what it says is neither True nor False.
        """
        is_dynamic = self.chuck.is_dynamic
        if not isinstance(is_dynamic, bool | np.bool_):
            raise _broken(self.chuck, f"is_dynamic is {is_dynamic!r}; it must be True or False")
        return bool(is_dynamic)

    @property
    def period_turns(self) -> int | None:
        """Spindle turns after which it stands as it did; 0 where it never does, None where it does not say.

        Raises
        ------
        PluginError
            If what it says is no whole number, zero or more.
        """
        if not self.is_dynamic:
            return 1
        turns = plain_number(self.chuck.period_turns) if isinstance(self.chuck, PeriodicChuck) else None
        if turns is None:
            return None
        if not isinstance(turns, int) or turns < 0:
            raise _broken(self.chuck, f"period_turns is {turns!r}; it must be a whole number of turns, or 0 for never")
        return turns

    def require_fitted(self, fittings: tuple[str, ...] | None, lathe: str) -> None:
        """Refuse a chuck that needs a fitting which the lathe says it has not."""
        if fittings is None:
            return
        if missing := [need for need in self.needs if need not in fittings]:
            meant = next((hint for each in fittings if (hint := nearest(each, missing))), "")
            raise SettingError(
                f"chuck {self.name!r} needs {_listed(missing)}, and lathe {lathe!r} has {_listed(fittings) or 'no fittings'}"
                f"{meant}; use a lathe that has it, or add it to the lathe's fittings where yours has"
            )

    def require_no_lobes(self) -> None:
        """Refuse an angle that is written in lobes, which only cams have."""
        for name in measures(type(self.chuck)):
            angle = getattr(self.chuck, name, None)
            if isinstance(angle, Phase) and angle.lobes:
                raise SettingError(f"{format_phase(angle)!r} must be in degrees or turns; only cams have lobes", name)

    def require_on_a_hole(self) -> None:
        """Refuse an index that falls between the holes of the chuck's wheel."""
        wheel, index = getattr(self.chuck, "wheel", None), getattr(self.chuck, "index", None)
        if isinstance(wheel, Wheel) and isinstance(index, Phase):
            try:
                wheel.said(index.in_turns())
            except SettingError as error:
                raise error.replaced(where="index") from None

    def require_within_travel(self, turns: float, begin: float = 0.0) -> None:
        """Refuse a pass of so many turns, from ``begin`` turns on, that drives one of the chuck's slides past its travel."""
        if not isinstance(self.chuck, SlidingChuck):
            return
        slides = self._slides(_TRIED_RAD)
        if all(math.isinf(slide.low) and math.isinf(slide.high) for slide in slides):
            return

        def stands(u: Array) -> Array:
            places = np.stack([np.broadcast_to(slide.at, u.shape) for slide in self._slides(2 * math.pi * u)], axis=-1)
            return np.concatenate([places, -places], axis=-1)

        most, when = extremes_of(stands, self._edges(turns, begin))
        for number, slide in enumerate(slides):
            for side, end, column in ((1.0, slide.high, number), (-1.0, slide.low, len(slides) + number)):
                at = side * float(most[column])
                if not side * (at - end) <= JOIN_MM:
                    raise self._past_its_end(slide, at, end, float(when[column]) - begin)

    def _edges(self, turns: float, begin: float) -> Array:
        """Return the turns of a pass between which the chuck is looked at; one where it stands still."""
        return turn_edges(begin, turns if self.is_dynamic else 0.0, self._period)

    @property
    def _period(self) -> int:
        """Turns after which it says that it stands as it did; 0 where it does not say, or they are many."""
        period = self.period_turns or 0
        return period if period <= _LONGEST_PERIOD else 0

    def _slides(self, theta: Array) -> tuple[ChuckSlide, ...]:
        slides = self.chuck.slides(theta)  # type: ignore[attr-defined]
        for slide in slides if isinstance(slides, tuple) else [slides]:
            if not isinstance(slide, ChuckSlide) or slide is slides:
                given = type(slide).__name__
                raise _broken(self.chuck, f"slides gives {given}; it must give a tuple of lobework.plugins.ChuckSlide")
            if np.shape(slide.at) not in ((theta.size,), (1,)) or not np.isfinite(slide.at).all():
                wrong = f"slides gives a place of {slide.name!r} of shape {np.shape(slide.at)} for {theta.size} angles"
                raise _broken(self.chuck, f"{wrong}; it must be ({theta.size},) or (1,), and finite")
        return slides  # type: ignore[no-any-return]

    def _past_its_end(self, slide: ChuckSlide, at: float, end: float, turns: float) -> SettingError:
        moves = self.is_dynamic and slide.at.size > 1
        when = f"after {format_number(turns, 3)} turns it stands" if moves else "it is set"
        remedy = "give it less way, or fewer turns" if moves else "set it nearer its middle"
        screw = getattr(self.chuck, "screw", None)
        wound = f" ({screw.said(at)})" if isinstance(screw, Screw) else ""
        return SettingError(
            f"chuck {self.name!r}: its {slide.name} would go past its end: {when} at {format_length(at, places=3)}{wound}, "
            f"and its travel ends at {format_length(end, places=3)}; {remedy}"
        )

    def require_sound(self, turns: float, begin: float = 0.0) -> None:
        """Refuse a chuck whose motions are no rigid motions, are not finite, or that moves or comes back otherwise than it says.

        Raises
        ------
        PluginError
            Naming the chuck, its class and module.
        PartError
            If a motion is not finite; naming the angle of the spindle and the chuck's settings too.
        """
        given, theta = self._tried(turns, begin)
        if message := _unsound(given, theta):
            raise _broken(self.chuck, f"motions gives {message}")
        apart = max(float(np.ptp(given.shift, axis=0).max()), float(np.ptp(given.rotation, axis=0).max()))
        if not self.is_dynamic and not apart <= JOIN_MM:
            raise _broken(self.chuck, "is_dynamic is False, but it moves as the spindle turns; say True, or hold it still")
        self._looked_at(turns, begin, 1)

    def _tried(self, turns: float, begin: float) -> tuple[Rigid, Array]:
        """Return the chuck's motions at a few angles, and these: finite, where they are motions at all."""
        varied = 2 * math.pi * (begin + np.linspace(0.0, turns, _TRIED_RAD.size))
        theta = varied if self.is_dynamic else _TRIED_RAD
        given = self.chuck.motions(theta.copy())
        if isinstance(given, Rigid) and _is_array(given.rotation) and _is_array(given.shift):
            self._require_finite(given, theta)
        return given, theta

    def jumps(self, turns: float, begin: float = 0.0) -> tuple[Discontinuity, ...]:
        """Return where the chuck jumps, turns of the spindle, in a pass of so many turns from ``begin`` turns on.

        It is looked at closer for that than by `require_sound`.

        Raises
        ------
        PartError
            If a motion is not finite.
        """
        closely = min(turns, self._period or turns)
        return self._looked_at(turns, begin, max(1, int(_FINER / max(closely, 1.0)))).steps

    def _looked_at(self, turns: float, begin: float, finer: int) -> Continuity:
        """Return where the chuck's motion jumps in a pass; refuse one that is not finite."""
        asked = turns if self.is_dynamic else 0.0, begin, self._period, finer
        try:
            hash(self.chuck)
        except TypeError:
            found = _continuity(self.chuck, *asked)
        else:
            found = _continuity_again(self.chuck, *asked)  # type: ignore[arg-type]
        if found.lost is not None:
            at = f"{format_number(360 * found.lost, 3)} degrees of the spindle"
            raise not_finite("chuck", self.name, self.chuck, f"motions gives numbers that are not finite at {at}")
        return found

    def standing(self, theta: Array) -> Rigid:
        """Return where the chuck stands on what carries it at (n,) rad of the spindle.

        Raises
        ------
        PartError
            If a motion is not finite.
        """
        given = self.chuck.motions(theta)
        self._require_finite(given, theta)
        return given

    def _require_finite(self, given: Rigid, theta: Array) -> None:
        for name in ("rotation", "shift"):
            values = getattr(given, name)
            if not all_finite(values):
                where = _first(~np.isfinite(values), theta)
                raise not_finite("chuck", self.name, self.chuck, f"motions gives a {name} that is not finite{where}")

    def carries(self, turns: float, begin: float = 0.0) -> float:
        """Return how far, mm, it carries the work's origin from its own in a pass of so many turns, from ``begin`` turns on."""

        def out(u: Array) -> Array:
            shift = np.broadcast_to(self.standing(2 * math.pi * u).shift, (u.size, 3))
            carried: Array = np.linalg.norm(shift, axis=1, keepdims=True)
            return carried

        return float(extremes_of(out, self._edges(turns, begin))[0][0])


def places_of(chuck: Chuck) -> Callable[[Array], Array]:
    """Return where a chuck carries the work at (n,) turns of the spindle: (n, 12) mm, its axes, 100 mm long, and its shift."""

    def places(u: Array) -> Array:
        given = chuck.motions(2 * math.pi * u)
        turned = np.broadcast_to(_ARM_MM * given.rotation.reshape(-1, 9), (u.size, 9))
        return np.concatenate([turned, np.broadcast_to(given.shift, (u.size, 3))], axis=1)

    return places


def _continuity(chuck: Chuck, turns: float, begin: float, period: int, finer: int) -> Continuity:
    return continuity_of(places_of(chuck), turn_edges(begin, turns, period, finer=finer))


_continuity_again = lru_cache(maxsize=1024)(_continuity)


def _broken(chuck: Chuck, message: str) -> PluginError:
    part = type(chuck)
    error = PluginError(f"chuck {chuck.kind!r} ({part.__module__}.{part.__qualname__}): {message}")
    error.part = part
    error.__cause__ = ValueError(message)
    return error


def may_have(part: type, fitting: type[Screw | Wheel]) -> bool:
    """Return whether a part's field ``screw`` is for a `Screw`, or ``wheel`` for a `Wheel`: of another type it is something else.

    >>> from lobework.parts.chuck import PlainChuck
    >>> may_have(PlainChuck, Screw), may_have(PlainChuck, Wheel)
    (False, True)
    """
    return hints_of(part).get(fitting.__name__.lower()) in (fitting, fitting | None)


def measures_of(part: Any) -> dict[str, Measure | None]:
    """Return each field of a part with how it is written: on its screw and its wheel, where it has them.

    Examples
    --------
    >>> from lobework.parts.chuck import EccentricChuck
    >>> from lobework.gearing.screw import Screw
    >>> measures_of(EccentricChuck(shift=5.0, screw=Screw(lead=2.54)))["shift"].read("2 turns")
    5.08
    """
    found = dict(measures(type(part)))
    if may_have(type(part), Screw):
        for name, mark in found.items():
            if mark is not None and mark.read is length:
                found[name] = part.screw.measure(mark) if part.screw is not None else replace(mark, read=wound_length)
    if may_have(type(part), Wheel) and (mark := found.get("index")) is not None:
        found["index"] = part.wheel.measure(mark) if part.wheel is not None else replace(mark, read=wheel_phase)
    return found


def _is_array(given: Any) -> bool:
    return isinstance(given, np.ndarray) and given.dtype == np.float64


def _unsound(given: Any, theta: Array) -> str:
    """Return in which way what ``motions`` gave for ``theta`` is no batch of rigid motions; empty where it is one."""
    if not isinstance(given, Rigid):
        return f"{type(given).__name__}; it must give a lobework.Rigid"
    for name, shape in (("rotation", (3, 3)), ("shift", (3,))):
        values, wanted = getattr(given, name), " or ".join(str((count, *shape)) for count in (theta.size, 1))
        if not isinstance(values, np.ndarray) or values.dtype != np.float64:
            return f"a {name} that is no array of float64; make it with lobework.Rigid.move and .turn"
        if values.shape not in ((theta.size, *shape), (1, *shape)):
            return f"a {name} of shape {values.shape} for {theta.size} angles; it must be {wanted}"
    turned = given.rotation
    stretch = np.abs(turned.transpose(0, 2, 1) @ turned - np.eye(3)).max(axis=(1, 2))
    if (stretch > RIGID).any():
        return f"a motion that is not rigid{_first(stretch > RIGID, theta)}: it stretches or shears the work"
    mirrored = np.linalg.det(turned) < 0
    return f"a motion that is not rigid{_first(mirrored, theta)}: it mirrors the work" if mirrored.any() else ""


def _first(wrong: Any, theta: Array) -> str:
    """Return where in a batch it first goes wrong, in words."""
    if wrong.shape[0] != theta.size:
        return ""
    first = int(wrong.reshape(theta.size, -1).any(axis=1).argmax())
    return f" at {format_number(math.degrees(theta[first]), 3)} degrees of the spindle"


def _listed(words: tuple[str, ...] | list[str]) -> str:
    return ", ".join(repr(word) for word in words)
