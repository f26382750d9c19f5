"""The promise that an item prints nothing to standard output."""

from __future__ import annotations

import contextlib
import io
from typing import TYPE_CHECKING, Any, Final

from lobework.plugins.validation import shortened_line
from lobework.testing.answers import answers
from lobework.testing.carvings import carvings_for
from lobework.testing.compare import Broken
from lobework.testing.jobs import traced
from lobework.testing.promise import promised
from lobework.testing.targets import ready

if TYPE_CHECKING:
    from lobework.plugins.sample import Sample

__all__: list[str] = []

_KINDS: Final = ("chuck", "cam", "follower", "cutter", "piece", "backend", "target", "check")


def _use(kind: str, thing: Any) -> None:
    """Use an item once in the way in which a job uses it."""
    if kind == "backend":
        for _, stock, sweeps in carvings_for(thing.can, coarser=1.6):
            thing.carve(stock, sweeps, stock.uncut())
            return
    elif kind == "target":
        ready(thing).render(traced("one ring").shown(thing.shows))
    elif kind == "check":
        traces = traced("waves and a plunge")
        list(thing([each.cut for each in traces], traces))
    else:
        answers(kind, thing)


def _prints_nothing(sample: Sample) -> int:
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        _use(sample.kind, sample.part)
    if text := shortened_line(printed.getvalue()):
        raise Broken(
            f"the item prints {text[:80]!r} to standard output, which is for results; print to sys.stderr, or print nothing"
        )
    return 1


for _kind in _KINDS:
    promised(_kind, "prints nothing", "The item prints nothing to standard output.")(_prints_nothing)
