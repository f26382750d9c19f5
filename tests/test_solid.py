"""Solids of carved work: closed, outward, as large as what is left, and no further off than they say."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from lobework import At, Ball, Job, Pass, read_lathe
from lobework.carve import Carving, stock_of
from lobework.errors import SettingError, TooLargeError
from lobework.geometry.surface import Round
from lobework.parts.piece import Barrel, Disc, Turned
from lobework.render.solid import Solid, solid_of
from tests.solids import (
    CUP,
    GROOVED,
    LID,
    POST,
    RATTLE,
    SAMPLES,
    TUBE,
    WAIST,
    assert_closed,
    assert_sound,
    ball,
    carved,
    flange,
    flutes,
    manifold_of,
    mesh_of,
    pointed,
    polar,
    uncut,
    vee,
    wave_rings,
)

RING = 20.0
LEVEL = 1e-9


def polygon(sides, radius):
    """Area of a regular polygon whose corners lie on a circle."""
    return sides / 2 * radius**2 * math.sin(2 * math.pi / sides)


def prism(solid, piece):
    """Volume of the uncut disc, its edge as many-sided as the solid's."""
    sides = np.count_nonzero(solid.vertices[:, 2] == -piece.thickness) - 1
    return polygon(sides, piece.diameter / 2) * piece.thickness


def removed(depth, resolution=0.1, piece=GROOVED):
    solid = solid_of(carved(piece, resolution, depth), within=0)
    return prism(solid, piece) - solid.volume


def face_heights(solid, at):
    """Height of the face at (n, 2) places, found without the grid: the triangle whose shadow holds each place."""
    corners = solid.vertices[solid.faces]
    up = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])[:, 2] > 1e-9
    a, b, c = np.moveaxis(corners[up], 1, 0)
    double = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (b[:, 1] - a[:, 1])
    heights = np.full(len(at), np.nan)
    for k, (x, y) in enumerate(at):
        u = ((x - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (y - a[:, 1])) / double
        v = ((b[:, 0] - a[:, 0]) * (y - a[:, 1]) - (x - a[:, 0]) * (b[:, 1] - a[:, 1])) / double
        found = np.argmax(np.minimum(np.minimum(u, v), 1 - u - v))
        heights[k] = a[found, 2] + u[found] * (b - a)[found, 2] + v[found] * (c - a)[found, 2]
    return heights


def distance(solid, places):
    """How far each place is from the nearest triangle, as trimesh measures it."""
    corners = solid.vertices[solid.faces]
    away = np.full(len(places), np.inf)
    for k, place in enumerate(places):
        nearest = trimesh.triangles.closest_point(corners, np.broadcast_to(place, (len(corners), 3)))
        away[k] = np.linalg.norm(nearest - place, axis=1).min()
    return away


def spread(corners, count, seed=0):
    """Return ``count`` places strewn over (m, 3, 3) triangles."""
    chance = np.random.default_rng(seed)
    weights = chance.dirichlet(np.ones(3), count)
    return np.einsum("nk,nkd->nd", weights, corners[chance.integers(0, len(corners), count)])


@pytest.mark.parametrize("name", SAMPLES)
@pytest.mark.parametrize("within", [0.0, 0.01, 0.05])
def test_every_solid_is_closed_and_faces_outwards(name, within):
    assert_sound(solid_of(SAMPLES[name](), within=within))


@pytest.mark.parametrize(
    ("piece", "holes", "skins"), [(LID, 0, 1), (POST, 0, 1), (TUBE, 1, 1), (CUP, 0, 1), (WAIST, 1, 1), (RATTLE, 0, 2)]
)
def test_the_number_of_holes_and_shells_is_right_for_bore_cup_and_closed_hollow(piece, holes, skins):
    """Euler and Poincare: corners - edges + triangles = 2 (skins - holes)."""
    solid = solid_of(carved(piece, 0.5, wave_rings if piece is LID else flutes))
    assert mesh_of(solid).euler_number == 2 * (skins - holes)
    assert len(manifold_of(solid.vertices, solid.faces).decompose()) == skins


def test_a_disc_is_a_prism_minus_the_volume_above_the_triangles_of_the_grid():
    carving = carved(GROOVED, 0.25, lambda stock: ball(polar(stock)[0] - RING, 1.5, 0.5))
    solid, step = solid_of(carving, within=0), carving.stock.row_step
    depth = carving.depth.astype(np.float64)
    a, b, c, d = depth[:-1, :-1], depth[:-1, 1:], depth[1:, :-1], depth[1:, 1:]
    even = np.indices(a.shape).sum(axis=0) % 2 == 0
    taken = step**2 / 6 * np.where(even, 2 * (a + d) + b + c, 2 * (b + c) + a + d).sum()
    assert solid.volume == pytest.approx(prism(solid, GROOVED) - taken, rel=1e-12)


@pytest.mark.parametrize("resolution", [0.2, 0.1, 0.05])
@pytest.mark.parametrize(
    ("depth", "volume", "slope"),
    [
        (lambda away: ball(away, 1.5, 1.5), 444.132198049, None),
        (lambda away: ball(away, 1.5, 0.5), 97.310269475, math.sqrt(1.25)),
        (lambda away: vee(away, 0.3, 0.3), 11.309733553, 1.0),
    ],
    ids=["half torus", "ball", "vee"],
)
def test_a_ring_removes_the_volume_of_pappus_theorem_within_the_grid_error(depth, volume, slope, resolution):
    """Pappus's second theorem: 2 pi R times the area of the groove's outline.

    Flat between rays h apart, along any line, a curve whose slope changes by T in all is missed by T h^2 / 8 at the most (the
    error of the trapezium rule); slopes rise to the side's, fall to its opposite, and rise again, and h is a diagonal. A side
    that stands upright is missed by a step times its depth one step in. A ring meets the grid's lines at every part of a step,
    and averaged over those the error is as nothing, since the slope ends as it began: a fiftieth of the bound is allowed.
    """
    h = resolution
    bound = 2 * math.pi * RING * (slope * h**2 if slope else 2 * h * math.sqrt(2 * 1.5 * h))
    assert abs(removed(lambda stock: depth(polar(stock)[0] - RING), h) - volume) <= bound / 50


def test_a_dish_removes_a_cone():
    """Euclid, Elements XII.10: a cone is a third of its cylinder; the bound as above, round the dish and at its middle."""
    taken = removed(lambda stock: vee(polar(stock)[0], 25.0, 2.0), 0.1)
    assert taken == pytest.approx(math.pi * 25**2 * 2 / 3, abs=2 * math.pi * 25 * 2 / 25 * 0.1**2)


@pytest.mark.parametrize(
    ("piece", "volume"), [(POST, math.pi * 20**2 * 30), (Turned(profile=((0.0, 20.0), (-30.0, 20.0))), math.pi * 20**2 * 30)]
)
def test_round_work_that_is_not_cut_is_a_many_sided_cylinder(piece, volume):
    carving = carved(piece, 0.5, uncut)
    sides = carving.stock.columns
    assert solid_of(carving, within=0).volume == pytest.approx(volume * polygon(sides, 1.0) / math.pi, rel=1e-12)


def test_a_turned_cone_is_a_frustum():
    """Heron, Metrica II: a frustum is pi h (R^2 + R r + r^2) / 3."""
    carving = carved(Turned(profile=((0.0, 12.0), (-30.0, 20.0))), 0.5, uncut)
    volume = math.pi * 30 * (12**2 + 12 * 20 + 20**2) / 3
    assert solid_of(carving, within=0).volume == pytest.approx(volume * polygon(carving.stock.columns, 1.0) / math.pi, rel=1e-12)


def test_a_bore_removes_its_cylinder():
    solid = solid_of(carved(TUBE, 0.5, uncut), within=0)
    whole = solid_of(carved(Barrel(diameter=50.0, length=60.0), 0.5, uncut), within=0)
    bore = math.pi * 21**2 * 60
    assert bore - 2 * math.pi * 21 * 60 * 0.005 <= whole.volume - solid.volume <= bore


def test_a_cups_hollow_ends_flat_inside():
    """A frustum's volume as above: the hollow's wall is straight, from 10 mm at its mouth to 6 mm, 20 mm down."""
    cup = Turned(profile=((0.0, 15.0), (-30.0, 15.0)), hollow=((0.0, 10.0), (-20.0, 6.0)))
    solid = solid_of(carved(cup, 0.5, uncut), within=0)
    whole = solid_of(carved(replace(cup, hollow=()), 0.5, uncut), within=0)
    hollow = math.pi * 20 * (10**2 + 10 * 6 + 6**2) / 3
    assert hollow * (1 - 2 * 0.005 / 6) <= whole.volume - solid.volume <= hollow
    assert (solid.vertices[:, 2] == -20.0).any()


@pytest.mark.parametrize("resolution", [0.2, 0.1])
def test_a_ring_round_a_barrel_removes_the_volume_of_pappus_theorem_within_the_grid_error(resolution):
    """Pappus's second theorem, the outline's middle a third of its depth down; many-sided as the barrel; bound as above."""
    groove = lambda stock: vee(stock.row_positions[:, None] - 15.0, 0.9, 0.9) + 0 * stock.column_positions  # noqa: E731
    cut, whole = (solid_of(carved(POST, resolution, depth), within=0).volume for depth in (groove, uncut))
    sides = stock_of(POST, resolution).columns
    volume = 2 * math.pi * (20 - 0.3) * 0.9 * 0.9 * polygon(sides, 1.0) / math.pi
    assert abs(whole - cut - volume) <= 2 * math.pi * 20 * resolution**2 / 2


def test_a_helix_round_a_barrel_crosses_angle_0_and_removes_its_closed_form_volume():
    """2 pi turns (R - d/3) w d, the outline in the plane of the axis; bound as above."""
    pitch, turns, w, d = 6.0, 2, 0.6, 0.6

    def groove(stock):
        begin = 9.0 + pitch * stock.column_positions / (2 * math.pi)
        starts = np.arange(turns)[:, None, None] * pitch + begin
        return vee(stock.row_positions[:, None] - starts, w, d).max(axis=0)

    cut, whole = (solid_of(carved(POST, 0.1, depth), within=0).volume for depth in (groove, uncut))
    assert abs(whole - cut - 2 * math.pi * turns * (20 - d / 3) * w * d) <= 2 * math.pi * turns * 20 * 0.1**2


def test_the_solid_of_a_carved_job_lacks_the_removed_volume():
    ring = Pass(name="ring", at=At(x=RING, depth=0.5))
    job = Job(lathe=read_lathe("plain-bench"), piece=GROOVED, cutter=Ball(radius=1.5), passes=[ring], title="Tide box, lid")
    carving = job.carve(0.25, backend="plain")
    solid = solid_of(carving)
    assert_sound(solid)
    assert solid.title == "Tide box, lid"
    assert abs(prism(solid, GROOVED) - solid.volume - carving.volume) <= 0.01 * 2 * math.pi * RING * 3
    assert abs(prism(solid, GROOVED) - solid_of(carving, within=0).volume - carving.volume) <= 1e-3 * carving.volume


@pytest.mark.parametrize("within", [0.005, 0.02, 0.1])
def test_the_mesh_of_a_face_stays_within_its_stated_error(within):
    carving = carved(Disc(diameter=10.0, thickness=5.0), 0.2, wave_rings)
    full, solid = solid_of(carving, within=0), solid_of(carving, within=within)
    chance = np.random.default_rng(1)
    angle, away = chance.uniform(0, 2 * np.pi, 500), 4.95 * np.sqrt(chance.uniform(0, 1, 500))
    at = np.concatenate(
        [
            np.stack([away * np.cos(angle), away * np.sin(angle)], axis=-1),
            full.vertices[np.hypot(*full.vertices[:, :2].T) < 4.9, :2],
        ]
    )
    off = np.abs(face_heights(solid, at) - face_heights(full, at))
    assert len(solid.faces) < len(full.faces)
    assert off.max() == pytest.approx(solid.left_out, abs=LEVEL)
    assert 0 < solid.left_out <= within
    assert abs(solid.volume - full.volume) <= within * math.pi * 5**2


@pytest.mark.parametrize("piece", [Barrel(diameter=12.0, length=8.0), Turned(profile=((0.0, 5.0), (-4.0, 6.0), (-8.0, 4.0)))])
def test_the_mesh_of_a_side_stays_within_its_stated_error(piece):
    carving = carved(
        piece, 0.2, lambda stock: ball(stock.row_positions[:, None] - 3 - np.cos(3 * stock.column_positions), 1.0, 0.4)
    )
    full, solid = solid_of(carving, within=0), solid_of(carving, within=0.02)
    assert len(solid.faces) < len(full.faces) / 2
    there = distance(solid, np.concatenate([spread(full.vertices[full.faces], 60), full.vertices[:: len(full.vertices) // 100]]))
    back = distance(full, spread(solid.vertices[solid.faces], 100))
    assert max(there.max(), back.max()) <= solid.left_out + LEVEL <= 0.02 + 2 * LEVEL
    assert there.max() > 0.005


def test_without_simplification_every_ray_is_a_vertex():
    carving = carved(GROOVED, 0.5, lambda stock: ball(polar(stock)[0] - RING, 1.5, 0.5))
    away = polar(carving.stock)[0]
    row, column = np.nonzero(away < 30 - 2 * 0.5)
    rays = np.stack(
        [carving.stock.column_positions[column], carving.stock.row_positions[row], -carving.depth[row, column]], axis=-1
    )
    corners = {tuple(corner) for corner in solid_of(carving, within=0).vertices}
    assert {tuple(ray) for ray in rays} <= corners


@given(size=st.floats(5.0, 80.0), parts=st.floats(4.0, 60.0))
def test_the_edge_lies_on_its_circle_and_no_triangle_is_a_sliver(size, parts):
    piece = Disc(diameter=size, thickness=5.0)
    carving = carved(piece, size / parts, uncut)
    solid, step = solid_of(carving, within=0), carving.stock.row_step
    edge = np.hypot(*solid.vertices[:, :2].T) > size / 2 - 0.4 * step
    assert np.hypot(*solid.vertices[edge, :2].T) == pytest.approx(size / 2, rel=1e-12)
    corners = solid.vertices[solid.faces]
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=-1)
    face = (corners[:, :, 2] > -2.5).all(axis=1)
    width = 2 * mesh_of(solid).area_faces[face] / sides[face].max(axis=1)
    assert width.min() > 0.2 * min(step, sides[face].min())


def test_a_groove_that_runs_off_the_edge_keeps_its_depth_there():
    """A level flute across the whole face, cut into a disc of 70 mm: a wedge of the edge's own roundness."""
    solid = solid_of(
        carved(
            LID,
            0.1,
            lambda stock: np.where(stock.inside, vee(stock.row_positions[:, None], 4.0, 2.0) + 0 * stock.column_positions, 0),
        )
    )
    rim = solid.vertices[(np.hypot(*solid.vertices[:, :2].T) > 34.99) & (solid.vertices[:, 2] > -7.9)]
    assert -rim[:, 2] == pytest.approx(vee(rim[:, 1], 4.0, 2.0), abs=0.06)
    assert -rim[:, 2].min() == pytest.approx(2.0, abs=0.06)


@given(st.data())
def test_any_depths_give_a_valid_mesh_of_a_face(data):
    piece = Disc(diameter=data.draw(st.floats(4.0, 40.0)), thickness=3.0)
    stock = stock_of(piece, piece.diameter / data.draw(st.integers(4, 30)))
    depth = data.draw(
        arrays(np.float32, stock.shape, elements=st.sampled_from([0.0, 0.0, 1e-6, 0.1, 1.0, 2.99]), fill=st.just(0.0))
    )
    carving = Carving(title="", piece=piece, stock=stock, depth=depth, sweeps=())
    before = depth.copy()
    solid = solid_of(carving, within=data.draw(st.sampled_from([0.0, 0.001, 0.01, 0.1])))
    assert_closed(solid)
    assert solid.left_out <= solid.within + LEVEL
    assert solid.vertices[:, 2].max() <= 0
    assert (depth == before).all()


@given(st.data())
def test_any_depths_give_a_valid_mesh_of_a_side(data):
    piece = data.draw(
        st.sampled_from([Barrel(diameter=20.0, length=12.0), Barrel(diameter=20.0, length=12.0, bore=15.0), CUP, WAIST, RATTLE])
    )
    stock = stock_of(piece, data.draw(st.floats(1.5, 3.0)))
    depth = data.draw(arrays(np.float32, stock.shape, elements=st.sampled_from([0.0, 0.0, 1e-6, 0.1, 1.0]), fill=st.just(0.0)))
    solid = solid_of(
        Carving(title="", piece=piece, stock=stock, depth=depth, sweeps=()),
        within=data.draw(st.sampled_from([0.0, 0.001, 0.01, 0.1])),
    )
    assert_closed(solid)
    assert solid.left_out <= solid.within + LEVEL
    assert solid.vertices[:, 2].max() == stock.profile[0, 1]
    assert solid.vertices[:, 2].min() == stock.profile[-1, 1]


def test_depths_outside_a_disc_are_ignored():
    carving = carved(LID, 0.5, wave_rings)
    noisy = np.where(carving.stock.inside, carving.depth, np.float32(99.0))
    assert (solid_of(carving).vertices == solid_of(replace(carving, depth=noisy)).vertices).all()


def test_a_wall_thinner_than_the_allowance_is_not_pierced():
    depth = lambda stock: np.where(np.indices(stock.shape).sum(axis=0) % 7 < 4, 4.995, 4.9)  # noqa: E731
    solid = solid_of(carved(GROOVED, 1.0, depth), within=0.2)
    floor = solid.vertices[:, 2][np.hypot(*solid.vertices[:, :2].T) < 25]
    assert_closed(solid)
    assert solid.left_out <= 0.0025 + LEVEL
    assert np.unique(floor.astype(np.float32)).tolist() == np.sort(np.float32([-5.0, -4.995, -4.9])).tolist()


def test_a_flute_that_runs_off_a_flaring_end_stops_in_its_plane():
    """A cone that widens by one in one towards its end: 0.7 mm across its side is 0.5 mm along Z, and 0.5 mm in."""
    flare = Turned(profile=((0.0, 20.0), (-10.0, 10.0)))
    solid = solid_of(carved(flare, 0.25, lambda stock: np.full(stock.shape, math.sqrt(0.5))), within=0)
    mouth = solid.vertices[(solid.vertices[:, 2] == 0.0) & (np.hypot(*solid.vertices[:, :2].T) > 1)]
    assert np.hypot(*mouth[:, :2].T) == pytest.approx(19.0, abs=1e-7)
    assert_closed(solid)


def test_a_flute_that_runs_off_a_narrowing_end_continues_along_the_axis():
    taper = Turned(profile=((0.0, 10.0), (-10.0, 20.0)))
    solid = solid_of(carved(taper, 0.25, lambda stock: np.full(stock.shape, math.sqrt(0.5))), within=0)
    mouth = solid.vertices[(solid.vertices[:, 2] == 0.0) & (np.hypot(*solid.vertices[:, :2].T) > 1)]
    assert np.hypot(*mouth[:, :2].T) == pytest.approx(9.5, abs=1e-7)
    assert_closed(solid)


def test_work_that_ends_in_a_point_is_closed_there():
    stock, piece = pointed()
    solid = solid_of(Carving(title="", piece=piece, stock=stock, depth=stock.uncut(), sweeps=()), within=0)
    assert solid.volume == pytest.approx(20 / 3 * polygon(stock.columns, 10.0), rel=1e-12)
    assert mesh_of(solid).euler_number == 2


@pytest.mark.parametrize(
    ("piece", "resolution", "depth", "message"),
    [
        (
            GROOVED,
            0.5,
            lambda s: vee(polar(s)[0] - RING, 1, 6),
            r"depth=6: at x .*, y .* mm the cut goes through to the back, 5 mm below the face",
        ),
        (
            TUBE,
            0.5,
            lambda s: vee(s.row_positions[:, None] - 30, 5, 5) + 0 * s.column_positions,
            r"depth=5: at z -30.000 mm, 0.00 deg .* hollow, 4 mm under",
        ),
        (
            POST,
            0.5,
            lambda s: vee(s.row_positions[:, None] - 15, 21, 21) + 0 * s.column_positions,
            r"depth=21: at z -15.000 mm, 0.00 deg .* the axis",
        ),
        (CUP, 0.5, lambda s: np.full(s.shape, 5.0), r"at z .* goes through to the hollow, .* mm under the surface"),
        (Barrel(diameter=50.0, length=60.0, bore=49.9), 5.0, uncut, r"resolution=5: .* carve at a finer resolution"),
        (
            Turned(profile=((0.0, 3.0), (-2.0, 6.0), (-4.0, 3.0))),
            0.1,
            lambda s: np.full(s.shape, 2.9),
            r"depth=2.9: the cuts at z .* and z .* meet under the surface",
        ),
    ],
    ids=["back", "bore", "axis", "hollow", "coarse", "meeting"],
)
def test_an_impossible_solid_is_refused_in_one_line_with_the_place(piece, resolution, depth, message):
    with pytest.raises(SettingError, match=message) as caught:
        solid_of(carved(piece, resolution, depth))
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("within", [0.0, 0.3])
def test_cuts_from_both_sides_of_a_rim_are_accepted_until_they_meet(within):
    """The rim is 2 mm thick and its sides level, so rays from above and from below face each other."""
    stock, piece = flange(0.25)
    level = (np.abs(stock.profile[:, 3]) > 0.99)[:, None] & (np.abs(stock.profile[:, 0] - 12) < 3)[:, None]
    holed = level & (stock.row_positions[:, None] % 0.5 < 0.3) & (stock.column_positions % 0.5 < 0.25)
    thin, through = (np.where(holed, deep, 0.0).astype(np.float32) for deep in (0.99, 1.01))
    assert_closed(solid_of(Carving(title="", piece=piece, stock=stock, depth=thin, sweeps=()), within=within))
    with pytest.raises(SettingError, match=r"depth=1.01: the cuts at z -4.* and z -6.* meet under the surface"):
        solid_of(Carving(title="", piece=piece, stock=stock, depth=through, sweeps=()), within=within)


def test_a_cut_into_the_flat_bottom_of_a_hollow_is_refused():
    """The rays of a foot that tapers below the hollow go up into its flat bottom, not into its wall."""
    cup = Turned(profile=((0.0, 20.0), (-20.0, 20.0), (-26.0, 8.0)), hollow=((0.0, 16.0), (-18.0, 15.0)))
    foot = lambda stock: np.where(stock.row_positions[:, None] > 27, 8.0, 0.0) + 0 * stock.column_positions  # noqa: E731
    with pytest.raises(SettingError, match="goes through to the hollow"):
        solid_of(carved(cup, 0.5, foot))


@pytest.mark.parametrize(
    "hollow", [((0.0, 9.0), (-4.0, 0.1), (-8.0, 0.1), (-12.0, 9.0)), ((-2.0, 5.0), (-2.5, 0.5), (-30.0, 10.0))]
)
def test_a_hollow_with_an_invalid_smooth_curve_is_refused(hollow):
    with pytest.raises(SettingError, match="hollow"):
        solid_of(carved(Turned(profile=((0.0, 20.0), (-40.0, 20.0)), hollow=hollow), 1.0, uncut))


@pytest.mark.parametrize("within", [-0.01, 1.0, math.nan, math.inf])
def test_an_allowance_that_is_not_a_small_part_of_the_work_is_refused(within):
    with pytest.raises(SettingError, match=r"within=.*: must be zero or more and at most 0.4 mm"):
        solid_of(carved(LID, 1.0, uncut), within=within)


def test_an_unknown_inner_shape_is_refused():
    stock, piece = pointed()
    tube = Round(length=stock.surface.length, profile=stock.surface.profile, wall=lambda s: 0.01 * s, straight=False)
    odd = replace(stock, surface=tube)
    with pytest.raises(SettingError, match=r"piece.form='finial': the shape of the inside is not known"):
        solid_of(Carving(title="", piece=piece, stock=odd, depth=odd.uncut(), sweeps=()))


@pytest.mark.parametrize(("within", "advice"), [(0.01, "coarser resolution$"), (0.0, "set within above zero$")])
def test_more_rays_than_memory_may_hold_are_refused(within, advice):
    carving = carved(LID, 1.0, uncut)
    vast = np.broadcast_to(np.float32(0.0), (10_000, 10_000))
    with pytest.raises(TooLargeError, match=advice):
        solid_of(replace(carving, depth=vast), within=within)


def test_vertices_equal_in_single_precision_are_merged_and_degenerate_triangles_removed():
    box = trimesh.creation.box(extents=(10.0, 10.0, 10.0))
    a, b, c = box.faces[0]
    corners = np.vstack([box.vertices, box.vertices[a] * (1 - 1e-9)])
    extra = len(box.vertices)
    faces = np.vstack([np.where(box.faces[:1] == a, extra, box.faces[:1]), box.faces[1:], [[a, b, extra], [a, extra, c]]])
    split = Solid(vertices=corners, faces=faces.astype(np.int32))
    assert mesh_of(split).is_watertight
    vertices, facets = split.rounded()
    assert (len(vertices), len(facets)) == (8, 12)
    assert trimesh.Trimesh(vertices, facets, process=False).is_volume
