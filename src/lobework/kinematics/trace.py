"""The path that is cut: the cutter's pose seen from the piece, sampled as finely as the work asks and no finer."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal

import numpy as np

from lobework.errors import SettingError, TooLargeError, require
from lobework.geometry.continuity import all_finite
from lobework.geometry.rigid import Array, Rigid
from lobework.kinematics.closure import Closure, closure_of
from lobework.kinematics.compiled_trace import can_weave, woven
from lobework.kinematics.motion import Motion, motion_of
from lobework.kinematics.sampling import Spans, spans_of, stretches
from lobework.lathe.passes import Cut
from lobework.quantities.tolerances import CHORD_MM, CONTACT_MM

__all__ = ["Spans", "Trace", "Way", "estimate", "lay_out", "trace"]

Way = Literal["auto", "plain", "compiled"]

COMPILED_FROM: Final = 25_000
"""Samples from which the compiled way pays for its start-up."""
BYTES_A_SAMPLE: Final = 32
MOST_BYTES: Final = 4 * 10**9
_CHUNK: Final = 8192
_TRIAL_TURNS: Final = 4


@dataclass(frozen=True, eq=False, repr=False)
class Trace:
    """One cut's path on the piece.

    Parameters
    ----------
    motion : Motion
        What was traced; it gives every axis and pose at any ``u``.
    spans : Spans
        How it was sampled.
    x, y, z : (n,) float64, mm
        The cutter's tip on the piece; z is 0 on the face, negative below it, and read-only where it never changes.
    """

    motion: Motion
    spans: Spans
    x: Array
    y: Array
    z: Array

    def __repr__(self) -> str:
        return f"<trace of cut {self.cut.number} ({self.cut.title}): {self.x.size:,} samples>"

    @cached_property
    def u(self) -> Array:
        """(n,) float64: spindle turns since the pass began, or, the spindle still, the part of it done; 0 to ``cut.span``."""
        return self.spans.turns()

    @property
    def cut(self) -> Cut:
        """The cut that was traced."""
        return self.motion.cut

    @property
    def axes(self) -> dict[str, Array]:
        """What each axis does, by the name of what it moves: "spindle", "x", "y", "z", "cam 1", "cam 2" (mm, degrees).

        A cam's angle counts its phase and its twist, not its index, which is set by hand on notches; a slide's place counts the
        lift that leads it, where a cam exists only in software.
        """
        return self.motion.axes(self.u)

    @property
    def headstock(self) -> dict[str, Array]:
        """How far the cams push the spindle: "sideways" (along its arc where it rocks) and "endways", (n,) mm."""
        motion = self.motion
        return {
            "sideways": motion.sideways.at(self.u),
            "endways": motion.endways.at(self.u),
        }

    @property
    def pose(self) -> Rigid:
        """Where the bench's frame, moved to the cutter's tip and turned with the cutter, stands on the piece: n rigid motions."""
        turned = self.motion.work(self.u).inverse() @ self.motion.cutter(self.u)
        return Rigid(turned.rotation, np.stack([self.x, self.y, self.z], axis=-1))

    @property
    def closure(self) -> Closure:
        """How the path joins up."""
        return closure_of(self.motion)


def trace(cut: Cut, *, chord: float = CHORD_MM, way: Way = "auto") -> Trace:
    """Return the path of one cut.

    Parameters
    ----------
    cut : Cut
        What is cut, on which lathe.
    chord : float, mm
        How far the path may stray from the straight line between two samples.
    way : "auto", "plain" or "compiled"
        "auto" takes the compiled way where there are samples enough to pay for its start-up. What that does not know goes the
        plain way: a spindle that stands still, slides that follow a template, a cam that does not turn evenly.

    Raises
    ------
    SettingError
        Where the lathe cannot do what the cut asks, ``chord`` is finer than `CONTACT_MM`, or no steps are small enough for how
        unevenly the chucks move.
    TooLargeError
        Where the samples would take more than `MOST_BYTES`.

    Examples
    --------
    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.lathe.lathe import Lathe
    >>> from lobework.lathe.passes import Pass
    >>> from lobework.parts.slide import At
    >>> bench = Lathe(name="bench", headstock=Headstock(sideways="fixed"))
    >>> circle = trace(Cut(number=1, passed=Pass(at=At(x=10.0)), lathe=bench))
    >>> circle.u.size, bool(np.allclose(np.hypot(circle.x, circle.y), 10.0))
    (161, True)
    """
    require(CONTACT_MM <= chord < math.inf, "chord", chord, f"at least {CONTACT_MM:g} mm: contact is not known finer")
    motion = motion_of(cut)
    _refuse_too_large(stretches(motion, cut.span))
    if cut.span > _TRIAL_TURNS:
        _refuse_too_large(estimate(cut, chord=chord))
    spans = spans_of(motion, cut.span, chord)
    total = int(spans.steps.sum())
    _refuse_too_large(total)
    if can_weave(motion) and (way == "compiled" or (way == "auto" and total >= COMPILED_FROM)):
        found = Trace(motion, spans, *woven(motion, spans)())
    else:
        found = _plain(motion, spans)
    if not all(all_finite(each) for each in (found.x, found.y, found.z)):
        raise SettingError("its path is not finite; change the settings of its cams and chucks", f"pass[{cut.group}]")
    return found


def estimate(cut: Cut, *, chord: float = CHORD_MM) -> int:
    """Return about how many samples the trace of ``cut`` would take, from its first turns."""
    if not cut.span:
        return 1
    tried = min(cut.span, _TRIAL_TURNS)
    motion = motion_of(cut)
    pieces = stretches(motion, cut.span)
    if pieces * BYTES_A_SAMPLE > MOST_BYTES:
        return pieces
    return math.ceil(float(spans_of(motion, tried, chord).steps.sum()) * cut.span / tried)


def _refuse_too_large(samples: int) -> None:
    if samples * BYTES_A_SAMPLE > MOST_BYTES:
        raise TooLargeError(
            f"turns: this pass needs about {samples:.3g} samples, {samples * BYTES_A_SAMPLE / 1e9:.3g} GB; "
            f"allowed: {MOST_BYTES / 1e9:g} GB; ask for fewer turns, less twist or a coarser chord"
        )


def _plain(motion: Motion, spans: Spans) -> Trace:
    """Return the trace by array arithmetic, a chunk at a time."""
    x, y, z = (np.zeros(spans.total) for _ in range(3))
    for first in range(0, spans.total, _CHUNK):
        part = slice(first, first + _CHUNK)
        x[part], y[part], z[part] = motion.place(spans.turns(part.start, part.stop)).T
    return Trace(motion, spans, x, y, z)


def lay_out(motion: Motion, chord: float) -> Callable[[], tuple[Array, Array, Array]]:
    """Return what fills the columns x, y, z of a trace by the compiled loop, time and again in the same memory."""
    return woven(motion, spans_of(motion, motion.cut.span, chord))
