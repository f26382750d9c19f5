"""The 3MF, read by the 3MF Consortium's own library in its strict mode."""

from __future__ import annotations

import io
import zipfile

import lib3mf
import numpy as np
import pytest

from lobework.errors import SettingError
from lobework.render.solid import solid_of
from lobework.targets.threemf import TARGET, render
from tests.solids import GROOVED, LID, SAMPLES, carved, manifold_of, polar, uncut, vee


def opened(file):
    """The model in a file, which must be without a fault or a warning."""
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer(file)
    assert [reader.GetWarning(k) for k in range(reader.GetWarningCount())] == []
    return model


def mesh_in(model):
    """The one mesh of a model."""
    meshes = model.GetMeshObjects()
    assert meshes.Count() == 1
    meshes.MoveNext()
    return meshes.GetCurrentMeshObject()


def corners_of(mesh):
    return np.array([list(corner.Coordinates) for corner in mesh.GetVertices()])


def triangles_of(mesh):
    return np.array([list(triangle.Indices) for triangle in mesh.GetTriangleIndices()])


def title_of(model):
    said = model.GetMetaDataGroup()
    return {said.GetMetaData(k).GetName(): said.GetMetaData(k).GetValue() for k in range(said.GetMetaDataCount())}["Title"]


@pytest.mark.parametrize("name", SAMPLES)
def test_the_reader_of_the_consortium_finds_no_error_and_a_closed_mesh(name):
    mesh = mesh_in(opened(render(SAMPLES[name]())))
    assert mesh.IsManifoldAndOriented()
    assert mesh.IsValid()


def test_every_vertex_and_triangle_is_read_back_exactly():
    carving = SAMPLES["waist"]()
    mesh, (vertices, faces) = mesh_in(opened(render(carving))), solid_of(carving).rounded()
    assert (corners_of(mesh) == vertices).all()
    assert (triangles_of(mesh) == faces).all()
    assert manifold_of(corners_of(mesh), triangles_of(mesh)).volume() == pytest.approx(solid_of(carving).volume, rel=1e-6)


def test_the_unit_is_the_millimetre_and_the_one_object_is_built():
    model = opened(render(SAMPLES["small lid"]()))
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    items = model.GetBuildItems()
    assert items.Count() == 1
    items.MoveNext()
    assert items.GetCurrent().GetObjectResourceID() == mesh_in(model).GetResourceID()
    box = mesh_in(model).GetOutbox()
    assert list(box.MinCoordinate) == [-35.0, -35.0, -8.0]
    assert list(box.MaxCoordinate) == [35.0, 35.0, 0.0]


@pytest.mark.parametrize(
    ("title", "read"),
    [
        ("Tide box, lid", "Tide box, lid"),
        ("<ebb> & 'flow' \"]]>", "<ebb> & 'flow' \"]]>"),
        ("Dose für Ebbe\nund Flut", "Dose für Ebbe und Flut"),
        ("{title} %s", "{title} %s"),
        ("a\x00b\ud800c\ufffe", "a b c"),
        ("", ""),
    ],
)
def test_the_title_is_in_the_file(title, read):
    assert title_of(opened(render(carved(LID, 17.5, uncut, title=title)))) == read


def test_the_same_work_is_the_same_file_with_the_parts_the_standard_names():
    """3MF Core Specification 1.3, chapter 2: the package; the earliest date that a zip can say, so that no clock shows."""
    file = render(SAMPLES["small lid"]())
    assert file == render(SAMPLES["small lid"]())
    entries = zipfile.ZipFile(io.BytesIO(file)).infolist()
    assert [entry.filename for entry in entries] == ["[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model"]
    assert {entry.date_time for entry in entries} == {(1980, 1, 1, 0, 0, 0)}


def test_work_that_is_cut_through_is_refused_and_nothing_is_written():
    with pytest.raises(SettingError, match="goes through to the back"):
        render(carved(GROOVED, 0.5, lambda stock: vee(polar(stock)[0] - 20, 1.0, 6.0)))


def test_the_target_takes_a_carving_and_names_its_file():
    assert (TARGET.name, TARGET.file, TARGET.shows) == ("3mf", "work.3mf", "carving")
    assert TARGET.render(SAMPLES["small lid"]()) == render(SAMPLES["small lid"]())
