"""SVG outlines: points as they stand in the file, sizes, curves by their closed forms, and what is refused."""

from __future__ import annotations

import gzip
import itertools
import os
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from lobework.errors import InputError, TooLargeError
from lobework.geometry.outline import read_outline
from lobework.geometry.outline.outline import FLAT_MM
from tests.search import examples

VASE = [(18.0, 0.0), (21.5, 12.25), (25.125, 30.0), (14.0, 61.0)]
POLYLINE = f'<polyline points="{" ".join(f"{x},{y}" for x, y in VASE)}"/>'
PART_OF_A_PAGE = "is a part of a page of unknown size; specify the size of one unit of the drawing, or save it with a size in mm"
MM = 'width="50mm" height="70mm" viewBox="0 0 50 70"'


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("svg")


def written(folder, inside, size=MM):
    """Return the path of an SVG that holds ``inside``."""
    path = folder / "vase.svg"
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{inside}</svg>', encoding="utf-8")
    return path


def upright(points):
    """Return SVG's places, whose y points down, with y up."""
    return np.array(points) * [1, -1]


def refusal(path, curve="", **how):
    with pytest.raises(InputError) as refused:
        read_outline(path, curve, **how)
    return str(refused.value)


places = st.tuples(*[st.floats(-500, 500)] * 2)


@settings(max_examples=examples(20))
@given(points=st.lists(places, min_size=2, max_size=40, unique=True), kind=st.sampled_from(["path", "polyline"]))
def test_points_are_read_as_written(folder, points, kind):
    numbers = " ".join(f"{x!r},{y!r}" for x, y in points)
    drawn = f'<path d="M {numbers}"/>' if kind == "path" else f'<polyline points="{numbers}"/>'
    assert_array_equal(read_outline(written(folder, drawn)).points, upright(points))


@pytest.mark.parametrize(
    ("size", "mm", "note"),
    [
        (MM, 1.0, ""),
        ('width="4in" height="4in" viewBox="0 0 4 4"', 25.4, ""),
        ('width="5cm" height="7cm" viewBox="-25 -10 50 70"', 1.0, ""),
        ('width="72pt" height="72pt" viewBox="0 0 25.4 25.4"', 1.0, ""),
        ('width="50mm" viewBox="0 0 50 70"', 1.0, ""),
        ('width="960" height="960px" viewBox="0 0 254 254"', 1.0, "the size of the drawing is in pixels, 96 to an inch"),
        ("", 25.4 / 96, "the units of the drawing are assumed to be pixels, 96 to an inch"),
        ('width="50mm" height="70mm"', 25.4 / 96, "the units of the drawing are assumed to be pixels, 96 to an inch"),
        (
            'width="100%" height="100%" viewBox="0 0 9 9"',
            25.4 / 96,
            "the drawing specifies no width and height; 96 units are assumed to be an inch",
        ),
    ],
)
def test_the_unit_follows_from_width_height_and_viewbox(folder, size, mm, note):
    """SVG 1.1, 7.7-7.10; CSS Values and Units 3, 6.2: an inch is 2.54 cm, 72 points or 96 pixels."""
    outline = read_outline(written(folder, POLYLINE, size))
    assert_allclose(outline.points, upright(VASE) * mm, rtol=1e-15)
    assert outline.note == note


def bezier(corners, t):
    """Return places of a Bezier curve, by de Casteljau's construction."""
    level = [np.array(corner, dtype=float) * np.ones((len(t), 2)) for corner in corners]
    while len(level) > 1:
        level = [a + (b - a) * t[:, None] for a, b in itertools.pairwise(level)]
    return level[0]


@pytest.mark.parametrize(
    ("data", "corners"),
    [
        ("M18 0 C 40 10 0 40 22 60", [(18, 0), (40, 10), (0, 40), (22, 60)]),
        ("m18,0c22,10-18,40,4,60", [(18, 0), (40, 10), (0, 40), (22, 60)]),
        ("M18 0 Q 45 30 22 60", [(18, 0), (45, 30), (22, 60)]),
        ("M-2 0 S 0 40 22 60", [(-2, 0), (-2, 0), (0, 40), (22, 60)]),
    ],
)
def test_bezier_curves_are_followed_to_a_fifth_of_a_micron(folder, data, corners):
    points = upright(read_outline(written(folder, f'<path d="{data}"/>')).points)
    exact = bezier(corners, np.linspace(0, 1, 200_001))
    assert_array_equal(points[[0, -1]], [corners[0], corners[-1]])
    k = np.clip(np.searchsorted(points[:, 1], exact[:, 1]) - 1, 0, len(points) - 2)
    step, off = np.diff(points, axis=0)[k], exact - points[k]
    assert np.abs((step[:, 0] * off[:, 1] - step[:, 1] * off[:, 0]) / np.hypot(*step.T)).max() <= FLAT_MM
    assert len(points) < 600


def test_an_svg_arc_lies_on_its_circle(folder):
    points = upright(read_outline(written(folder, '<path d="M 20 10 A 25 25 0 0 1 20 50"/>')).points)
    assert_allclose(np.hypot(*(points - [5, 30]).T), 25, rtol=1e-9)
    assert points[:, 0].max() == pytest.approx(30, abs=FLAT_MM)
    assert 25 - np.hypot(*((points[1:] + points[:-1]) / 2 - [5, 30]).T).min() <= FLAT_MM


def test_transforms_of_groups_apply_to_their_contents(folder):
    inside = f'<g transform="translate(3 -2)"><g transform="scale(2,1)">{POLYLINE}</g></g>'
    assert_allclose(read_outline(written(folder, inside)).points, upright([(2 * x + 3, y - 2) for x, y in VASE]), rtol=1e-14)


def test_a_curve_is_selected_by_id_and_a_path_of_two_subpaths_is_two_curves(folder):
    named = POLYLINE.replace("<polyline", '<polyline id="side"')
    inside = f'<line x1="0" y1="0" x2="0" y2="70"/><g>{named}</g>'
    inside += '<path id="feet" d="M0 0 L5 5 M9 9 L 12 15"/><circle r="3"/><text>vase</text><defs><path d="M0 0 L1 1"/></defs>'
    path = written(folder, inside)
    assert_array_equal(read_outline(path, "side").points, upright(VASE))
    assert_array_equal(read_outline(path, "feet 2").points, upright([(9, 9), (12, 15)]))
    assert refusal(path) == (
        "vase.svg: holds 4 curves: 'line 1', 'side', 'feet 1', 'feet 2'; write the name of one of them, as in curve = 'side'"
    )
    assert refusal(path, "sied").startswith("vase.svg: holds no curve 'sied'; did you mean 'side'?; it holds 'line 1'")


@pytest.mark.parametrize(
    ("inside", "message"),
    [
        ("", "holds no open curve; draw the outline as one path or polyline"),
        ('<path d=""/>', "holds no open curve; draw the outline as one path or polyline"),
        ('<path d="M 0 0 L 5 5 L 3 9 Z"/>', "curve 'path 1' is closed, so it has no end; draw one side of it as an open curve"),
        ('<path d="M 0 0 L 5 nan"/>', "a <path> holds 'nn' among its numbers; save the drawing again"),
        (
            '<path id="a" d="M 0 0 L 5 5 ?? L 6 6"/>',
            "<path> 'a' holds '??' among its numbers; save the drawing again",
        ),
        ('<path d="5 5 L 6 6"/>', "a <path> does not begin with M; save the drawing again"),
        ('<path d="M 0 0 L 1e999 5"/>', "point 2 of curve 'path 1' is not finite; draw it again"),
        ('<polyline points="0,0 5,nan 6,7"/>', "a <polyline> holds 'nan' among its numbers; save the drawing again"),
        ('<polyline points="0,0 5,5 6"/>', "a <polyline> holds an odd count of numbers; save the drawing again"),
        (
            '<path d="M 0 0 L 1 2" transform="turn(4)"/>',
            "has a damaged curve: Unknown SVG transform type: turn; save the drawing again",
        ),
        ("<g>", "is not SVG: mismatched tag: line 1, column 92; save the drawing again"),
    ],
)
def test_a_violation_of_the_standard_is_refused_in_one_line(folder, inside, message):
    assert refusal(written(folder, inside)) == f"vase.svg: {message}"


def test_a_size_of_100_percent_is_ignored_if_the_other_is_in_mm(folder):
    outline = read_outline(written(folder, POLYLINE, 'width="100%" height="10mm" viewBox="0 0 50 10"'))
    assert_array_equal(outline.points, upright(VASE))
    assert outline.note == ""


TEN_MM = 'width="10mm" height="10mm" viewBox="0 0 10 10"'
LARGE = "M0 0 C 4e3 3e4 -4e3 6e4 0 9e4"
MANY = "its curves need more than 20,000 points for an accuracy of 0.0002 mm; save the one curve in a file of its own"


@pytest.mark.parametrize(
    ("inside", "message"),
    [
        pytest.param(f'<path d="{LARGE}"/>' * 4, MANY, id="curves that have room one by one, but not together"),
        pytest.param('<path d="M0 0 C 1e12 0 0 1e12 1 1"/>', MANY, id="a curve beyond any work"),
        pytest.param('<path d="M0 0 A 1e300 1e300 0 0 1 1 1"/>', MANY, id="an arc beyond any number"),
        pytest.param("<polyline points='0,0" + " 1,1" * 20_001 + "'/>", MANY, id="a long polyline"),
        pytest.param("<polyline points='" + "1 " * 60_002 + "'/>", "holds more than 60,000 numbers in its curves", id="numbers"),
        pytest.param(f"<path d='M{'L' * 60_000}'/>", "holds more than 60,000 numbers in its curves", id="letters"),
        pytest.param(
            "<g " + " ".join(f"a{k}='1'" for k in range(60_001)) + "/>", "holds more than 60,000 attributes", id="attributes"
        ),
        pytest.param("<g>" * 100 + "</g>" * 100, "has groups nested more than 100 deep", id="groups"),
        pytest.param("<g/>" * 10_000, "holds more than 10,000 elements; save the one curve in a file of its own", id="elements"),
        pytest.param(
            f"<g transform='{'scale(1)' * 300}'/>", "has an attribute transform of more than 2,000 characters", id="transform"
        ),
        pytest.param(f"<a xmlns='{'n' * 3_000}'/>", "has an attribute xmlns of more than 2,000 characters", id="namespace"),
    ],
)
def test_a_drawing_that_would_take_too_long_is_refused_before_it_is_computed(folder, inside, message):
    assert refusal(written(folder, inside, TEN_MM)).startswith(f"vase.svg: {message}")


def test_several_large_curves_within_the_point_limit_are_read(folder):
    assert len(read_outline(written(folder, f'<path id="a" d="{LARGE}"/>' * 2, TEN_MM), "a").points) > 4_000


@pytest.mark.parametrize(
    ("declared", "message"),
    [
        ('<!ENTITY a SYSTEM "/etc/hostname">', "declares 'a', an entity that is more than plain text"),
        ('<!ENTITY % a "b">', "declares 'a', an entity that is more than plain text"),
        (f'<!ENTITY a "{"b" * 9_000}">', "declares 'a', an entity with a long text that is used often"),
        (f'<!ATTLIST g b CDATA "{"b" * 9_000}">', "declares 'b', an attribute with a long text"),
    ],
)
def test_recursive_xml_entities_are_refused(folder, declared, message):
    path = folder / "bomb.svg"
    path.write_text(f'<!DOCTYPE svg [{declared}]><svg xmlns="http://www.w3.org/2000/svg">{"&a;" * 200}</svg>', encoding="utf-8")
    assert refusal(path) == f"bomb.svg: {message}; save the drawing as plain SVG"


def test_an_entity_that_names_a_namespace_is_read(folder):
    path = folder / "named.svg"
    text = f'<svg xmlns="&ns;" {MM}>{POLYLINE}</svg>'
    path.write_text(f'<!DOCTYPE svg [<!ENTITY ns "http://www.w3.org/2000/svg">]>{text}', encoding="utf-16")
    assert_array_equal(read_outline(path).points, upright(VASE))


def test_a_compressed_file_is_refused(folder):
    (folder / "vase.svgz").write_bytes(gzip.compress(b"<svg/>"))
    (folder / "vase.svg").write_bytes(gzip.compress(b"<svg/>"))
    assert refusal(folder / "vase.svgz") == "vase.svgz: is compressed; save the drawing as plain .svg"
    assert refusal(folder / "vase.svg") == "vase.svg: is compressed; save the drawing as plain .svg"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_or_a_device_is_refused_without_waiting(folder):
    os.mkfifo(folder / "pipe.svg")
    (folder / "zero.dxf").symlink_to("/dev/zero")
    for name in ("pipe.svg", "zero.dxf"):
        message = f"{name}: is a device or a pipe, not a file that has an end; name a regular file"
        assert refusal(folder / name) == message


@pytest.mark.parametrize(
    ("size", "message"),
    [
        (
            'width="50mm" viewBox="0 0 50"',
            "viewBox='0 0 50' is not four numbers, width and height above zero; save the drawing again",
        ),
        (
            'width="50mm" viewBox="0 0 0 70"',
            "viewBox='0 0 0 70' is not four numbers, width and height above zero; save the drawing again",
        ),
        (
            'width="5 furlongs" viewBox="0 0 5 7"',
            "width='5 furlongs' is not a size such as '100mm' or '4in'; save the drawing again",
        ),
        (
            'width="50mm" height="50mm" viewBox="0 0 50 70"',
            "its width and height do not match its viewBox: the drawing is distorted; save the drawing again",
        ),
        ('width="50%" height="10mm" viewBox="0 0 50 10"', f"width='50%' {PART_OF_A_PAGE}"),
        ('width="50%" viewBox="0 0 50 10"', f"width='50%' {PART_OF_A_PAGE}"),
        ('height="9.5 %"', f"height='9.5 %' {PART_OF_A_PAGE}"),
        ('width="1e9999999mm"', "width='1e9999999mm' is not a size such as '100mm' or '4in'; save the drawing again"),
        ('width="1e999mm"', "width='1e999mm' is not a size such as '100mm' or '4in'; save the drawing again"),
        (f'width="{"9" * 99}mm"', f"width='{'9' * 39}...' is not a size such as '100mm' or '4in'; save the drawing again"),
        (
            f'width="50mm" viewBox="{"1 " * 999}"',
            f"viewBox='{'1 ' * 19}1...' is not four numbers, width and height above zero; save the drawing again",
        ),
        (
            'width="50mm" viewBox="0 0 1e-9999999 1"',
            "viewBox='0 0 1e-9999999 1' is not four numbers, width and height above zero; save the drawing again",
        ),
    ],
)
def test_an_ambiguous_size_is_refused(folder, size, message):
    assert refusal(written(folder, POLYLINE, size)) == f"vase.svg: {message}"


def test_a_command_without_all_its_numbers_is_refused(folder):
    message = refusal(written(folder, '<path d="M 0 0 L 1 2 3"/>'))
    begins = "vase.svg: has a damaged curve: Invalid path string: command 'L' expects 2 values but only 1 remain"
    assert message == f"{begins} in 'M 0 0 L 1 2 3'; save the drawing again"


def test_a_truncated_drawing_is_refused(folder):
    whole = written(folder, POLYLINE).read_bytes()
    path = folder / "cut.svg"
    for size in range(len(whole)):
        path.write_bytes(whole[:size])
        assert refusal(path).startswith(("cut.svg: is not SVG: ", "cut.svg: is empty")), size


def test_an_unreadable_file_is_refused(folder, monkeypatch):
    assert refusal(folder / "none.svg") == "none.svg: there is no such file; its path is relative to the folder of the job file"
    assert refusal(folder / "vase.png") == "vase.png: is neither .dxf nor .svg; save the drawing as .dxf or .svg"
    (folder / "folder.svg").mkdir()
    assert refusal(folder / "folder.svg") == "folder.svg: is a folder, not a file; name a file in it"
    (folder / "html.svg").write_text("<html/>", encoding="utf-8")
    assert refusal(folder / "html.svg") == (
        "html.svg: is not SVG: its root is not <svg> of http://www.w3.org/2000/svg; save the drawing again"
    )
    bomb = '<!DOCTYPE svg [<!ENTITY a "aaaaaaaaaa">' + "".join(
        f'<!ENTITY {b} "{f"&{a};" * 40}">' for a, b in zip("abcdef", "bcdefg", strict=True)
    )
    (folder / "bomb.svg").write_text(f'{bomb}]><svg xmlns="http://www.w3.org/2000/svg"><text>&g;</text></svg>', encoding="utf-8")
    message = "bomb.svg: declares 'b', an entity that is more than plain text; save the drawing as plain SVG"
    assert refusal(folder / "bomb.svg") == message
    (folder / "large.svg").write_bytes(b" " * 2_000_001)
    with pytest.raises(TooLargeError, match=r"^large\.svg: is longer than 2 MB; save the one curve in a file of its own$"):
        read_outline(folder / "large.svg")


def test_without_the_reader_the_error_names_the_package_to_install(folder, monkeypatch):
    monkeypatch.setitem(sys.modules, "svgpathtools", None)
    monkeypatch.setitem(sys.modules, "ezdxf", None)
    assert refusal(written(folder, POLYLINE)) == (
        "vase.svg: reading SVG needs svgpathtools, which is not installed; run: pip install 'lobework[outline]'"
    )
    (folder / "vase.dxf").write_text("0\nEOF\n", encoding="ascii")
    assert refusal(folder / "vase.dxf") == (
        "vase.dxf: reading DXF needs ezdxf, which is not installed; run: pip install 'lobework[outline]'"
    )
