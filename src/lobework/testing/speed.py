"""Run time of an item per angle, position, depth or ray: a note in the report, which is not judged."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lobework.testing.angles import MANY, TURNING
from lobework.testing.carvings import carvings_for

if TYPE_CHECKING:
    from lobework.plugins.sample import Sample

__all__ = ["speed_of"]

_REPETITIONS: Final = 3
"""Number of repetitions; the shortest run time is reported, since other processes can only make a run longer."""
_DEPTHS: Final = 200
_ACROSS: Final = np.linspace(-0.9, 0.9, MANY)


def speed_of(sample: Sample) -> str:
    """Return the run time of the item of a sample as text; empty for a kind of item that is not timed.

    >>> from lobework.parts.chuck import Oval
    >>> from lobework.plugins.sample import Sample
    >>> speed_of(Sample(Oval(throw=5.0))).endswith(" an angle, 20000 at once")
    True
    """
    kind, part = sample.kind, sample.part
    if kind == "backend":
        return _of_backend(part)
    if kind == "cutter":
        depths = np.linspace(0.0, 1.0, _DEPTHS).tolist()
        return f"{_time_text(_shortest(lambda: [part.width_at(depth) for depth in depths]) / _DEPTHS)} a depth"
    methods = {"chuck": "motions", "cam": "rise_at", "follower": "nose_at"}
    if kind not in methods:
        return ""
    function = getattr(part, methods[kind])
    at = _ACROSS * min(part.half_width, 1.0) if kind == "follower" else np.resize(TURNING, MANY)
    place = "a place" if kind == "follower" else "an angle"
    return f"{_time_text(_shortest(lambda: function(at.copy())) / MANY)} {place}, {MANY} at once"


def _of_backend(backend: Any) -> str:
    for name, stock, sweeps in carvings_for(backend.can):
        seconds = _shortest(lambda stock=stock, sweeps=sweeps: backend.carve(stock, sweeps, stock.uncut()))  # type: ignore[misc]
        return f"{_time_text(seconds / (stock.rows * stock.columns))} a ray, {name}"
    return ""


def _shortest(act: Callable[[], object]) -> float:
    """Return the shortest run time of the function ``act``, seconds."""
    taken = []
    for _ in range(_REPETITIONS):
        began = time.perf_counter()
        act()
        taken.append(time.perf_counter() - began)
    return min(taken)


def _time_text(seconds: float) -> str:
    """Return a time as text, with two significant digits and a suitable unit.

    >>> _time_text(3.21e-8), _time_text(4.5e-6), _time_text(3e-4), _time_text(0.0123)
    ('32 ns', '4.5 microseconds', '300 microseconds', '12 ms')
    """
    for scale, unit in ((1e-6, "ns"), (1e-3, "microseconds"), (1.0, "ms")):
        if seconds < scale:
            return f"{float(f'{seconds / scale * 1000:.2g}'):g} {unit}"
    return f"{float(f'{seconds:.2g}'):g} s"
