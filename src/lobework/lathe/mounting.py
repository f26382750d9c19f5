"""A chuck on the spindle: the written form of its settings, the fittings that it needs, and checks of its motions."""

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

__all__ = ["Mounted", "chuck_motion_of", "may_have", "measures_of"]

_TRIED_RAD: Final = np.array([0.0, 0.7, 1.9, 3.1, 4.4, 5.6, 9.0])
"""Angles, rad, at which a chuck that is declared as not dynamic is tested. Their number is seven, because no other dimension of
the arrays has this size."""
_ARM_MM: Final = 100.0
"""Distance from the chuck's centre at which its rotation is converted to a displacement."""
_LONGEST_PERIOD: Final = 64
_FINER: Final = 8
"""Factor by which the search for jumps samples a pass of one turn more finely than the other checks."""


class Mounted(NamedTuple):
    """A chuck on the spindle, with its name in steps and settings."""

    name: str
    chuck: Chuck

    @property
    def needs(self) -> tuple[str, ...]:
        """Fittings that the lathe must have for the chuck.

        Raises
        ------
        PluginError
            If the chuck's ``needs`` is not a tuple of names.
        """
        needs = self.chuck.needs if isinstance(self.chuck, FittedChuck) else ()
        if not isinstance(needs, tuple) or not all(isinstance(need, str) for need in needs):
            raise _plugin_error(self.chuck, f"needs is {needs!r}; it must be a tuple of fittings, such as ('ring',)")
        return needs

    @property
    def is_dynamic(self) -> bool:
        """Whether the chuck moves the work as the spindle turns.

        Raises
        ------
        PluginError
            If the chuck's ``is_dynamic`` is neither True nor False.
        """
        is_dynamic = self.chuck.is_dynamic
        if not isinstance(is_dynamic, bool | np.bool_):
            raise _plugin_error(self.chuck, f"is_dynamic is {is_dynamic!r}; it must be True or False")
        return bool(is_dynamic)

    @property
    def period_turns(self) -> int | None:
        """Period of the chuck, in spindle turns; 0 if it is not periodic, None if it is unspecified.

        Raises
        ------
        PluginError
            If the chuck's ``period_turns`` is not a whole number, zero or more.
        """
        if not self.is_dynamic:
            return 1
        turns = plain_number(self.chuck.period_turns) if isinstance(self.chuck, PeriodicChuck) else None
        if turns is None:
            return None
        if not isinstance(turns, int) or turns < 0:
            raise _plugin_error(
                self.chuck, f"period_turns is {turns!r}; it must be a whole number of turns, or 0 if the motion is not periodic"
            )
        return turns

    def require_fitted(self, fittings: tuple[str, ...] | None, lathe: str) -> None:
        """Refuse a chuck that needs a fitting which the lathe does not have; if ``fittings`` is None, check nothing."""
        if fittings is None:
            return
        if missing := [need for need in self.needs if need not in fittings]:
            meant = next((hint for each in fittings if (hint := nearest(each, missing))), "")
            has = _quoted(fittings) or "no fittings"
            problem = f"chuck {self.name!r} needs {_quoted(missing)}, and lathe {lathe!r} has {has}{meant}"
            remedy = "use a lathe with this fitting; if your lathe has it, add it to the fittings of the lathe"
            raise SettingError(problem, remedy=remedy)

    def require_no_lobes(self) -> None:
        """Refuse an angle that is written in lobes, which only cams have."""
        for name in measures(type(self.chuck)):
            angle = getattr(self.chuck, name, None)
            if isinstance(angle, Phase) and angle.lobes:
                given, must_be = repr(format_phase(angle)), "in degrees or turns"
                raise SettingError(where=name, given=given, must_be=must_be, remedy="only cams have lobes")

    def require_on_a_hole(self) -> None:
        """Refuse an index that is between the holes of the chuck's wheel."""
        wheel, index = getattr(self.chuck, "wheel", None), getattr(self.chuck, "index", None)
        if isinstance(wheel, Wheel) and isinstance(index, Phase):
            try:
                wheel.setting_text(index.in_turns())
            except SettingError as error:
                raise error.replaced(where="index") from None

    def require_within_travel(self, turns: float, begin: float = 0.0) -> None:
        """Refuse a pass that moves a slide of the chuck beyond the end of its travel.

        The pass takes ``turns`` spindle turns and begins at the spindle position ``begin``, turns.
        """
        if not isinstance(self.chuck, SlidingChuck) or not callable(self.chuck.slides):
            return
        slides = self._slides(_TRIED_RAD)
        if all(math.isinf(slide.low) and math.isinf(slide.high) for slide in slides):
            return

        def positions(u: Array) -> Array:
            places = np.stack([np.broadcast_to(slide.at, u.shape) for slide in self._slides(2 * math.pi * u)], axis=-1)
            return np.concatenate([places, -places], axis=-1)

        most, when = extremes_of(positions, self._edges(turns, begin))
        for number, slide in enumerate(slides):
            for side, end, column in ((1.0, slide.high, number), (-1.0, slide.low, len(slides) + number)):
                at = side * float(most[column])
                if not side * (at - end) <= JOIN_MM:
                    raise self._overtravel_error(slide, at, end, float(when[column]) - begin)

    def _edges(self, turns: float, begin: float) -> Array:
        """Return the edges of the cells, turns, in which the chuck is sampled.

        If the chuck does not move the work, there is only one edge.
        """
        return turn_edges(begin, turns if self.is_dynamic else 0.0, self._period)

    @property
    def _period(self) -> int:
        """Declared period of the chuck, turns; 0 if no period is declared, or if the period is too long to save any samples."""
        period = self.period_turns or 0
        return period if period <= _LONGEST_PERIOD else 0

    def _slides(self, theta: Array) -> tuple[ChuckSlide, ...]:
        slides = self.chuck.slides(theta)  # type: ignore[attr-defined]
        for slide in slides if isinstance(slides, tuple) else [slides]:
            if not isinstance(slide, ChuckSlide) or slide is slides:
                given = type(slide).__name__
                raise _plugin_error(self.chuck, f"slides returns {given}; it must return a tuple of lobework.plugins.ChuckSlide")
            if np.shape(slide.at) not in ((theta.size,), (1,)) or not np.isfinite(slide.at).all():
                wrong = f"slides returns a position of {slide.name!r} of shape {np.shape(slide.at)} for {theta.size} angles"
                raise _plugin_error(self.chuck, f"{wrong}; the shape must be ({theta.size},) or (1,), and the numbers finite")
        return slides  # type: ignore[no-any-return]

    def _overtravel_error(self, slide: ChuckSlide, at: float, end: float, turns: float) -> SettingError:
        moves = self.is_dynamic and slide.at.size > 1
        when = f"after {format_number(turns, 3)} turns it would be at" if moves else "it is set to"
        remedy = (
            "reduce the movement of the slide, or the number of turns"
            if moves
            else "set the slide nearer to the middle of its travel"
        )
        screw = getattr(self.chuck, "screw", None)
        wound = f" ({screw.setting_text(at)})" if isinstance(screw, Screw) else ""
        reach = f"{when} {format_length(at, places=3)}{wound}, and the travel ends at {format_length(end, places=3)}"
        return SettingError(f"chuck {self.name!r}: its {slide.name} would move beyond its travel: {reach}", remedy=remedy)

    def require_sound(self, turns: float, begin: float = 0.0) -> None:
        """Refuse a chuck whose motions are not rigid, not finite, or not constant although the chuck is declared as not dynamic.

        Raises
        ------
        PluginError
            If a motion is not rigid, or contradicts ``is_dynamic``; the message contains the chuck's name, class and module.
        PartError
            If a motion is not finite; the message also contains the angle of the spindle and the chuck's settings.
        """
        given, theta = self._sampled_motions(turns, begin)
        if message := _defect(given, theta):
            raise _plugin_error(self.chuck, f"motions returns {message}")
        variation = max(float(np.ptp(given.shift, axis=0).max()), float(np.ptp(given.rotation, axis=0).max()))
        if not self.is_dynamic and not variation <= JOIN_MM:
            remedy = "set is_dynamic to True, or return one motion for all angles"
            raise _plugin_error(self.chuck, f"is_dynamic is False, but the chuck moves the work as the spindle turns; {remedy}")
        self._continuity(turns, begin, 1)

    def _sampled_motions(self, turns: float, begin: float) -> tuple[Rigid, Array]:
        """Return the chuck's motions at a few spindle angles, and these angles, rad; refuse motions that are not finite."""
        varied = 2 * math.pi * (begin + np.linspace(0.0, turns, _TRIED_RAD.size))
        theta = varied if self.is_dynamic else _TRIED_RAD
        given = self.chuck.motions(theta.copy())
        if isinstance(given, Rigid) and _is_array(given.rotation) and _is_array(given.shift):
            self._require_finite(given, theta)
        return given, theta

    def jumps(self, turns: float, begin: float = 0.0) -> tuple[Discontinuity, ...]:
        """Return the jumps of the chuck's motion in a pass; their positions are in turns of the spindle.

        The pass takes ``turns`` spindle turns and begins at the spindle position ``begin``, turns.

        The motion is sampled more finely than in `require_sound`.

        Raises
        ------
        PartError
            If a motion is not finite.
        """
        closely = min(turns, self._period or turns)
        return self._continuity(turns, begin, max(1, int(_FINER / max(closely, 1.0)))).steps

    def _continuity(self, turns: float, begin: float, finer: int) -> Continuity:
        """Return the jumps of the chuck's motion in a pass; refuse a motion that is not finite."""
        sampling = turns if self.is_dynamic else 0.0, begin, self._period, finer
        try:
            hash(self.chuck)
        except TypeError:
            found = _continuity_of(self.chuck, *sampling)
        else:
            found = _continuity_cached(self.chuck, *sampling)  # type: ignore[arg-type]
        if found.lost is not None:
            at = f"{format_number(360 * found.lost, 3)} degrees of the spindle"
            raise not_finite("chuck", self.name, self.chuck, f"motions returns numbers that are not finite at {at}")
        return found

    def finite_motions(self, theta: Array) -> Rigid:
        """Return the chuck's motions at (n,) spindle angles, rad.

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
                where = _first_angle(~np.isfinite(values), theta)
                raise not_finite("chuck", self.name, self.chuck, f"motions returns a {name} that is not finite{where}")

    def largest_displacement(self, turns: float, begin: float = 0.0) -> float:
        """Return the largest displacement of the work's origin by the chuck in a pass, mm.

        The pass takes ``turns`` spindle turns and begins at the spindle position ``begin``, turns.
        """

        def out(u: Array) -> Array:
            shift = np.broadcast_to(self.finite_motions(2 * math.pi * u).shift, (u.size, 3))
            carried: Array = np.linalg.norm(shift, axis=1, keepdims=True)
            return carried

        return float(extremes_of(out, self._edges(turns, begin))[0][0])


def chuck_motion_of(chuck: Chuck) -> Callable[[Array], Array]:
    """Return a function that computes the motion of a chuck at (n,) spindle positions, turns.

    The function returns (n, 12) mm: the rotation matrix times 100 mm, and the shift.
    """

    def places(u: Array) -> Array:
        given = chuck.motions(2 * math.pi * u)
        turned = np.broadcast_to(_ARM_MM * given.rotation.reshape(-1, 9), (u.size, 9))
        return np.concatenate([turned, np.broadcast_to(given.shift, (u.size, 3))], axis=1)

    return places


def _continuity_of(chuck: Chuck, turns: float, begin: float, period: int, finer: int) -> Continuity:
    return continuity_of(chuck_motion_of(chuck), turn_edges(begin, turns, period, finer=finer))


_continuity_cached = lru_cache(maxsize=1024)(_continuity_of)


def _plugin_error(chuck: Chuck, message: str) -> PluginError:
    part = type(chuck)
    error = PluginError(f"chuck {chuck.kind!r} ({part.__module__}.{part.__qualname__}): {message}")
    error.part = part
    error.__cause__ = ValueError(message)
    return error


def may_have(part: type, fitting: type[Screw | Wheel]) -> bool:
    """Return whether a class of parts has the field for a fitting: ``screw`` for a `Screw`, ``wheel`` for a `Wheel`.

    >>> from lobework.parts.chuck import PlainChuck
    >>> may_have(PlainChuck, Screw), may_have(PlainChuck, Wheel)
    (False, True)
    """
    return hints_of(part).get(fitting.__name__.lower()) in (fitting, fitting | None)


def measures_of(part: Any) -> dict[str, Measure | None]:
    """Return the measure of each field of a part.

    If the part has a screw, its lengths may also be written in turns of the screw. If the part has a wheel, its index may also be
    written in holes of the wheel.

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


def _defect(given: Any, theta: Array) -> str:
    """Return a text that describes the defect in what a chuck's ``motions`` returned for the angles ``theta``.

    The text is empty if there is no defect: ``motions`` returned a batch of rigid motions.
    """
    if not isinstance(given, Rigid):
        return f"{type(given).__name__}; it must return a lobework.Rigid"
    for name, shape in (("rotation", (3, 3)), ("shift", (3,))):
        values, wanted = getattr(given, name), " or ".join(str((count, *shape)) for count in (theta.size, 1))
        if not isinstance(values, np.ndarray) or values.dtype != np.float64:
            return f"a {name} that is not an array of float64; make it with lobework.Rigid.move and .turn"
        if values.shape not in ((theta.size, *shape), (1, *shape)):
            return f"a {name} of shape {values.shape} for {theta.size} angles; the shape must be {wanted}"
    turned = given.rotation
    stretch = np.abs(turned.transpose(0, 2, 1) @ turned - np.eye(3)).max(axis=(1, 2))
    if (stretch > RIGID).any():
        return f"a motion that is not rigid{_first_angle(stretch > RIGID, theta)}: it stretches or shears the work"
    mirrored = np.linalg.det(turned) < 0
    return f"a motion that is not rigid{_first_angle(mirrored, theta)}: it mirrors the work" if mirrored.any() else ""


def _first_angle(wrong: Any, theta: Array) -> str:
    """Return the angle of the first wrong motion of a batch, as text."""
    if wrong.shape[0] != theta.size:
        return ""
    first = int(wrong.reshape(theta.size, -1).any(axis=1).argmax())
    return f" at {format_number(math.degrees(theta[first]), 3)} degrees of the spindle"


def _quoted(words: tuple[str, ...] | list[str]) -> str:
    return ", ".join(repr(word) for word in words)
