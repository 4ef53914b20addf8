"""Writing 3MF: new triangles, and everything else as it was.

What is written is read with lib3mf itself, apart from the code under test.
"""

from __future__ import annotations

import zipfile

import lib3mf
import numpy as np
import pytest
from test_files_samples import (
    BOX,
    BOX_FACES,
    BOX_POINTS,
    BOX_VOLUME,
    SHARED,
    about_z,
    add_mesh,
    mesh_objects,
    new_model,
    opened,
    packed_stl,
    saved,
    spelled_stl,
    transform,
)

from meshcomp.errors import PartFileError
from meshcomp.files import read_part, write_part
from meshcomp.files.threemf_writing import replace_meshes
from meshcomp.meshes import Mesh

SHOP = SHARED / "shop"
SHOP_FILES = ["shop-counterxp.3mf", "shop-featuretype.3mf"]
MODEL = "3D/3dmodel.model"
TRIANGLES = np.arange(12)


def corners_of(mesh):
    """Corners of a mesh object of lib3mf, (m, 3, 3)."""
    points = np.array([list(p.Coordinates) for p in mesh.GetVertices()])
    return points[np.array([list(t.Indices) for t in mesh.GetTriangleIndices()])]


def entries_of(path):
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def rich_file(path):
    """Build a file with metadata, materials, a picture, components and a spare object."""
    model = new_model("Inch")
    model.GetMetaDataGroup().AddMetaData("", "Title", "filter changer", "xs:string", True)
    material = model.AddBaseMaterialGroup()
    index = material.AddMaterial("PLA", lib3mf.Color(10, 20, 30, 255))
    block = add_mesh(model, name="block")
    block.SetObjectLevelProperty(material.GetResourceID(), index)
    block.SetPartNumber("FC-12")
    whole = model.AddComponentsObject()
    whole.AddComponent(block, transform(about_z(30), (5, 0, 0)))
    mirrored = add_mesh(model, BOX_POINTS[:, [1, 2, 0]], BOX_FACES, name="key")
    add_mesh(model, BOX_POINTS * 3, name="spare")
    model.AddBuildItem(whole, transform(shift=(1, 2, 3)))
    model.AddBuildItem(mirrored, transform(np.diag([1, -2.0, 1])))
    saved(model, path)
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("Metadata/other program.txt", "settings of another program")
        archive.writestr("Metadata/thumbnail.png", b"\x89PNG made up")
    return path


@pytest.fixture
def rich(tmp_path):
    return rich_file(tmp_path / "rich.3mf")


def test_an_untouched_part_has_the_same_numbers_in_the_same_places(rich, tmp_path):
    write_part(read_part(rich), tmp_path / "again.3mf")
    before, after = opened(rich), opened(tmp_path / "again.3mf")
    pairs = zip(mesh_objects(before), mesh_objects(after), strict=True)
    for old, new in pairs:
        assert new.GetName() == old.GetName()
        assert np.array_equal(corners_of(new), corners_of(old))


def test_reading_again_gives_the_same_part(rich, tmp_path):
    part = read_part(rich)
    write_part(part, tmp_path / "again.3mf")
    again = read_part(tmp_path / "again.3mf")
    assert np.array_equal(again.mesh.corners, part.mesh.corners)
    assert np.array_equal(again.piece_of_face, part.piece_of_face)
    assert [p.name for p in again.pieces] == [p.name for p in part.pieces]
    assert again.source.unit == "inch"


def test_all_entries_but_the_model_are_the_same_bytes(rich, tmp_path):
    write_part(read_part(rich), tmp_path / "again.3mf")
    before, after = entries_of(rich), entries_of(tmp_path / "again.3mf")
    assert list(before) == list(after)
    del before[MODEL], after[MODEL]
    assert before == after


def test_all_of_the_model_but_the_meshes_is_the_same_text(rich, tmp_path):
    write_part(read_part(rich), tmp_path / "again.3mf")

    def without_meshes(path):
        text = entries_of(path)[MODEL]
        for name in (b"block", b"key"):
            object_ = text.index(b'name="' + name)
            start = text.index(b"<mesh>", object_) + len(b"<mesh>")
            text = text[:start] + text[text.index(b"</mesh>", object_) :]
        return text

    assert without_meshes(tmp_path / "again.3mf") == without_meshes(rich)
    assert b"FC-12" in without_meshes(rich)


def test_lib3mf_finds_everything_that_was_kept(rich, tmp_path):
    write_part(read_part(rich), tmp_path / "again.3mf")
    model = opened(tmp_path / "again.3mf")
    assert model.GetUnit() == lib3mf.ModelUnit.Inch
    assert model.GetMetaDataGroup().GetMetaData(0).GetValue() == "filter changer"
    block, key, spare = mesh_objects(model)
    assert [m.GetName() for m in (block, key, spare)] == ["block", "key", "spare"]
    assert block.GetPartNumber() == "FC-12"
    resource, index, has_property = block.GetObjectLevelProperty()
    assert has_property
    group = model.GetBaseMaterialGroupByID(resource)
    assert group.GetName(index) == "PLA"
    assert np.array_equal(corners_of(spare), BOX * 3)
    items = model.GetBuildItems()
    assert items.Count() == 2


def test_a_changed_mesh_is_written_with_its_transform_undone(rich, tmp_path):
    part = read_part(rich)
    # One millimetre longer along X: 1 / 25.4 in the file's inches.
    is_far = part.mesh.vertices[:, 0] > part.mesh.bounds.mean(axis=0)[0]
    moved = part.mesh.vertices + np.outer(is_far, (1.0, 0, 0))
    changed = part.with_mesh(part.mesh.moved(moved), np.arange(len(part.mesh.faces)))
    write_part(changed, tmp_path / "changed.3mf")
    again = read_part(tmp_path / "changed.3mf")
    assert again.mesh.corners == pytest.approx(changed.mesh.corners, abs=2e-4)
    assert again.mesh.volume == pytest.approx(changed.mesh.volume, rel=1e-6)


def test_a_mirrored_object_is_written_as_it_was_drawn(rich, tmp_path):
    part = read_part(rich)
    assert part.mesh.volume == pytest.approx(3 * BOX_VOLUME * 25.4**3, rel=1e-6)
    write_part(part, tmp_path / "again.3mf")
    key = mesh_objects(opened(tmp_path / "again.3mf"))[1]
    assert np.array_equal(corners_of(key), BOX[:, :, [1, 2, 0]])


def test_new_triangles_go_into_the_object_they_come_from(rich, tmp_path):
    part = read_part(rich)
    # Only the key is left, its faces in another order.
    mesh = Mesh(part.mesh.vertices, part.mesh.faces[12:][::-1])
    write_part(part.with_mesh(mesh, np.arange(12, 24)[::-1]), tmp_path / "key.3mf")
    block, key, _ = mesh_objects(opened(tmp_path / "key.3mf"))
    assert np.array_equal(corners_of(key), BOX[::-1][:, :, [1, 2, 0]])
    assert np.array_equal(corners_of(block), BOX)


@pytest.mark.parametrize("up", ["+Z", "-Z", "+X", "-X", "+Y", "-Y"])
def test_the_stand_is_undone(up, rich, tmp_path):
    write_part(read_part(rich, up=up), tmp_path / "again.3mf")
    for old, new in zip(
        mesh_objects(opened(rich)),
        mesh_objects(opened(tmp_path / "again.3mf")),
        strict=True,
    ):
        assert np.array_equal(corners_of(new), corners_of(old))


def test_writing_twice_gives_the_same_bytes(rich, tmp_path):
    part = read_part(rich)
    write_part(part, tmp_path / "one.3mf")
    write_part(part, tmp_path / "two.3mf")
    assert (tmp_path / "one.3mf").read_bytes() == (tmp_path / "two.3mf").read_bytes()


def test_a_unit_asked_for_is_written_so_that_the_size_stays(rich, tmp_path):
    part = read_part(rich, unit="cm")
    write_part(part, tmp_path / "again.3mf")
    assert opened(tmp_path / "again.3mf").GetUnit() == lib3mf.ModelUnit.CentiMeter
    again = read_part(tmp_path / "again.3mf")
    assert np.array_equal(again.mesh.corners, part.mesh.corners)


def test_a_unit_asked_for_is_added_where_the_file_says_none(tmp_path):
    path = tmp_path / "block.3mf"
    model = new_model()
    model.AddBuildItem(add_mesh(model), transform())
    saved(model, path)
    entries = entries_of(path)
    entries[MODEL] = entries[MODEL].replace(b' unit="millimeter"', b"")
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in entries.items():
            archive.writestr(name, content)
    write_part(read_part(path, unit="inch"), tmp_path / "again.3mf")
    assert opened(tmp_path / "again.3mf").GetUnit() == lib3mf.ModelUnit.Inch


def test_what_hangs_on_the_old_vertices_is_dropped_with_a_question(tmp_path):
    path = tmp_path / "block.3mf"
    model = new_model()
    mesh = add_mesh(model, name="block")
    lattice = mesh.BeamLattice()
    lattice.SetMinLength(0.01)
    beam = lib3mf.Beam()
    beam.Indices[0], beam.Indices[1] = 0, 7
    beam.Radii[0] = beam.Radii[1] = 0.5
    lattice.AddBeam(beam)
    mesh.AddTriangleSet("top", "top faces").SetTriangleList([0, 1])
    model.AddBuildItem(mesh, transform())
    part = read_part(saved(model, path))
    assert part.source.questions == (
        "object 'block': its beam lattice is not kept",
        "object 'block': its sets of triangles are not kept",
    )
    write_part(part, tmp_path / "again.3mf")
    (again,) = mesh_objects(opened(tmp_path / "again.3mf"))
    assert np.array_equal(corners_of(again), BOX)
    assert again.BeamLattice().GetBeamCount() == 0
    assert again.GetTriangleSetCount() == 0


def test_a_prefix_of_the_core_tags_is_kept(tmp_path):
    path = tmp_path / "block.3mf"
    model = new_model()
    model.AddBuildItem(add_mesh(model), transform())
    saved(model, path)
    entries = entries_of(path)
    text = entries[MODEL].replace(b"xmlns=", b"xmlns:core=")
    for tag in (b"model", b"resources", b"object", b"mesh", b"vertices", b"vertex"):
        text = text.replace(b"<" + tag, b"<core:" + tag).replace(
            b"</" + tag, b"</core:" + tag
        )
    for tag in (b"triangles", b"build", b"item"):
        text = text.replace(b"<" + tag, b"<core:" + tag).replace(
            b"</" + tag, b"</core:" + tag
        )
    entries[MODEL] = text.replace(b"<triangle ", b"<core:triangle ")
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in entries.items():
            archive.writestr(name, content)
    write_part(read_part(path), tmp_path / "again.3mf")
    (again,) = mesh_objects(opened(tmp_path / "again.3mf"))
    assert np.array_equal(corners_of(again), BOX)


def test_objects_in_other_files_of_the_package_are_written_there(tmp_path):
    path = tmp_path / "block.3mf"
    model = new_model()
    near, far = add_mesh(model, name="near"), add_mesh(model, BOX_POINTS * 2, name="far")
    far.SetPackagePart(model.FindOrCreatePackagePart("/3D/Objects/far.model"))
    model.AddBuildItem(near, transform())
    model.AddBuildItem(far, transform(shift=(50, 0, 0)))
    part = read_part(saved(model, path))
    longer = part.mesh.vertices * (1, 1, 1.5)
    write_part(part.with_mesh(part.mesh.moved(longer), np.arange(24)), tmp_path / "b.3mf")
    after = entries_of(tmp_path / "b.3mf")
    assert list(after) == list(entries_of(path))
    found = {m.GetName(): corners_of(m) for m in mesh_objects(opened(tmp_path / "b.3mf"))}
    assert np.array_equal(found["near"], BOX * (1, 1, 1.5))
    assert np.array_equal(found["far"], 2 * BOX * (1, 1, 1.5))


def test_an_object_that_is_not_in_its_model_is_refused(rich):
    data = rich.read_bytes()
    with pytest.raises(KeyError):
        replace_meshes(data, {99: (BOX_POINTS, BOX_FACES)}, None, "rich.3mf")


def test_text_files_become_one_object_for_each_solid(tmp_path):
    (tmp_path / "kit.stl").write_bytes(
        spelled_stl(BOX, 'pin "block" <1>') + spelled_stl(BOX + 50, "Schlüssel")
    )
    write_part(read_part(tmp_path / "kit.stl"), tmp_path / "kit.3mf")
    model = opened(tmp_path / "kit.3mf")
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    first, second = mesh_objects(model)
    assert [first.GetName(), second.GetName()] == ['pin "block" <1>', "Schlüssel"]
    assert np.array_equal(corners_of(first), BOX)
    assert np.array_equal(corners_of(second), BOX + 50)
    assert first.IsManifoldAndOriented()
    assert model.GetBuildItems().Count() == 2


def test_a_part_read_in_inches_is_a_model_in_inches(tmp_path):
    (tmp_path / "block.stl").write_bytes(packed_stl(BOX))
    part = read_part(tmp_path / "block.stl", unit="inch", up="-X")
    write_part(part, tmp_path / "block.3mf")
    model = opened(tmp_path / "block.3mf")
    assert model.GetUnit() == lib3mf.ModelUnit.Inch
    assert np.array_equal(corners_of(mesh_objects(model)[0]), BOX)
    assert read_part(tmp_path / "block.3mf").mesh.volume == pytest.approx(
        BOX_VOLUME * 25.4**3, rel=1e-12
    )


def test_a_new_file_keeps_32_bits_of_each_number(tmp_path):
    corners = np.float32(BOX / 3 + 1e-3).astype(float)
    (tmp_path / "block.stl").write_bytes(packed_stl(corners))
    write_part(read_part(tmp_path / "block.stl"), tmp_path / "block.3mf")
    (mesh,) = mesh_objects(opened(tmp_path / "block.3mf"))
    assert np.array_equal(corners_of(mesh), corners)


def test_a_name_with_control_characters_gives_sound_xml(tmp_path):
    (tmp_path / "block.stl").write_bytes(spelled_stl(BOX, "pin\x01block\x0b"))
    write_part(read_part(tmp_path / "block.stl"), tmp_path / "block.3mf")
    assert read_part(tmp_path / "block.3mf").pieces[0].name == "pin block"


@pytest.mark.skipif(not SHOP.exists(), reason="no shared data")
@pytest.mark.parametrize("name", SHOP_FILES)
def test_a_real_file_is_written_and_read_with_the_same_numbers(name, tmp_path):
    part = read_part(SHOP / name)
    write_part(part, tmp_path / "again.3mf")
    again = read_part(tmp_path / "again.3mf")
    # Zeros that the file spells as 1e-17 come back as zeros; all else is the same.
    assert np.abs(again.mesh.corners - part.mesh.corners).max() < 1e-12
    before, after = entries_of(SHOP / name), entries_of(tmp_path / "again.3mf")
    assert {k: v for k, v in before.items() if k != MODEL} == {
        k: v for k, v in after.items() if k != MODEL
    }


@pytest.mark.skipif(not SHOP.exists(), reason="no shared data")
@pytest.mark.parametrize("name", SHOP_FILES)
def test_a_real_file_written_as_stl_has_the_same_bounds_and_volume(name, tmp_path):
    part = read_part(SHOP / name)
    write_part(part, tmp_path / "again.stl")
    again = read_part(tmp_path / "again.stl", unit=part.source.unit)
    assert again.mesh.bounds == pytest.approx(part.mesh.bounds, abs=1e-4)
    assert again.mesh.volume == pytest.approx(part.mesh.volume, rel=1e-5)


def test_a_piece_without_an_object_is_refused(rich, tmp_path):
    from dataclasses import replace

    part = read_part(rich)
    pieces = tuple(replace(piece, resource=None) for piece in part.pieces)
    with pytest.raises(PartFileError, match="piece 'block' has no object in the 3MF file"):
        write_part(replace(part, pieces=pieces), tmp_path / "again.3mf")
    assert not (tmp_path / "again.3mf").exists()
