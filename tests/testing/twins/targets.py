"""Targets that keep every promise, and their faulty twins: a list of points, one line each."""

from __future__ import annotations

import itertools
import struct

import numpy as np

from lobework.plugins.samples.targets import TARGETS
from lobework.targets import Target
from lobework.testing import ExpectedValue, Sample
from tests.testing.twins.twin import Twin


def points(traces):
    """Every place of every cut, after its unit: a mark, and x, y, z of each."""
    unit = traces.job.units
    scale = 25.4 if unit == "inch" else 1.0
    cuts = [np.stack([each.x, each.y, each.z], axis=-1) / scale for each in traces]
    return unit.encode().ljust(4) + written(cuts)


def written(cuts):
    """Each cut's places, and a row of infinite ones after it."""
    return b"".join(np.concatenate([cut, np.full((1, 3), np.inf)]).astype("<f8").tobytes() for cut in cuts)


def cuts_in(file):
    """Each cut's places, in the file's own unit."""
    places = np.frombuffer(file[4:], "<f8").reshape(-1, 3)
    cuts = np.split(places, np.flatnonzero(np.isinf(places[:, 0])) + 1)
    return [cut[~np.isinf(cut[:, 0])] for cut in cuts if len(cut)]


def read(file):
    return [cut * (25.4 if file[:4] == b"inch" else 1.0) for cut in cuts_in(file)]


def made(render, **given):
    return Target(**{"name": "points", "file": "points.bin", "shows": "axes", "description": "places", "render": render, **given})


def sample(render, reads=read, known=(), **given):
    return Sample(made(render, **given), reads=reads, known=known)


COUNT = itertools.count()


def numbered(traces):
    return points(traces) + struct.pack("<d", next(COUNT)) * 3


def without_units(traces):
    """Writes mm, and says that they are inches."""
    file = points(traces)
    return file[:4] + written(read(file))


def doubled(traces):
    return points(traces)[:4] + (2 * np.frombuffer(points(traces)[4:], "<f8")).tobytes()


def mirrored(traces):
    return points(traces)[:4] + (np.frombuffer(points(traces)[4:], "<f8").reshape(-1, 3) * (1.0, -1.0, 1.0)).tobytes()


def upside_down(traces):
    return points(traces)[:4] + (np.frombuffer(points(traces)[4:], "<f8").reshape(-1, 3) * (1.0, 1.0, -1.0)).tobytes()


def all_but_one(traces):
    return points(traces)[:4] + written(cuts_in(points(traces))[: max(1, len(traces) - 2)])


def meddling(traces):
    for each in traces:
        np.add(each.x, 1e-9, out=each.x)
    return points(traces)


def careless(whatever):
    return b"mm  " + bytes(24)


def of_one(traces):
    """Shows where the first cut begins, and no more."""
    return points(traces)[:28] if len(traces) else b""


def titled(traces):
    return traces.job.title.encode()


def endless(traces):
    return points(traces) + struct.pack("<3d", float("nan"), 0.0, 0.0)


def in_words(traces):
    return points(traces).hex()


def left_open(traces):
    """Leaves out the last place of each cut, so that a ring is not closed."""
    return points(traces)[:4] + written([cut[:-1] if len(cut) > 1 else cut for cut in cuts_in(points(traces))])


def joined(traces):
    """Keeps the pen down from the end of each cut to the beginning of the next."""
    return points(traces)[:4] + written([np.concatenate(cuts_in(points(traces)))])


def coarse(traces):
    """Rounds to half a millimetre."""
    return points(traces)[:4] + written([np.round(cut * 2) / 2 for cut in cuts_in(points(traces))])


def every_other(traces):
    """Leaves out every other place, however round the path is there."""
    return points(traces)[:4] + written([np.concatenate([cut[:-1:6], cut[-1:]]) for cut in cuts_in(points(traces))])


def chatty(traces):
    print("writing", len(traces), "cuts")
    return points(traces)


KEPT = {}


def remembered(traces):
    """Writes again what it wrote for the last job of this title."""
    return KEPT.setdefault((traces.job.title, traces.job.units), points(traces))


FIRST = []


def first_of_all(traces):
    """Begins with how many cuts the very first job had."""
    FIRST.append(len(traces))
    return points(traces) + written([np.zeros((FIRST[-1] - 1 + (len(FIRST) > 1), 3))])


SIZE = ExpectedValue(lambda it: len(it.file), 10, "its own name")

TWINS = [
    Twin("text in place of bytes", "writes a whole file", sample(in_words), "render returned str"),
    Twin("an empty file", "writes a whole file", sample(titled), "a barrel, in mm: the file is empty"),
    Twin("a file outside its folder", "writes a whole file", sample(points, file="../points.bin"), "must be a plain file name"),
    Twin("counts its files", "writes the same file again", sample(numbered), "a different file the second time"),
    Twin("the same for every job", "writes different files for different jobs", sample(careless), "give the same file"),
    Twin(
        "a cut moved, and nothing to see",
        "writes different files for different jobs",
        sample(lambda traces: b"1" + titled(traces)),
        "'one ring, moved'",
    ),
    Twin("moves what it shows", "does not change its input", sample(meddling), "it changes its input"),
    Twin("writes whatever it is given", "refuses what it does not show", sample(careless), "given the drawing instead it writes"),
    Twin("ignores units", "is true to size", sample(without_units), "one ring, in inch: size of its content"),
    Twin("radius for diameter", "is true to size", sample(doubled), "one ring, in mm: size of its content"),
    Twin("shows no more than a point", "is true to size", sample(of_one), "one ring, in mm: size of its content"),
    Twin("mirrored", "is true to size", sample(mirrored), "waves and a plunge, in mm: after centring on the job, a line is"),
    Twin("depth for height", "is true to size", sample(upside_down), "after centring on the job, a line is"),
    Twin("leaves out a pass", "is true to size", sample(all_but_one), "waves and a plunge, in mm"),
    Twin("nan among its places", "is true to size", sample(endless), "the file contains positions that are not finite"),
    Twin("leaves rings open", "is true to size", sample(left_open), "missing or not closed"),
    Twin("the pen stays down between cuts", "is true to size", sample(joined), "a line is 1.1"),
    Twin("rounds to half a mm", "is true to size", sample(coarse), "one ring, in mm: "),
    Twin("corners for curves", "is true to size", sample(every_other), "after centring on the job, a line is"),
    Twin("prints what it does", "prints nothing", sample(chatty), "the item prints 'writing 1 cuts'"),
    Twin(
        "the last job of this title again", "writes different files for different jobs", sample(remembered), "'one ring, moved'"
    ),
    Twin("hangs on what it wrote before", "writes the same file again", sample(first_of_all), "a different file the second time"),
    Twin("no lines to be read", "is true to size", sample(points, reads=lambda file: []), "reads returns no lines"),
    Twin(
        "another answer than it must give",
        "gives the known answers",
        sample(points, known=[SIZE], file="p.bin"),
        "5 instead of 10",
    ),
]
HONESTS = [
    sample(points, known=[SIZE]),
    *(each for each in TARGETS if each.name in ("svg", "csv", "rs274", "text", "stl")),
]
