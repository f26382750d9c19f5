"""The CSV, read back by Python's own reader of RFC 4180."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import numpy as np
import pytest

from lobework.targets.csv import render


def read(data):
    header, *rows = csv.reader(io.StringIO(data.decode(), newline=""), strict=True)
    return header, rows


def column(header, rows, name):
    return [row[header.index(name)] for row in rows]


def test_every_sample_reads_back_to_the_same_bits(lid):
    header, rows = read(render(lid))
    names = {
        "u (turns, or fraction of the pass if the spindle stands still)": "u",
        "piece x (mm)": "x",
        "piece y (mm)": "y",
        "piece z (mm)": "z",
    }
    for name, attribute in names.items():
        given = np.concatenate([getattr(each, attribute) for each in lid])
        assert [float(value) for value in column(header, rows, name)] == given.tolist()
    for axis in lid[0].axes:
        unit = "mm" if axis in "xyz" else "deg"
        given = np.concatenate([each.axes[axis] for each in lid])
        assert [float(value) for value in column(header, rows, f"{axis} ({unit})")] == given.tolist()


def test_lengths_are_in_the_units_of_the_job_and_the_head_names_them(lid):
    """One inch is 25.4 mm (Federal Register, 30 June 1959)."""
    inches = [replace(each, motion=replace(each.motion, cut=replace(each.cut, units="inch"))) for each in lid[:2]]
    header, rows = read(render(inches))
    assert not any("mm" in name for name in header)
    given = np.concatenate([each.x for each in inches])
    assert [float(value) for value in column(header, rows, "piece x (in)")] == pytest.approx(given / 25.4, rel=1e-15)
    slide, turned = (np.concatenate([each.axes[name] for each in inches]) for name in ("x", "spindle"))
    assert [float(value) for value in column(header, rows, "x (in)")] == pytest.approx(slide / 25.4, rel=1e-15)
    assert [float(value) for value in column(header, rows, "spindle (deg)")] == turned.tolist()


def test_every_row_names_its_cut(lid):
    header, rows = read(render(lid))
    given = [(str(each.cut.number), each.cut.title) for each in lid for _ in each.u]
    assert list(zip(column(header, rows, "cut"), column(header, rows, "title"), strict=True)) == given


def test_an_axis_that_a_cut_does_not_use_is_empty(lid, renamed):
    still = renamed(lid[0], cams=())
    header, rows = read(render([still, lid[1]]))
    cam = column(header, rows, "cam 1 (deg)")
    assert set(cam[: len(still.u)]) == {""}
    assert "" not in cam[len(still.u) :]


@pytest.mark.parametrize("name", ["rings, outer", 'the "deep" ones', "two\nlines"])
def test_any_title_is_written_on_one_line(lid, renamed, name):
    header, rows = read(render([renamed(lid[0], name=name)]))
    assert set(column(header, rows, "title")) == {f"{' '.join(name.split())} 1.1"}


def test_every_line_ends_with_cr_lf(lid):
    """RFC 4180, section 2, rule 1."""
    data = render(lid[:2])
    assert data.endswith(b"\r\n")
    assert data.count(b"\n") == data.count(b"\r\n") == 1 + sum(each.u.size for each in lid[:2])
