"""CSV of the axes: one row for each sample: the positions of every axis and of the tip on the piece, in the units of the job."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from lobework.quantities.units import MM_PER
from lobework.targets.target import Target
from lobework.text.printable import cell

if TYPE_CHECKING:
    from lobework.kinematics.trace import Trace

__all__ = ["TARGET", "render"]

_SLIDES: Final = ("x", "y", "z")


def _axis_names(traces: Sequence[Trace]) -> list[str]:
    """Return the names of the axis columns, in order: the spindle, the cams by number, the slides."""
    found = {name for trace in traces for name in trace.axes}
    cams = sorted(found - {"spindle", *_SLIDES}, key=lambda name: (len(name), name))
    return [name for name in ("spindle", *cams, *_SLIDES) if name in found]


def _rows(trace: Trace, names: Sequence[str]) -> list[tuple[object, ...]]:
    axes, unit = trace.axes, float(MM_PER[trace.cut.units])
    empty = [""] * len(trace.u)
    columns = [(axes[name] / (unit if name in _SLIDES else 1.0)).tolist() if name in axes else empty for name in names]
    place = [(each / unit).tolist() for each in (trace.x, trace.y, trace.z)]
    number, title = [trace.cut.number] * len(trace.u), [cell(trace.cut.title)] * len(trace.u)
    return list(zip(number, title, trace.u.tolist(), *columns, *place, strict=True))


def render(traces: Sequence[Trace]) -> bytes:
    r"""Return the samples of every cut as a CSV file, with the units in the first line.

    Parameters
    ----------
    traces : sequence of Trace
        The traces, in the order of the cuts; lengths are in the units of their cuts.

    Returns
    -------
    bytes
        UTF-8. Numbers are exact when read back. The columns of axes that a cut does not use are empty. An apostrophe
        is put before a title that a spreadsheet would take for a formula.

    References
    ----------
    Y. Shafranovich, *Common Format and MIME Type for Comma-Separated Values (CSV) Files*, RFC 4180.

    Examples
    --------
    >>> render([])
    b'cut,title,"u (turns, or fraction of the pass if the spindle stands still)",piece x (mm),piece y (mm),piece z (mm)\r\n'
    """
    names = _axis_names(traces)
    length = "in" if traces and traces[0].cut.units == "inch" else "mm"
    units = [f"{name} ({length if name in _SLIDES else 'deg'})" for name in names]
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(
        [
            "cut",
            "title",
            "u (turns, or fraction of the pass if the spindle stands still)",
            *units,
            *(f"piece {name} ({length})" for name in _SLIDES),
        ]
    )
    for trace in traces:
        writer.writerows(_rows(trace, names))
    return out.getvalue().encode(errors="replace")


TARGET: Final = Target(
    name="csv", file="axes.csv", shows="axes", description="every axis at every sample, for a spreadsheet", render=render
)
