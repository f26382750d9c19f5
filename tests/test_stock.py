"""The grid of rays: where they start, what each stands for, and how much a depth along them takes away."""

from __future__ import annotations

import math
import tracemalloc
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lobework.carve import Stock, stock_of
from lobework.carve.stock import BYTES_A_RAY, MOST_BYTES
from lobework.errors import SettingError, TooLargeError
from lobework.geometry.surface import Round
from lobework.parts.piece import Barrel, Disc, Turned
from tests.search import examples
from tests.strategies import numbers

DISC = Disc(diameter=20.0, thickness=5.0)
BARREL = Barrel(diameter=24.0, length=20.0, bore=18.0)
CONE = Turned(profile=((0, 12), (-20, 8)))
FORMS = (DISC, BARREL, CONE, Turned(profile=((0, 10), (-8, 13), (-20, 9))))


def sphere_zone(radius, top, bottom, rows):
    """A zone of a sphere about the origin between two heights, its rows evenly spaced along it."""
    first, last = math.asin(top / radius), math.asin(bottom / radius)
    length = radius * (first - last)

    def profile(s):
        angle = first - s / radius
        out, along = np.cos(angle), np.sin(angle)
        return np.stack([radius * out, radius * along, out, along], axis=-1)

    surface = Round(length=length, profile=profile, wall=lambda s: np.full_like(s, radius), straight=False)
    return Stock(surface, rows, 16, length / (rows - 1), 2 * math.pi / 16)


@pytest.mark.parametrize("piece", FORMS, ids=lambda piece: piece.form)
@pytest.mark.parametrize("resolution", [0.21, 0.5, 2.0])
def test_the_spacing_of_rays_is_between_90_and_100_percent_of_the_resolution(piece, resolution):
    """At the widest place of a round surface; elsewhere they come together."""
    stock = stock_of(piece, resolution)
    start, _ = stock.rays(np.arange(stock.rows)[:, None], np.arange(stock.columns))
    widest = int(np.hypot(start[..., 0], start[..., 1]).max(axis=1).argmax()) if piece is not DISC else 0
    apart = np.linalg.norm(start[widest, 1] - start[widest, 0]), stock.row_step
    assert max(apart) <= resolution * (1 + 1e-9)
    assert min(apart) >= 0.9 * resolution


@pytest.mark.parametrize("piece", FORMS, ids=lambda piece: piece.form)
def test_rays_start_on_the_surface_and_go_in_along_its_normal(piece):
    stock = stock_of(piece, 0.5)
    start, way = stock.rays(np.arange(stock.rows)[:, None], np.arange(stock.columns))
    assert start.shape == way.shape == (*stock.shape, 3)
    assert np.linalg.norm(way, axis=-1) == pytest.approx(1.0)
    along_rows, along_columns = np.gradient(start, axis=0)[1:-1, 1:-1], np.gradient(start, axis=1)[1:-1, 1:-1]
    inner = way[1:-1, 1:-1]
    assert np.abs((along_rows * inner).sum(-1)).max() < 0.02 * stock.row_step
    assert np.abs((along_columns * inner).sum(-1)).max() < 1e-9
    for point, depth in ((start, 0.0), (start + way, 1.0)):
        assert np.stack([piece.seen(row)[:, 2] for row in point[::20]]) == pytest.approx(depth, abs=1e-6)


def test_a_face_is_laid_out_about_its_middle_and_ends_at_its_rim():
    stock = stock_of(DISC, 0.5)
    assert stock.shape == (41, 41)
    assert stock.column_positions.tolist() == stock.row_positions.tolist() == np.linspace(-10.0, 10.0, 41).tolist()
    assert stock.inside.tolist() == [[x * x + y * y <= 100.0 for x in stock.column_positions] for y in stock.row_positions]


def test_columns_go_round_once_from_x_towards_y_and_rows_from_the_far_end():
    stock = stock_of(BARREL, 0.5)
    start, way = stock.rays(np.array([0, 0, stock.rows - 1]), np.array([0, 1, 0]))
    assert start[0] == pytest.approx([12.0, 0.0, 0.0])
    assert way[0] == pytest.approx([-1.0, 0.0, 0.0])
    assert start[1, 1] > 0
    assert start[2] == pytest.approx([12.0, 0.0, -20.0])
    assert stock.columns * stock.column_step == pytest.approx(2 * math.pi)
    assert stock.inside.all()


@pytest.mark.parametrize("resolution", [0.1, 0.4])
def test_the_areas_of_the_rays_add_up_to_the_area_of_the_surface(resolution):
    """Area of a circle, of a cylinder's side, of a cone's frustum: pi (R + r) times the slant height."""
    disc, barrel, cone = (stock_of(piece, resolution) for piece in (DISC, BARREL, CONE))
    assert (disc.areas * disc.inside).sum() == pytest.approx(100 * math.pi, rel=0.03)
    assert (barrel.areas * barrel.inside).sum() == pytest.approx(math.pi * 24 * 20)
    assert (cone.areas * cone.inside).sum() == pytest.approx(math.pi * (12 + 8) * math.hypot(20, 4))


@given(numbers(0.0, 12.0))
@settings(max_examples=examples(30))
def test_a_layer_off_a_barrel_is_the_ring_between_two_cylinders(depth):
    """pi (R^2 - (R - d)^2) L."""
    stock = stock_of(BARREL, 0.5)
    removed = stock.volumes(np.full(stock.shape, depth)).sum()
    assert removed == pytest.approx(math.pi * (12.0**2 - (12.0 - depth) ** 2) * 20.0, rel=1e-12, abs=1e-9)


@given(numbers(0.0, 8.0))
@settings(max_examples=examples(30))
def test_a_layer_off_a_cone_has_the_volume_of_pappus_theorem(depth):
    """Pappus: a strip d thick along the slant height, carried round the circle of its middle, r - d cos(t) / 2."""
    stock = stock_of(CONE, 0.5)
    slant = math.hypot(20.0, 4.0)
    middle = 10.0 - depth / 2 * 20.0 / slant
    assert stock.volumes(np.full(stock.shape, depth)).sum() == pytest.approx(2 * math.pi * middle * slant * depth, rel=1e-9)


@pytest.mark.parametrize("depth", [0.5, 4.0, 20.0])
@pytest.mark.parametrize(("top", "bottom"), [(15.0, -15.0), (18.0, 3.0), (-1.0, -12.0)])
def test_a_layer_off_a_sphere_is_a_zone_of_the_shell_between_two_spheres(depth, top, bottom):
    """Archimedes, *On the Sphere and Cylinder*, I: the zone of a sphere is 2 pi R h; of each shell within it as much less as
    the square of its radius, so R^3 - (R - d)^3 in all. The sum over the rows misses it by the square of their distance."""
    radius = 20.0
    exact = 2 * math.pi * (top - bottom) / radius * (radius**3 - (radius - depth) ** 3) / 3
    missed = []
    for rows in (41, 81):
        stock = sphere_zone(radius, top, bottom, rows)
        assert stock.areas.sum() * stock.columns == pytest.approx(2 * math.pi * radius * (top - bottom), rel=1e-3)
        missed.append(abs(stock.volumes(np.full(stock.shape, depth)).sum() / exact - 1))
    assert missed[1] < 3e-4
    assert missed[0] / missed[1] == pytest.approx(4.0, abs=0.1)


def test_a_layer_off_a_sphere_turned_through_points_tends_to_the_same_zone():
    """The curve through the points bends as the sphere does but in the last spans, whose ends are held straight: half as
    much is missed where they are half as long."""
    zone = 2 * math.pi * 2 * math.sin(np.pi / 3) * (20**3 - 18**3) / 3
    missed = []
    for count in (31, 61, 121):
        angle = np.linspace(np.pi / 3, -np.pi / 3, count)
        ball = Turned(profile=tuple(zip((20 * np.sin(angle)).tolist(), (20 * np.cos(angle)).tolist(), strict=True)))
        stock = stock_of(ball, 0.1)
        missed.append(stock.volumes(np.full((stock.rows, 1), 2.0)).sum() * stock.columns / zone - 1)
    assert missed[0] / missed[1] == pytest.approx(2.0, abs=0.2)
    assert missed[1] / missed[2] == pytest.approx(2.0, abs=0.2)
    assert missed[2] < 2e-4


@given(st.sampled_from(FORMS), numbers(0.0, 2.0), numbers(0.0, 2.0))
@settings(max_examples=examples(30))
def test_cutting_deeper_never_removes_less(piece, one, other):
    stock = stock_of(piece, 2.0)
    shallow, deep = (stock.volumes(np.full(stock.shape, depth)) for depth in sorted((one, other)))
    assert (deep >= shallow - 1e-12).all()


@pytest.mark.parametrize("piece", FORMS, ids=lambda piece: piece.form)
def test_the_stock_of_one_ray_starts_where_that_ray_starts(piece):
    """On a round surface the ray keeps its whole row."""
    stock = stock_of(piece, 2.0)
    row, column = stock.rows // 3, stock.columns // 4
    one = stock.ray(row, column)
    here = np.array([0]), np.array([0 if piece is DISC else column])
    for whole, alone in zip(stock.rays(np.array([row]), np.array([column])), one.rays(*here), strict=True):
        assert alone == pytest.approx(whole, abs=1e-12)
    assert one.shape == ((1, 1) if piece is DISC else (1, stock.columns))
    assert one.inside[0, here[1][0]] == stock.inside[row, column]


def test_uncut_stock_has_no_depth():
    depth = stock_of(DISC, 0.5).uncut()
    assert depth.dtype == np.float32
    assert depth.shape == (41, 41)
    assert not depth.any()


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """A form that can only be drawn; what it calls its surface is a finish."""

    form: ClassVar[str] = "plate"
    surface: str = "sanded"

    @property
    def outline(self):
        return np.array([[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0], [1.0, 1.0]])


def test_a_form_without_a_surface_is_refused():
    with pytest.raises(
        SettingError, match=r"^piece.form='plate': has no surface to carve; a piece of this form can be drawn but not carved$"
    ):
        stock_of(Plate())


@pytest.mark.parametrize("resolution", [0.0, -0.1, math.nan, math.inf, 5.1, 1e9])
def test_an_invalid_or_too_coarse_resolution_is_refused(resolution):
    with pytest.raises(SettingError, match=r"must be above zero and at most 5 mm, a quarter of the work's size$"):
        stock_of(DISC, resolution)


@pytest.mark.parametrize("resolution", ["0.1 mm", None, [0.1]])
def test_a_resolution_that_is_not_a_number_is_refused(resolution):
    with pytest.raises(SettingError, match="must be a plain number, in mm"):
        stock_of(DISC, resolution)


@pytest.mark.parametrize("piece", FORMS, ids=lambda piece: piece.form)
@pytest.mark.parametrize("resolution", [1e-4, 1e-12, 1e-300])
def test_a_grid_too_large_for_memory_is_refused_with_its_size_and_a_resolution_that_fits(piece, resolution):
    with pytest.raises(TooLargeError) as told:
        stock_of(piece, resolution)
    message = str(told.value)
    assert message.startswith(f"resolution={resolution:g}: ")
    assert " GB to carve, more than the 4 GB a job may take; use " in message
    will_do = float(message.rpartition("use ")[2].removesuffix(" mm or more"))
    stock = stock_of(piece, will_do)
    assert stock.rows * stock.columns * BYTES_A_RAY == stock.bytes <= 1.01 * MOST_BYTES
    assert will_do < 0.01


def test_the_refusal_of_a_grid_too_large_for_memory_states_its_memory():
    """20 mm at a tenth of a micrometre: 200,000 rays each way, twelve bytes a ray."""
    message = (
        "resolution=0.0001: needs 4e+10 rays, which would take 480.0 GB to carve, more than the 4 GB a job may take; "
        "use 0.002 mm or more"
    )
    with pytest.raises(TooLargeError) as told:
        stock_of(DISC, 1e-4)
    assert str(told.value) == message


def test_laying_out_the_largest_grid_takes_no_memory():
    tracemalloc.start()
    stock_of(DISC, 0.002)
    taken = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert taken < 1_000_000
