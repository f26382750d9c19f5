"""DXF outlines: points as another library wrote them, units, and what is refused."""

from __future__ import annotations

import logging
import math

import dxfgrabber
import ezdxf
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy.interpolate import BSpline

from lobework.errors import InputError, TooLargeError
from lobework.geometry.outline import read_outline
from lobework.geometry.outline.outline import FLAT_MM
from tests.search import examples

VASE = [(18.0, 0.0), (21.5, -12.25), (25.125, -30.0), (14.0, -61.0)]


def written(folder, draw, units=4, version="R2010"):
    """Return the path of a DXF on whose model ``draw`` has drawn."""
    document = ezdxf.new(version)
    if version != "R12":
        document.header["$INSUNITS"] = units
    draw(document.modelspace())
    path = folder / "vase.dxf"
    document.saveas(path)
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("dxf")


places = st.tuples(*[st.floats(-500, 500).map(lambda x: round(x, 6))] * 2)


@settings(max_examples=examples(15))
@given(points=st.lists(places, min_size=2, max_size=40, unique=True))
def test_points_of_a_polyline_are_read_as_written(folder, points):
    path = written(folder, lambda model: model.add_lwpolyline(points))
    assert list(read_outline(path).points) == points


def test_points_equal_those_of_an_independent_reader(folder):
    """dxfgrabber reads the file's tags by itself."""
    path = written(folder, lambda model: model.add_lwpolyline(VASE))
    (entity,) = dxfgrabber.readfile(str(path)).entities
    assert_array_equal(read_outline(path).points, [point[:2] for point in entity.points])


def test_a_file_typed_by_hand_from_the_standard_is_read(folder):
    """DXF reference: group codes 10 and 20 are X and Y, 42 a bulge; here of release 12, in inches."""
    tags = ["0", "SECTION", "2", "HEADER", "9", "$INSUNITS", "70", "1", "0", "ENDSEC", "0", "SECTION", "2", "ENTITIES"]
    tags += ["0", "POLYLINE", "8", "side", "66", "1", "70", "0"]
    for x, y in VASE:
        tags += ["0", "VERTEX", "8", "side", "10", str(x), "20", str(y), "30", "0"]
    tags += ["0", "SEQEND", "8", "side", "0", "ENDSEC", "0", "EOF"]
    path = folder / "typed.DXF"
    path.write_text("\n".join(tags) + "\n", encoding="ascii")
    outline = read_outline(path)
    assert outline.name == "side"
    assert_allclose(outline.points, np.array(VASE) * 25.4, rtol=1e-15)


@pytest.mark.parametrize(("units", "mm"), [(1, 25.4), (2, 304.8), (4, 1.0), (5, 10.0), (6, 1000.0)])
def test_units_are_those_of_the_file(folder, units, mm):
    """$INSUNITS: 1 inches, 2 feet, 4 mm, 5 cm, 6 m (DXF reference, from memory)."""
    outline = read_outline(written(folder, lambda model: model.add_lwpolyline(VASE), units))
    assert_allclose(outline.points, np.array(VASE) * mm, rtol=1e-15)
    assert outline.note == ""


def test_a_file_without_units_has_those_of_the_job_and_a_note(folder):
    path = written(folder, lambda model: model.add_lwpolyline(VASE), units=0)
    assert_array_equal(read_outline(path).points, VASE)
    inches = read_outline(path, bare="inch")
    assert_allclose(inches.points, np.array(VASE) * 25.4, rtol=1e-15)
    assert inches.note == "the drawing specifies no unit; one unit is assumed to be 1 in, as in the job"


@pytest.mark.parametrize("bulge", [0.4, -0.4, 1.0, -math.tan(math.radians(10))])
@pytest.mark.parametrize("kind", ["add_lwpolyline", "add_polyline2d"])
def test_a_bulge_is_the_tangent_of_a_quarter_of_the_arc_angle(folder, bulge, kind):
    """Bulge: tangent of a quarter of the included angle, above zero counterclockwise, a semicircle 1 (DXF reference)."""
    path = written(folder, lambda model: getattr(model, kind)([(20, 0, bulge), (20, -30, 0), (25, -40, 0)], format="xyb"))
    points = np.array(read_outline(path).points)
    radius = 30 * (1 + bulge**2) / (4 * abs(bulge))
    apothem = 30 * (1 - bulge**2) / (4 * bulge)
    centre = np.array([20 + apothem, -15.0])
    assert_array_equal(points[[0, -2, -1]], [[20, 0], [20, -30], [25, -40]])
    arc = points[:-1]
    assert_allclose(np.hypot(*(arc - centre).T), radius, rtol=1e-12)
    assert radius - np.hypot(*((arc[1:] + arc[:-1]) / 2 - centre).T).min() <= FLAT_MM
    assert_allclose(arc[:, 0].min() if bulge > 0 else arc[:, 0].max(), 20 - bulge * 15, atol=2 * FLAT_MM)


def test_lines_and_arcs_that_meet_form_one_outline_in_any_order_and_direction(folder):
    def draw(model):
        model.add_line((20, -40), (20, -20))
        model.add_arc((20, -50), 10, 0, 90)
        model.add_line((20, -20), (25, 0))
        model.add_line((30, -50), (30, -60.0000004))

    points = np.array(read_outline(written(folder, draw)).points)
    assert_array_equal(points[0], [25, 0])
    assert_array_equal(points[-1], [30, -60.0000004])
    assert (np.diff(points[:, 1]) < 0).all()
    arc = points[(points[:, 1] <= -40) & (points[:, 1] >= -50)]
    assert len(arc) > 50
    assert_allclose(np.hypot(*(arc - [20, -50]).T), 10, rtol=1e-12)


def test_a_spline_is_followed_to_a_fifth_of_a_micron(folder):
    """By scipy's B-splines."""
    frame = np.array([(18, 0), (30, -12), (31, -30), (8, -44), (14, -61)], dtype=float)
    path = written(folder, lambda model: model.add_open_spline(frame, degree=3))
    points = np.array(read_outline(path).points)
    exact = BSpline(np.array([0, 0, 0, 0, 1, 2, 2, 2, 2]) / 2, frame, 3)(np.linspace(0, 1, 400_001))
    assert_allclose(points[[0, -1]], frame[[0, -1]], atol=1e-12)
    off = np.abs(np.interp(exact[:, 1], points[::-1, 1], points[::-1, 0]) - exact[:, 0])
    assert off.max() <= FLAT_MM


def test_a_curve_is_selected_by_its_layer(folder):
    def draw(model):
        model.add_lwpolyline(VASE, dxfattribs={"layer": "side"})
        model.add_line((0, 5), (0, -70), dxfattribs={"layer": "axis"})
        model.add_circle((0, 0), 5, dxfattribs={"layer": "hole"})
        model.add_text("vase", dxfattribs={"layer": "words"})

    path = written(folder, draw)
    assert list(read_outline(path, "side").points) == VASE
    with pytest.raises(InputError) as refused:
        read_outline(path)
    assert str(refused.value) == "vase.dxf: holds 2 curves: 'side', 'axis'; write the name of one of them, as in curve = 'side'"
    with pytest.raises(InputError) as refused:
        read_outline(path, "sides")
    assert str(refused.value) == "vase.dxf: holds no curve 'sides'; did you mean 'side'?; it holds 'side', 'axis'"


def test_a_mirrored_polyline_is_read_mirrored(folder):
    """An extrusion along minus Z mirrors X (DXF reference, object coordinate systems)."""
    path = written(folder, lambda model: model.add_lwpolyline(VASE, dxfattribs={"extrusion": (0, 0, -1)}))
    assert_allclose(read_outline(path).points, np.array(VASE) * [-1, 1], rtol=1e-15)


def crossing(model):
    for end in ((0, 0), (10, 0), (5, 9)):
        model.add_line((5, 3), end)


@pytest.mark.parametrize(
    ("draw", "units", "message"),
    [
        (lambda model: model.add_circle((0, 0), 5), 4, "holds no open curve; draw the outline as one path or polyline"),
        (
            lambda model: model.add_lwpolyline(VASE, close=True),
            4,
            "curve '0' is closed, so it has no end; draw one side of it as an open curve",
        ),
        (crossing, 4, "three lines of layer '0' meet at 5, 3 mm; put the outline on a layer by itself"),
        (
            lambda model: model.add_polyline3d([(0, 0, 0), (1, -5, 2)]),
            4,
            "a curve on layer '0' is not in a plane parallel to X and Y; draw it in the plane of X and Y",
        ),
        (
            lambda model: model.add_lwpolyline(VASE),
            3,
            "$INSUNITS=3: this unit is not supported; specify the size of one unit of the drawing",
        ),
        (
            lambda model: model.add_lwpolyline([(20, 0), (math.nan, 3)]),
            4,
            "point 2 of curve '0' is not finite; draw it again",
        ),
    ],
    ids=["no curve", "closed", "three meet", "not flat", "unit", "nan"],
)
def test_an_invalid_outline_is_refused_in_one_line(folder, draw, units, message):
    with pytest.raises(InputError) as refused:
        read_outline(written(folder, draw, units))
    assert str(refused.value) == f"vase.dxf: {message}"


def test_a_truncated_drawing_is_refused(folder):
    """Never read in part: of twenty-four places at which a file is cut, none gives an outline."""
    whole = written(folder, lambda model: model.add_lwpolyline(VASE)).read_bytes()
    path = folder / "cut.dxf"
    for size in np.linspace(0, len(whole.rstrip()) - 4, 24).astype(int):
        path.write_bytes(whole[:size])
        with pytest.raises(InputError, match=r"^cut\.dxf: is (a damaged or truncated DXF file|not a DXF file|empty)"):
            read_outline(path)


@pytest.fixture
def unlogged(monkeypatch):
    """The reader logs junk as it stands, and a report with surrogates cannot be sent from a process of xdist."""
    monkeypatch.setattr(logging.getLogger("ezdxf"), "disabled", True)


@pytest.mark.usefixtures("unlogged")
@settings(max_examples=examples(25), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(place=st.integers(0, 10**6), junk=st.binary(min_size=1, max_size=6))
def test_a_drawing_with_junk_in_it_is_read_or_refused_in_one_line(folder, place, junk):
    whole = written(folder, lambda model: model.add_polyline2d(VASE), version="R12").read_bytes()
    at = place % len(whole)
    path = folder / "junk.dxf"
    path.write_bytes(whole[:at] + junk + whole[at + len(junk) :])
    said = ""
    try:
        read_outline(path)
    except InputError as error:
        said = str(error)
    assert "\n" not in said


def test_a_file_that_is_too_large_is_refused(folder):
    path = folder / "large.dxf"
    path.write_bytes(b"0\n" * 1_000_001)
    with pytest.raises(TooLargeError, match=r"^large\.dxf: is longer than 2 MB; save the one curve in a file of its own$"):
        read_outline(path)
    path.write_bytes(b"0\nX\n" * 8_001)
    with pytest.raises(TooLargeError, match=r"^large\.dxf: holds more than 8,000 lines and other entities; save the one curve"):
        read_outline(path)
    path.write_bytes(b"9\nX\n" * 120_002)
    with pytest.raises(
        TooLargeError, match=r"^large\.dxf: holds more than 120,000 values; save the one curve in a file of its own$"
    ):
        read_outline(path)
    path.write_bytes(b"AutoCAD Binary DXF\r\n\x1a\x00" + b"\0\0X\0" * 8_001)
    with pytest.raises(TooLargeError, match=r"^large\.dxf: holds more than 8,000 lines and other entities; save the one curve"):
        read_outline(path)


MANY = "its curves need more than 20,000 points for an accuracy of 0.0002 mm; save the one curve in a file of its own"
FAR = "a curve on layer '0' is larger than 1,000,000 mm, or further than that from the origin; specify the size of one unit"


def arcs(model):
    for k in range(100):
        model.add_arc((k, 0), 20_000, 10, 60)


TOO_LONG = {
    "a long polyline": (lambda model: model.add_lwpolyline([(20.0, -0.001 * k) for k in range(20_001)]), MANY),
    "arcs that have room one by one, but not together": (arcs, MANY),
    "an arc of a million kilometres": (lambda model: model.add_arc((0, 0), 1e12, 0, 90), FAR),
    "an arc a million kilometres off": (lambda model: model.add_arc((1e12, 0), 1, 0, 90), FAR),
    "an arc of no finite radius": (lambda model: model.add_arc((0, 0), math.nan, 0, 90), FAR),
    "an arc of hundreds of metres": (lambda model: model.add_arc((0, 0), 9e5, 0, 90), MANY),
    "an ellipse": (lambda model: model.add_ellipse((0, 0), (1e12, 0), 0.5, 0, 2), FAR),
    "a slender ellipse": (lambda model: model.add_ellipse((0, 0), (9e5, 0), 0.01, 0, 6), MANY),
    "a bulge": (lambda model: model.add_lwpolyline([(0, 0, 1e9), (1, 0, 0)], format="xyb"), FAR),
    "bulges": (lambda model: model.add_lwpolyline([(k % 2 * 90, k, 0.9) for k in range(99)], format="xyb"), MANY),
    "a spline": (lambda model: model.add_open_spline([(0, 0), (1e12, 0), (0, 1e12), (9, 9)]), FAR),
    "a spline of hundreds of metres": (lambda model: model.add_open_spline([(0, 0), (9e5, 0), (0, 9e5), (9, 9)]), MANY),
    "a spline of a high degree": (
        lambda model: model.add_open_spline([(k, k % 2) for k in range(18)], degree=16),
        "a spline on layer '0' has degree 16; at most 15; draw it with fewer",
    ),
    "a spline through many places": (
        lambda model: model.add_spline([(k, k % 2) for k in range(1_001)]),
        "a spline on layer '0' has fit points 1,001; at most 1,000; draw it with fewer",
    ),
}


@pytest.mark.parametrize("case", TOO_LONG)
def test_a_drawing_that_would_take_too_long_is_refused_before_it_is_computed(folder, case):
    draw, message = TOO_LONG[case]
    path = written(folder, draw)
    with pytest.raises(TooLargeError) as refused:
        read_outline(path)
    assert str(refused.value).startswith(f"vase.dxf: {message}")


def test_several_large_arcs_within_the_point_limit_are_read(folder):
    def some(model):
        model.add_arc((0, 0), 20_000, 10, 60, dxfattribs={"layer": "a"})
        model.add_arc((5, 0), 20_000, 10, 60, dxfattribs={"layer": "b"})

    points = read_outline(written(folder, some), "b").points
    off = np.hypot(*(np.array(points) - [5, 0]).T) - 20_000
    assert len(points) > 2_000
    assert np.abs(off).max() <= 1e-6


def test_a_negligible_bulge_is_a_straight_line(folder):
    for bulge in (1e-320, -1e-12, 0.0):
        path = written(folder, lambda model, bulge=bulge: model.add_lwpolyline([(0, 0, bulge), (9, -5, 0)], format="xyb"))
        assert read_outline(path).points == ((0.0, 0.0), (9.0, -5.0))


def test_a_binary_drawing_is_read(folder):
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 4
    document.modelspace().add_lwpolyline(VASE)
    document.saveas(folder / "binary.dxf", fmt="bin")
    assert_array_equal(read_outline(folder / "binary.dxf").points, VASE)
    whole = (folder / "binary.dxf").read_bytes()
    (folder / "binary.dxf").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputError, match=r"^binary\.dxf: is a damaged or truncated DXF file: "):
        read_outline(folder / "binary.dxf")
