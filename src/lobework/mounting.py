"""A chuck on the spindle: how its settings are written, what it needs of the lathe, and whether what it says is sound."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache
from typing import Any, Final, NamedTuple

import numpy as np

from lobework.errors import PluginError, SettingError, nearest
from lobework.kinds import Chuck, ChuckSlide, Measure, hints_of, measures
from lobework.rigid import Array, Rigid
from lobework.screw import Screw, wound_length
from lobework.tolerances import JOIN_MM, RIGID
from lobework.units import Phase, format_length, format_number, format_phase, length, plain_number
from lobework.wheel import Wheel, wheel_phase

__all__ = ["Mounted", "looked_at", "may_have", "measures_of"]

_TRIED_RAD: Final = np.array([0.0, 0.7, 1.9, 3.1, 4.4, 5.6, 9.0])
"""Where a chuck that says it stands still is looked at: seven places, so that no other shape passes for theirs."""
_SEEN_A_TURN: Final = 256
_MOST_SEEN: Final = 65_536
_SEEN_CLOSER: Final = 65
_LOOKS_CLOSER: Final = 3


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
            Where what it says is no tuple of names.
        """
        needs = getattr(self.chuck, "needs", ())
        if not isinstance(needs, tuple) or not all(isinstance(need, str) for need in needs):
            raise _broken(self.chuck, f"needs is {needs!r}; it must be a tuple of fittings, such as ('ring',)")
        return needs

    @property
    def comes_back(self) -> int | None:
        """Spindle turns after which it stands as it did; 0 where it never does, None where it does not say.

        Raises
        ------
        PluginError
            Where what it says is no whole number, zero or more.
        """
        if not self.chuck.varies:
            return 1
        turns = plain_number(getattr(self.chuck, "comes_back", None))
        if turns is None:
            return None
        if not isinstance(turns, int) or turns < 0:
            raise _broken(self.chuck, f"comes_back is {turns!r}; it must be a whole number of turns, or 0 for never")
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
                raise SettingError(error.says, "index") from None

    def require_within_travel(self, turns: float) -> None:
        """Refuse a pass of so many turns that drives one of the chuck's slides past an end of its travel."""
        if not callable(getattr(self.chuck, "slides", None)):
            return
        if all(math.isinf(slide.low) and math.isinf(slide.high) for slide in self._slides(np.zeros(1))):
            return
        u, slides = self._seen(turns)
        for number, slide in enumerate(slides):
            for side, end in ((1.0, slide.high), (-1.0, slide.low)):
                worst = int((side * slide.at).argmax())
                at, when = float(slide.at[worst]), float(u[worst])
                if -np.ptp(slide.at) / 16 < side * (at - end) <= JOIN_MM:
                    at, when = self._furthest(number, side, float(u[max(worst - 1, 0)]), float(u[min(worst + 1, u.size - 1)]))
                if side * (at - end) > JOIN_MM:
                    raise self._past_its_end(slide, at, end, when)

    def _seen(self, turns: float) -> tuple[Array, tuple[ChuckSlide, ...]]:
        """Return the turns at which the slides are looked at, and where they stand: the more often, the quicker one goes."""
        u, a_turn = np.zeros(1), _SEEN_A_TURN
        slides = self._slides(u)
        while self.chuck.varies:
            u = looked_at(turns, a_turn, _MOST_SEEN)
            slides = self._slides(2 * math.pi * u)
            quick = any(np.abs(np.diff(slide.at)).max(initial=0.0) > np.ptp(slide.at) / 64 for slide in slides)
            if not quick or turns * a_turn >= _MOST_SEEN:
                break
            a_turn *= 16
        return u, slides

    def _furthest(self, number: int, side: float, low: float, high: float) -> tuple[float, float]:
        """Return how far to one side a slide goes between two turns, mm, and at which turn."""
        at = when = low
        for _ in range(_LOOKS_CLOSER):
            u = np.linspace(low, high, _SEEN_CLOSER)
            stands = self._slides(2 * math.pi * u)[number].at
            worst = int((side * stands).argmax())
            at, when = float(stands[worst]), float(u[worst])
            low, high = float(u[max(worst - 1, 0)]), float(u[min(worst + 1, u.size - 1)])
        return at, when

    def _slides(self, theta: Array) -> tuple[ChuckSlide, ...]:
        slides = self.chuck.slides(theta)  # type: ignore[attr-defined]
        for slide in slides if isinstance(slides, tuple) else [slides]:
            if not isinstance(slide, ChuckSlide) or slide is slides:
                given = type(slide).__name__
                raise _broken(self.chuck, f"slides gives {given}; it must give a tuple of lobework.kinds.ChuckSlide")
            if np.shape(slide.at) not in ((theta.size,), (1,)) or not np.isfinite(slide.at).all():
                wrong = f"slides gives a place of {slide.name!r} of shape {np.shape(slide.at)} for {theta.size} angles"
                raise _broken(self.chuck, f"{wrong}; it must be ({theta.size},) or (1,), and finite")
        return slides  # type: ignore[no-any-return]

    def _past_its_end(self, slide: ChuckSlide, at: float, end: float, turns: float) -> SettingError:
        moves = self.chuck.varies and slide.at.size > 1
        when = f"after {format_number(turns, 3)} turns it stands" if moves else "it is set"
        remedy = "give it less way, or fewer turns" if moves else "set it nearer its middle"
        screw = getattr(self.chuck, "screw", None)
        wound = f" ({screw.said(at)})" if isinstance(screw, Screw) else ""
        return SettingError(
            f"chuck {self.name!r}: its {slide.name} would go past its end: {when} at {format_length(at, places=3)}{wound}, "
            f"and its travel ends at {format_length(end, places=3)}; {remedy}"
        )

    def require_sound(self, turns: float) -> None:
        """Refuse a chuck whose motions are no rigid motions, or that moves or comes back otherwise than it says.

        Raises
        ------
        PluginError
            Naming the chuck, its class and module.
        """
        self.carries(turns)
        _ = self.comes_back

    def carries(self, turns: float) -> float:
        """Return how far, mm, it carries the work's origin from its own in a pass of so many turns, its motions being sound."""
        try:
            hash(self.chuck)
        except TypeError:
            return _carries(self.chuck, turns)
        return _carries_again(self.chuck, turns)  # type: ignore[arg-type]


def _carries(chuck: Chuck, turns: float) -> float:
    theta = np.linspace(0.0, 2 * math.pi * turns, _TRIED_RAD.size) if chuck.varies else _TRIED_RAD
    given = chuck.motions(theta.copy())
    if says := _unsound(given, theta):
        raise _broken(chuck, f"motions gives {says}")
    if chuck.varies:
        given = chuck.motions(2 * math.pi * looked_at(turns, _SEEN_A_TURN, _MOST_SEEN))
    elif max(float(np.ptp(given.shift, axis=0).max()), float(np.ptp(given.rotation, axis=0).max())) > JOIN_MM:
        raise _broken(chuck, "varies is False, but it moves as the spindle turns; say True, or hold it still")
    return float(np.linalg.norm(given.shift, axis=1).max())


_carries_again = lru_cache(maxsize=1024)(_carries)


def looked_at(turns: float, a_turn: int, most: int) -> Array:
    """Return the turns of a pass at which it is looked at, (n,) in order: so many a turn, evenly, and once between every two.

    Those between stand at another part of the way each time, so that nothing goes round with all of them.

    >>> looked_at(1.0, 3, 100).round(3)
    array([0.   , 0.206, 0.333, 0.412, 0.667, 0.951, 1.   ])
    """
    evenly = np.linspace(0.0, turns, min(max(2, math.ceil(turns * a_turn) + 1), most))
    part = np.arange(1, evenly.size) * ((math.sqrt(5) - 1) / 2) % 1.0
    return np.sort(np.concatenate([evenly, evenly[:-1] + part * np.diff(evenly)]))


def _broken(chuck: Chuck, says: str) -> PluginError:
    part = type(chuck)
    error = PluginError(f"chuck {chuck.kind!r} ({part.__module__}.{part.__qualname__}): {says}")
    error.part = part
    error.__cause__ = ValueError(says)
    return error


def may_have(part: type, fitting: type[Screw | Wheel]) -> bool:
    """Return whether a part's field ``screw`` is for a `Screw`, or ``wheel`` for a `Wheel`: of another type it is something else.

    >>> from lobework.chuck import Plain
    >>> may_have(Plain, Screw), may_have(Plain, Wheel)
    (False, True)
    """
    return hints_of(part).get(fitting.__name__.lower()) in (fitting, fitting | None)


def measures_of(part: Any) -> dict[str, Measure | None]:
    """Return each field of a part with how it is written: on its screw and its wheel, where it has them.

    Examples
    --------
    >>> from lobework.chuck import EccentricChuck
    >>> from lobework.screw import Screw
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
        if not np.isfinite(values).all():
            return f"a {name} that is not finite{_first(~np.isfinite(values), theta)}; it must be finite at every angle"
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
