"""The SVG, read by svgpathtools and drawn by two renderers and from the raw numbers."""

from __future__ import annotations

import io
import os
import shutil
import subprocess
import unicodedata
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
import resvg_py
import svgpathtools
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from scipy.ndimage import distance_transform_edt
from scipy.spatial import cKDTree

from lobework.parts.cutter import Pen
from lobework.render.drawing import draw
from lobework.targets.svg import render

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def sheet(lid, piece, cutter):
    return draw("Tide box, lid", piece, cutter, lid)


@pytest.fixture(scope="module")
def inked(lid, piece):
    """The cuts alone, drawn with a pen, for comparing pictures."""
    return replace(draw("Tide box, lid", piece, Pen(line=0.3), lid[:5]), words=(), lines=())


def points_of(path):
    """Return the corners of a path as svgpathtools reads it: (n, 2), its closing corner not repeated."""
    corners = [segment.start for segment in path] + ([] if path.isclosed() else [path[-1].end])
    return np.array([[corner.real, corner.imag] for corner in corners])


def test_svgpathtools_reads_every_cut_back_to_the_printed_precision(sheet, tmp_path):
    (tmp_path / "sheet.svg").write_bytes(render(sheet))
    paths, attributes = svgpathtools.svg2paths(str(tmp_path / "sheet.svg"))
    read = [path for path, given in zip(paths, attributes, strict=True) if given.get("class") not in ("outline", "accent")]
    strokes = list(sheet.strokes)
    assert len(read) == len(strokes)
    for path, stroke in zip(in_order(read, strokes), strokes, strict=True):
        assert path.isclosed() == stroke.closed
        assert points_of(path).tolist() == (np.round(stroke.points * (1, -1), 4) + 0.0).tolist()


def in_order(paths, strokes):
    """Return the paths in the order of the strokes that begin where they do."""
    starts = {}
    for path in paths:
        starts.setdefault((path[0].start.real, path[0].start.imag, len(path)), []).append(path)
    order = []
    for stroke in strokes:
        x, y = np.round(stroke.points[0] * (1, -1), 4) + 0.0
        order.append(starts[x, y, len(stroke.points) - (0 if stroke.closed else 1)].pop(0))
    return order


def test_points_are_written_to_a_tenth_of_a_micrometre(sheet):
    """A trace's chord tolerance is 2 um; the paper's is worse."""
    root = ET.fromstring(render(sheet))
    data = next(path.get("d") for path in root.iter(f"{SVG}path") if path.get("id"))
    for number in data.strip("MZ").replace("L", " ").split():
        assert len(number.partition(".")[2]) == 4


def test_the_sheet_is_in_true_millimetres(sheet):
    root = ET.fromstring(render(sheet))
    left, top, width, height = (float(number) for number in root.get("viewBox").split())
    assert (root.get("width"), root.get("height")) == (f"{width:.4f}mm", f"{height:.4f}mm")
    assert (left, top) == pytest.approx((sheet.left, -sheet.top), abs=1e-4)


def test_the_drawing_has_a_title_and_a_description_for_accessibility(sheet):
    """W3C, SVG 1.1, 5.4; WAI-ARIA 1.2, role img and aria-labelledby."""
    root = ET.fromstring(render(sheet))
    named = {each.get("id"): each.text for each in root if each.tag in (f"{SVG}title", f"{SVG}desc")}
    assert root[0].tag == f"{SVG}title"
    assert root.get("role") == "img"
    assert [named[key] for key in root.get("aria-labelledby").split()] == [sheet.title, sheet.description]


def test_each_pass_is_a_layer_and_each_cut_in_it_has_its_title(sheet, lid):
    root = ET.fromstring(render(sheet))
    layers = [group for group in root.findall(f"{SVG}g") if group.get("id").startswith("pass-")]
    assert [layer.find(f"{SVG}title").text for layer in layers] == ["wave rings", "pumped rim"]
    titles = [[cut.find(f"{SVG}title").text for cut in layer.findall(f"{SVG}g")] for layer in layers]
    assert titles == [[each.cut.title for each in lid[:12]], [lid[12].cut.title]]


def test_ids_are_unique_and_references_resolve(sheet):
    root = ET.fromstring(render(sheet))
    ids = [each.get("id") for each in root.iter() if each.get("id")]
    assert len(set(ids)) == len(ids)
    assert {use.get("href") for use in root.iter(f"{SVG}use")} <= {f"#{each}" for each in ids}


def test_a_groove_is_drawn_in_the_width_of_the_cut(sheet):
    """A 90 degree vee is twice as wide as deep: 0.8 mm at 0.4 mm, 1.0 mm at 0.5 mm where the pass ends."""
    root = ET.fromstring(render(sheet))
    layer = next(group for group in root.findall(f"{SVG}g") if group.get("id") == "pass-1")
    widths = {float(use.get("stroke-width")) for use in layer.iter(f"{SVG}use")}
    assert min(widths) == pytest.approx(0.8, abs=0.026)
    assert max(widths) == pytest.approx(1.0, abs=0.026)


@given(title=st.text(max_size=40))
def test_any_title_gives_a_file_that_reads_back(title, sheet):
    root = ET.fromstring(render(replace(sheet, title=title, layers=())))
    shown = ("L", "M", "N", "P", "S", "Zs")
    clean = [each if each in "\u200c\u200d" or unicodedata.category(each).startswith(shown) else " " for each in title]
    assert (root[0].text or "") == "".join(clean)


def test_the_same_sheet_gives_the_same_bytes(sheet):
    assert render(sheet) == render(sheet)


def by_resvg(data, size):
    return np.array(Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(
        svg_string=data.decode(), width=size[0], height=size[1], dpi=96, background="#ffffff"
    )))).convert("L"))  # fmt: skip


def by_rsvg(data, *options):
    if (command := shutil.which("rsvg-convert")) is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)(
            "rsvg-convert, the second renderer, is not installed (librsvg2-bin)"
        )
    drawn = subprocess.run([command, "--background-color", "white", *options], input=data, capture_output=True, check=True)
    return np.array(Image.open(io.BytesIO(drawn.stdout)).convert("L"))


def by_hand(sheet, traces, size, width):
    """Ink the dots, a third of a tenth of a millimetre apart, that lie within half a width of the traces themselves."""
    steps = [np.stack([each.x - sheet.left, sheet.top - each.y], axis=-1) for each in traces]
    along = [np.concatenate([[0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))]) for path in steps]
    fine = [np.arange(0, length[-1], 0.02) for length in along]
    path = np.concatenate(
        [
            np.stack([np.interp(at, length, part[:, k]) for k in (0, 1)], axis=-1)
            for at, length, part in zip(fine, along, steps, strict=True)
        ]
    )
    dots = np.zeros((3 * size[1], 3 * size[0]), dtype=bool)
    dots[tuple((path * 30).astype(int).T[::-1])] = True
    near = np.argwhere(distance_transform_edt(~dots) <= width * 15 + 2)
    away, _ = cKDTree(path).query((near[:, ::-1] + 0.5) / 30)
    dots[:] = False
    dots[tuple(near[away <= width / 2].T)] = True
    covered = dots.reshape(size[1], 3, size[0], 3).mean(axis=(1, 3))
    return np.round(255 * (1 - covered)).astype(np.uint8)


def assert_overlap(one, other):
    """Hausdorff distance of the ink at most 1.5 dots, amounts of ink, each in its own black, within 5 %."""
    ink, twin = one < 128, other < 128
    apart = max(distance_transform_edt(~twin)[ink].max(), distance_transform_edt(~ink)[twin].max())
    assert apart <= 1.5
    amounts = [(255.0 - picture).sum() / (255.0 - picture.min()) for picture in (one, other)]
    assert 0.95 <= amounts[0] / amounts[1] <= 1.05


def test_two_renderers_and_the_raw_numbers_draw_the_same_picture(inked, lid):
    size = (round(10 * inked.width), round(10 * inked.height))
    data = render(inked)
    first, second = by_resvg(data, size), by_rsvg(data, "--width", str(size[0]), "--height", str(size[1]))
    third = by_hand(inked, lid[:5], size, 0.3)
    assert first.shape == second.shape == third.shape
    assert_overlap(first, second)
    assert_overlap(first, third)
    assert_overlap(second, third)


def test_a_shift_of_two_dots_is_detected(inked):
    size = (round(10 * inked.width), round(10 * inked.height))
    picture = by_resvg(render(inked), size)
    with pytest.raises(AssertionError):
        assert_overlap(picture, np.roll(picture, 2, axis=1))


def test_at_ten_dots_per_millimetre_the_work_has_its_true_size(sheet):
    """The outline of a 70 mm disc, measured on a picture that another program sized from the millimetres in the file."""
    bare = replace(sheet, layers=(), words=(), lines=sheet.lines[:1])
    picture = by_rsvg(render(bare), "--dpi-x", "254", "--dpi-y", "254")
    rows, columns = np.nonzero(picture < 200)
    assert np.ptp(columns) + 1 == pytest.approx(701.8, abs=2)
    assert np.ptp(rows) + 1 == pytest.approx(701.8, abs=2)
