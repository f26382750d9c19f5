"""The path of a cut: positions of the cutter's tip in the frame of the work, sampled to a chord tolerance."""

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
from lobework.kinematics.compiled_trace import can_compile, compiled_columns
from lobework.kinematics.motion import Motion, motion_of
from lobework.kinematics.sampling import Spans, spans_of, stretches
from lobework.lathe.passes import Cut
from lobework.quantities.tolerances import CHORD_MM, CONTACT_MM

__all__ = ["Spans", "Trace", "TraceBackend", "estimate", "lay_out", "trace"]

TraceBackend = Literal["auto", "plain", "compiled"]

COMPILED_FROM: Final = 25_000
"""Least number of samples for which the compiled algorithm saves more time than its start-up takes."""
BYTES_A_SAMPLE: Final = 32
MOST_BYTES: Final = 4 * 10**9
_CHUNK: Final = 8192
_TRIAL_TURNS: Final = 4


@dataclass(frozen=True, eq=False, repr=False)
class Trace:
    """The path of one cut on the work.

    Parameters
    ----------
    motion : Motion
        The motion that was traced; its methods return the axes and the poses at any ``u``.
    spans : Spans
        The spans of the path and their numbers of samples.
    x, y, z : (n,) float64, mm
        Positions of the cutter's tip in the frame of the work; z is 0 on the face and negative below it. If z is constant, its
        array is read-only.
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
        """(n,) float64: turns of the spindle since the start; the completed fraction of the pass if the spindle stands still."""
        return self.spans.turns()

    @property
    def cut(self) -> Cut:
        """The cut that was traced."""
        return self.motion.cut

    @property
    def axes(self) -> dict[str, Array]:
        """Positions of the axes, mm or degrees; the keys name what each axis moves: "spindle", "x", "y", "z", "cam 1", "cam 2".

        The angle of a cam includes the cam's phase and twist, but not its index, which is set by hand on notches. The position
        of a slide includes the lift of cams that exist only in software.
        """
        return self.motion.axes(self.u)

    @property
    def headstock(self) -> dict[str, Array]:
        """Displacements of the spindle by the cams, (n,) mm: "sideways" (along the arc of a rocking headstock) and "endways"."""
        motion = self.motion
        return {
            "sideways": motion.sideways.at(self.u),
            "endways": motion.endways.at(self.u),
        }

    @property
    def pose(self) -> Rigid:
        """Pose of the cutter in the frame of the work: n rigid motions of a frame at the tip that turns with the cutter."""
        turned = self.motion.work(self.u).inverse() @ self.motion.cutter(self.u)
        return Rigid(turned.rotation, np.stack([self.x, self.y, self.z], axis=-1))

    @property
    def closure(self) -> Closure:
        """The closure of the path."""
        return closure_of(self.motion)


def trace(cut: Cut, *, chord: float = CHORD_MM, backend: TraceBackend = "auto") -> Trace:
    """Return the path of one cut.

    Parameters
    ----------
    cut : Cut
        The pass and the lathe.
    chord : float, mm
        Greatest allowed distance between the path and the straight line from sample to sample.
    backend : "auto", "plain" or "compiled"
        The algorithm. "auto" chooses the compiled algorithm if there are enough samples to make up for its start-up time. The
        plain algorithm is always used for motions that the compiled algorithm does not support; see
        `lobework.kinematics.compiled_trace.can_compile`.

    Raises
    ------
    SettingError
        If the lathe cannot make the cut, if ``chord`` is less than `CONTACT_MM`, or if no step is small enough because the
        chucks move too unevenly.
    TooLargeError
        If the samples would need more than `MOST_BYTES` of memory.

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
    require(CONTACT_MM <= chord < math.inf, "chord", chord, f"at least {CONTACT_MM:g} mm, the accuracy of contact")
    motion = motion_of(cut)
    _refuse_too_large(stretches(motion, cut.span))
    if cut.span > _TRIAL_TURNS:
        _refuse_too_large(estimate(cut, chord=chord))
    spans = spans_of(motion, cut.span, chord)
    total = int(spans.steps.sum())
    _refuse_too_large(total)
    if can_compile(motion) and (backend == "compiled" or (backend == "auto" and total >= COMPILED_FROM)):
        found = Trace(motion, spans, *compiled_columns(motion, spans)())
    else:
        found = _plain_trace(motion, spans)
    if not all(all_finite(each) for each in (found.x, found.y, found.z)):
        where = f"pass[{cut.group}]"
        raise SettingError("the path of this pass is not finite", where, remedy="change the settings of its cams and chucks")
    return found


def estimate(cut: Cut, *, chord: float = CHORD_MM) -> int:
    """Return the approximate number of samples of the trace of ``cut``, extrapolated from its first turns."""
    if not cut.span:
        return 1
    tried = min(cut.span, _TRIAL_TURNS)
    motion = motion_of(cut)
    pieces = stretches(motion, cut.span)
    if pieces * BYTES_A_SAMPLE > MOST_BYTES:
        return pieces
    return math.ceil(float(spans_of(motion, tried, chord).steps.sum()) * cut.span / tried)


def _refuse_too_large(samples: int) -> None:
    """Raise `TooLargeError` if the samples would need more than `MOST_BYTES` of memory."""
    if samples * BYTES_A_SAMPLE > MOST_BYTES:
        raise TooLargeError(
            f"turns: the path of this pass needs about {samples:.3g} samples and "
            f"{samples * BYTES_A_SAMPLE / 1e9:.3g} GB of memory; allowed: {MOST_BYTES / 1e9:g} GB",
            remedy="use fewer turns, less twist or a coarser chord",
        )


def _plain_trace(motion: Motion, spans: Spans) -> Trace:
    """Compute the trace by array arithmetic, in chunks, and return it."""
    x, y, z = (np.zeros(spans.total) for _ in range(3))
    for first in range(0, spans.total, _CHUNK):
        part = slice(first, first + _CHUNK)
        x[part], y[part], z[part] = motion.place(spans.turns(part.start, part.stop)).T
    return Trace(motion, spans, x, y, z)


def lay_out(motion: Motion, chord: float) -> Callable[[], tuple[Array, Array, Array]]:
    """Return a function that computes the columns x, y, z of a trace by the compiled loop; each call fills the same arrays."""
    return compiled_columns(motion, spans_of(motion, motion.cut.span, chord))
