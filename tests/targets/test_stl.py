"""The STL, read by trimesh and, byte by byte, by its published layout."""

from __future__ import annotations

import io

import numpy as np
import pytest
import trimesh

from lobework.errors import SettingError
from lobework.render.solid import solid_of
from lobework.targets.stl import TARGET, render
from tests.solids import GROOVED, LID, SAMPLES, carved, polar, uncut, vee

LAYOUT = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
"""M. Burns, Automated Fabrication (1993), 6.5: 80 bytes, a count, then 50 bytes a facet."""


def facets(file):
    return np.frombuffer(file, LAYOUT, offset=84)


@pytest.mark.parametrize("name", SAMPLES)
def test_an_independent_reader_finds_the_solid_closed_with_the_same_volume(name):
    carving = SAMPLES[name]()
    mesh = trimesh.load_mesh(io.BytesIO(render(carving)), file_type="stl")
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(solid_of(carving).volume, rel=1e-6)


def test_the_file_has_the_published_layout():
    file = render(carved(LID, 1.0, uncut, title="Tide box, lid"))
    assert file[:80].rstrip() == b"binary STL, millimetres: Tide box, lid"
    assert not file.lower().startswith(b"solid")
    assert int.from_bytes(file[80:84], "little") == len(facets(file)) == (len(file) - 84) // 50
    assert (facets(file)["attribute"] == 0).all()


def test_normals_have_unit_length_and_follow_the_right_hand_rule():
    each = facets(render(SAMPLES["tube"]()))
    a, b, c = np.moveaxis(each["corners"].astype(np.float64), 1, 0)
    normal = np.cross(b - a, c - a)
    assert np.linalg.norm(each["normal"], axis=1) == pytest.approx(1.0, abs=1e-6)
    assert (each["normal"] * normal).sum(axis=1) == pytest.approx(np.linalg.norm(normal, axis=1), rel=1e-5)


def test_no_facet_has_lost_its_area_to_single_precision():
    corners = facets(render(SAMPLES["finial"]()))["corners"].astype(np.float64)
    assert np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).min() > 0


@pytest.mark.parametrize("title", ["solid as a rock", "", "Dose für Ebbe\nund Flut", "x" * 300, "\ud800"])
def test_no_title_breaks_the_header(title):
    file = render(carved(LID, 17.5, uncut, title=title))
    assert file.startswith(b"binary STL, millimetres:")
    assert b"\n" not in file[:80]
    assert trimesh.load_mesh(io.BytesIO(file), file_type="stl").is_watertight


def test_a_larger_tolerance_gives_a_smaller_file():
    carving = SAMPLES["tube"]()
    assert len(render(carving, within=0.05)) < len(render(carving)) < len(render(carving, within=0.0))


def test_work_that_is_cut_through_is_refused_and_nothing_is_written():
    with pytest.raises(SettingError, match="goes through to the back"):
        render(carved(GROOVED, 0.5, lambda stock: vee(polar(stock)[0] - 20, 1.0, 6.0)))


def test_the_target_takes_a_carving_and_names_its_file():
    assert (TARGET.name, TARGET.file, TARGET.shows) == ("stl", "work.stl", "carving")
    assert TARGET.render(SAMPLES["small lid"]()) == render(SAMPLES["small lid"]())
