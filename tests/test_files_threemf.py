"""Reading 3MF: every file here is made by lib3mf, the 3MF Consortium's own library."""

from __future__ import annotations

import io
import struct
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
    SIDES,
    about_z,
    add_mesh,
    new_model,
    saved,
    transform,
)

from meshcomp.errors import PartFileError
from meshcomp.files import read_part
from meshcomp.files.threemf_writing import new_3mf

SHOP = SHARED / "shop"
MIRROR = np.diag([-1.0, 1.0, 1.0])
LYING = np.array([(1, 0, 0), (0, 0, -1), (0, 1, 0)], float)  # a quarter turn about X


def edited(path, edit, entry="3D/3dmodel.model"):
    """Change the text of one entry of a 3MF file."""
    with zipfile.ZipFile(path) as archive:
        entries = {name: archive.read(name) for name in archive.namelist()}
    entries[entry] = edit(entries[entry])
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in entries.items():
            archive.writestr(name, content)


def built(model, path, *placed):
    """Save a model that builds objects, each with its transform."""
    for mesh, where in placed:
        model.AddBuildItem(mesh, where)
    return saved(model, path)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "block.3mf"


def test_one_object_is_read_as_it_was_written(path):
    model = new_model()
    built(model, path, (add_mesh(model, name="pin block"), transform()))
    part = read_part(path)
    assert np.array_equal(part.mesh.corners, BOX)
    assert [piece.name for piece in part.pieces] == ["pin block"]
    assert (part.source.unit, part.source.unit_origin) == ("mm", "said by the file")
    assert part.source.container == path.read_bytes()
    assert part.source.questions == ()


@pytest.mark.parametrize(
    ("name", "unit", "mm"),
    [
        ("MicroMeter", "micron", 0.001),
        ("MilliMeter", "mm", 1),
        ("CentiMeter", "cm", 10),
        ("Inch", "inch", 25.4),
        ("Foot", "foot", 304.8),
        ("Meter", "m", 1000),
    ],
)
def test_the_unit_of_the_file_is_used(name, unit, mm, path):
    # Source: 3MF Core Specification, units of the model; the inch is 25.4 mm by
    # definition (international yard and pound agreement, 1959).
    model = new_model(name)
    built(model, path, (add_mesh(model), transform(shift=(1, 2, 3))))
    part = read_part(path)
    assert part.source.unit == unit
    assert part.mesh.corners == pytest.approx((BOX + (1, 2, 3)) * mm, rel=1e-14)


def test_a_unit_asked_for_overrides_that_of_the_file(path):
    model = new_model("Inch")
    built(model, path, (add_mesh(model), transform(shift=(1, 0, 0))))
    part = read_part(path, unit="cm")
    assert (part.source.unit, part.source.unit_origin) == ("cm", "asked for")
    assert part.mesh.bounds[:, 0].tolist() == [10, 110]


def test_two_objects_are_two_pieces_in_the_order_of_the_build(path):
    model = new_model()
    first = add_mesh(model, name="block")
    second = add_mesh(model, BOX_POINTS[:, [1, 2, 0]], BOX_FACES, name="key")
    built(model, path, (second, transform(shift=(40, 0, 0))), (first, transform()))
    part = read_part(path)
    assert [piece.name for piece in part.pieces] == ["key", "block"]
    assert part.piece_of_face.tolist() == [0] * 12 + [1] * 12
    assert part.mesh.volume == pytest.approx(2 * BOX_VOLUME, rel=1e-14)
    assert np.array_equal(part.mesh.corners[12:], BOX)
    assert part.mesh.corners[:12, :, 0].min() == 40


def test_objects_that_touch_share_no_points(path):
    model = new_model()
    placed = [
        (add_mesh(model), transform()),
        (add_mesh(model), transform(shift=(SIDES[0], 0, 0))),
    ]
    assert len(read_part(built(model, path, *placed)).mesh.vertices) == 16


def test_an_object_without_a_name_has_that_of_the_file(path):
    model = new_model()
    built(model, path, (add_mesh(model), transform()))
    assert read_part(path).pieces[0].name == "block"


def test_objects_that_are_not_built_are_not_read(path):
    model = new_model()
    add_mesh(model, name="spare")
    built(model, path, (add_mesh(model, name="block"), transform()))
    assert [piece.name for piece in read_part(path).pieces] == ["block"]


def test_transforms_are_applied_through_a_tree_of_components(path):
    # inner: shift; outer: turn by 90 degrees about Z; build item: scale by 2.
    model = new_model()
    inner = model.AddComponentsObject()
    inner.AddComponent(add_mesh(model, name="deep"), transform(shift=(5, 0, 1)))
    outer = model.AddComponentsObject()
    quarter = np.array([(0, -1, 0), (1, 0, 0), (0, 0, 1)], float)
    outer.AddComponent(inner, transform(quarter))
    built(model, path, (outer, transform(2 * np.eye(3), (0, 0, 7))))
    part = read_part(path)
    x, y, z = np.moveaxis(BOX + (5, 0, 1), -1, 0)
    assert np.array_equal(part.mesh.corners, np.stack([-2 * y, 2 * x, 2 * z + 7], axis=-1))
    assert part.mesh.volume == pytest.approx(8 * BOX_VOLUME, rel=1e-14)


def test_a_mirrored_object_is_turned_outward(path):
    model = new_model()
    built(model, path, (add_mesh(model), transform(MIRROR, (0, 0, 2))))
    part = read_part(path)
    assert part.mesh.volume == pytest.approx(BOX_VOLUME, rel=1e-14)
    assert part.mesh.bounds.tolist() == [[-SIDES[0], 0, 2], [0, SIDES[1], SIDES[2] + 2]]


def test_copies_that_differ_by_a_shift_and_a_turn_count_once(path):
    model = new_model()
    mesh = add_mesh(model, name="screw")
    places = [(0, (3, 0, 0)), (72, (40, 0, 0)), (144, (0, 40, 0)), (-90, (0, 0, 9))]
    built(model, path, *[(mesh, transform(about_z(a), shift)) for a, shift in places])
    part = read_part(path)
    assert len(part.mesh.faces) == 12
    assert [(piece.name, piece.copies) for piece in part.pieces] == [("screw", 4)]
    assert np.array_equal(part.mesh.corners, BOX + (3, 0, 0))
    assert part.source.questions == (
        (
            "object 'screw' is placed 4 times, turned about the build direction: it is "
            "made right for its first placement"
        ),
    )


def test_copies_that_are_shifted_or_turned_by_half_raise_no_question(path):
    model = new_model()
    mesh = add_mesh(model)
    built(model, path, (mesh, transform()), (mesh, transform(about_z(180), (50, 0, 0))))
    part = read_part(path)
    assert part.pieces[0].copies == 2
    assert part.source.questions == ()


def test_mirrored_copies_of_one_hand_count_once(path):
    model = new_model()
    mesh = add_mesh(model)
    built(model, path, (mesh, transform(MIRROR)), (mesh, transform(MIRROR, (50, 0, 0))))
    assert read_part(path).pieces[0].copies == 2


@pytest.mark.parametrize(
    "other", [LYING, MIRROR, 1.01 * np.eye(3), np.diag([1, 1, 2.0]), np.diag([1, -1, -1.0])]
)
def test_copies_that_print_otherwise_are_refused(other, path):
    model = new_model()
    mesh = add_mesh(model, name="key")
    built(model, path, (mesh, transform()), (mesh, transform(other, (60, 0, 0))))
    match = (
        "object 'key' is placed 2 times, and placement 2 .* save them as separate objects"
    )
    with pytest.raises(PartFileError, match=match):
        read_part(path)


def test_copies_are_compared_about_the_direction_that_points_up(path):
    model = new_model()
    mesh = add_mesh(model)
    built(model, path, (mesh, transform()), (mesh, transform(LYING, (60, 0, 0))))
    assert read_part(path, up="+X").pieces[0].copies == 2
    with pytest.raises(PartFileError, match="placement 2 stands"):
        read_part(path, up="+Y")


def test_a_flattening_transform_is_refused(path):
    model = new_model()
    built(model, path, (add_mesh(model, name="key"), transform(np.diag([1, 1, 0.0]))))
    with pytest.raises(PartFileError, match="object 'key' is flattened by its transform"):
        read_part(path)


def test_a_file_without_build_items_is_read_from_its_objects(path):
    model = new_model()
    whole = model.AddComponentsObject()
    whole.AddComponent(add_mesh(model, name="inner"), transform(shift=(0, 0, 5)))
    add_mesh(model, BOX_POINTS + (50, 0, 0), name="alone")
    part = read_part(saved(model, path))
    assert sorted(piece.name for piece in part.pieces) == ["alone", "inner"]
    assert part.mesh.bounds[1].tolist() == [60, SIDES[1], SIDES[2] + 5]
    assert part.source.questions == (
        "the file has no build item, so its objects are read where they are drawn",
    )


def test_a_support_is_left_as_it_is(path):
    model = new_model()
    support = add_mesh(model, name="prop")
    support.SetType(lib3mf.ObjectType.Support)
    block = add_mesh(model, name="block")
    built(model, path, (support, transform()), (block, transform()))
    part = read_part(path)
    assert [piece.name for piece in part.pieces] == ["block"]
    assert part.source.questions == ("object 'prop' is a support, so it is left as it is",)


def test_properties_of_single_triangles_raise_a_question(path):
    model = new_model()
    mesh = add_mesh(model, name="block")
    colours = model.AddColorGroup()
    red = colours.AddColor(lib3mf.Color(255, 0, 0, 255))
    blue = colours.AddColor(lib3mf.Color(0, 0, 255, 255))
    mesh.SetObjectLevelProperty(colours.GetResourceID(), red)
    one = lib3mf.TriangleProperties(colours.GetResourceID(), (blue, blue, blue))
    mesh.SetTriangleProperties(3, one)
    built(model, path, (mesh, transform()))
    assert read_part(path).source.questions == (
        "object 'block': colours of single triangles are not kept",
    )


def nested(path, levels, width):
    """Save a box in components in components, each holding the one before `width` times.

    Written as text, since lib3mf walks through every placement as it saves.
    """
    model = new_model()
    built(model, path, (add_mesh(model), transform()))
    objects = "".join(
        f'<object id="{k}" type="model"><components>'
        + f'<component objectid="{k - 1}" transform="1 0 0 0 1 0 0 0 1 0 0 1"/>' * width
        + "</components></object>"
        for k in range(2, levels + 2)
    )

    def edit(text):
        text = text.replace(b"</resources>", objects.encode() + b"</resources>")
        return text.replace(b'objectid="1" p:UUID', b'objectid="%d" p:UUID' % (levels + 1))

    edited(path, edit)
    return path


@pytest.mark.parametrize("levels", [17, 60])
def test_nested_components_without_measure_are_refused(levels, path):
    with pytest.raises(PartFileError, match="more than 100,000 times by nested components"):
        read_part(nested(path, levels, 2))


def test_copies_in_nested_components_are_counted(path):
    assert read_part(nested(path, 10, 2)).pieces[0].copies == 2**10


def test_a_long_chain_of_components_is_read(path):
    assert read_part(nested(path, 150, 1)).mesh.bounds[0].tolist() == [0, 0, 150]


def test_an_endless_chain_of_components_is_refused(path):
    with pytest.raises(PartFileError, match="nests components more than 200 deep"):
        read_part(nested(path, 250, 1))


def test_components_that_contain_each_other_are_refused(path):
    nested(path, 2, 1)
    edited(
        path,
        lambda text: text.replace(b'objectid="1" transform', b'objectid="3" transform'),
    )
    with pytest.raises(PartFileError, match="nests components more than 200 deep"):
        read_part(path)


def test_objects_in_other_files_of_the_package_are_read(path):
    # The production extension keeps objects in models of their own.
    model = new_model()
    mesh = add_mesh(model, name="far")
    mesh.SetPackagePart(model.FindOrCreatePackagePart("/3D/Objects/far.model"))
    built(model, path, (mesh, transform(shift=(1, 1, 1))))
    with zipfile.ZipFile(path) as archive:
        assert "3D/Objects/far.model" in archive.namelist()
    part = read_part(path)
    assert part.pieces[0].name == "far"
    assert np.array_equal(part.mesh.corners, BOX + 1)


@pytest.mark.parametrize(
    ("old", "new", "match"),
    [
        (b'v1="0"', b'v1="99"', "no 3MF file that can be read .*Invalid model node index"),
        (b'x="10.0', b'x="nan', "no 3MF file that can be read .*Invalid Model Coordinates"),
        (b"</mesh>", b"", "3dmodel.model is no sound XML .mismatched tag: line"),
        (b"</build>", b"", "3dmodel.model is no sound XML"),
        (b"objectid", b"objectnr", "no 3MF file that can be read"),
        (
            b'transform="1 ',
            b'transform="1e30 ',
            "transform with a number that is not finite",
        ),
    ],
)
def test_a_broken_model_is_refused(old, new, match, path):
    model = new_model()
    built(model, path, (add_mesh(model), transform(shift=(1, 0, 0))))

    def edit(text):
        assert old in text
        return text.replace(old, new, 1)

    edited(path, edit)
    with pytest.raises(PartFileError, match=match):
        read_part(path)


def test_a_unit_that_is_none_raises_a_question(path):
    model = new_model()
    built(model, path, (add_mesh(model), transform()))
    edited(path, lambda text: text.replace(b"millimeter", b"furlong"))
    assert read_part(path).source.questions == ("lib3mf warns: Invalid Model Unit",)


def test_no_triangles_are_refused(path):
    model = new_model()
    built(model, path, (add_mesh(model), transform()))
    start, end = b"<triangles>", b"</triangles>"
    edited(path, lambda text: text[: text.index(start) + 11] + text[text.index(end) :])
    with pytest.raises(PartFileError, match="holds 0 triangles to build"):
        read_part(path)


def test_a_file_that_is_no_zip_is_refused(path):
    path.write_bytes(b"solid block\nendsolid block\n")
    with pytest.raises(PartFileError, match="is no zip archive that can be read"):
        read_part(path)


def test_an_archive_without_a_model_is_refused(path):
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("notes.txt", "nothing here")
    with pytest.raises(PartFileError, match="is no 3MF file that can be read"):
        read_part(path)


def test_a_damaged_archive_is_refused(path):
    model = new_model()
    data = bytearray(built(model, path, (add_mesh(model), transform())).read_bytes())
    place = data.index(b"3D/3dmodel.model") + 100
    data[place] ^= 0xFF
    path.write_bytes(data)
    with pytest.raises(PartFileError, match="is no zip archive that can be read"):
        read_part(path)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99])
def test_an_archive_cut_off_is_refused(share, path):
    model = new_model()
    data = built(model, path, (add_mesh(model), transform())).read_bytes()
    path.write_bytes(data[: int(share * len(data))])
    with pytest.raises(PartFileError, match="is no zip archive that can be read"):
        read_part(path)


def test_two_entries_of_one_name_are_refused(path):
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("3D/3dmodel.model", "<a/>")
        with pytest.warns(UserWarning, match="Duplicate name"):
            archive.writestr("3D/3dmodel.model", "<b/>")
    with pytest.raises(PartFileError, match="two entries share a name"):
        read_part(path)


def test_an_archive_that_unpacks_to_a_thousand_times_its_size_is_refused(path):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("3D/3dmodel.model", bytes(20_000_000))
    match = r"would unpack to 1\d\d\d times its size, more than the 1000 times"
    with pytest.raises(PartFileError, match=match):
        read_part(path)


def test_an_archive_that_would_unpack_to_more_than_1_gb_is_refused(path):
    # Only the sizes are claimed: nothing of that size is ever made.
    with zipfile.ZipFile(path, "w") as archive:
        for k in range(3):
            archive.writestr(f"{k}.bin", np.random.default_rng(k).bytes(1_000_000))
    data = bytearray(path.read_bytes())
    place = data.index(b"PK\x01\x02")
    while place >= 0:
        struct.pack_into("<I", data, place + 24, 900_000_000)
        place = data.find(b"PK\x01\x02", place + 4)
    path.write_bytes(data)
    with pytest.raises(
        PartFileError, match=r"would unpack to 2\.7 GB, more than the 1\.1 GB"
    ):
        read_part(path)


@pytest.mark.parametrize(
    "entry", ["../../note.txt", "a/../../note.txt", "/etc/note", "C:/note", "..\\note"]
)
def test_paths_that_climb_out_of_the_archive_are_refused(entry, path):
    path.write_bytes(new_3mf([("pin", BOX_POINTS, BOX_FACES)], "mm"))
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr(entry, "x")
    with pytest.raises(PartFileError, match="leads out of the archive"):
        read_part(path)


ENTITIES = {
    "tenfold": b"".join(
        b'<!ENTITY e%d "%s">' % (k + 1, b"&e%d;" % k * 10) for k in range(12)
    ),
    "long": b'<!ENTITY e12 "' + b"a" * 50_000 + b'">',
    "outside": b'<!ENTITY e12 SYSTEM "file:///etc/hostname">',
}


@pytest.mark.parametrize("kind", ENTITIES)
def test_entities_are_not_expanded_without_end(kind, path):
    good = new_3mf([("pin", BOX_POINTS, BOX_FACES)], "mm")
    start = b'<!DOCTYPE m [<!ENTITY e0 "a">' + ENTITIES[kind] + b"]><model"
    title = b'<metadata name="Title">' + b"&e12;" * 50_000 + b"</metadata><resources>"
    with zipfile.ZipFile(io.BytesIO(good)) as old, zipfile.ZipFile(path, "w") as new:
        for name in old.namelist():
            text = old.read(name)
            if name.endswith(".model"):
                text = text.replace(b"<model", start, 1).replace(b"<resources>", title, 1)
            new.writestr(name, text)
    with pytest.raises(PartFileError, match=r"no sound XML|can be read"):
        read_part(path)


def test_elements_nested_a_million_deep_end_well(path):
    good = new_3mf([("pin", BOX_POINTS, BOX_FACES)], "mm")
    deep = b"<a>" * 1_000_000 + b"</a>" * 1_000_000 + b"</metadata><resources>"
    with zipfile.ZipFile(io.BytesIO(good)) as old, zipfile.ZipFile(path, "w") as new:
        for name in old.namelist():
            text = old.read(name).replace(
                b"<resources>", b'<metadata name="Title">' + deep, 1
            )
            new.writestr(name, text)
    assert len(read_part(path).mesh.faces) == len(BOX_FACES)


def test_an_entry_that_lies_about_its_size_is_refused(path):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("3D/3dmodel.model", b"<model>" + b" " * 100_000 + b"</model>")
    data = bytearray(out.getvalue())
    struct.pack_into("<I", data, data.index(b"PK\x01\x02") + 24, 1000)
    struct.pack_into("<I", data, data.index(b"PK\x03\x04") + 22, 1000)
    path.write_bytes(data)
    with pytest.raises(PartFileError, match="is no zip archive that can be read"):
        read_part(path)


@pytest.mark.skipif(not SHOP.exists(), reason="no shared data")
def test_real_file_in_inches_is_read_at_its_size():
    part = read_part(SHOP / "shop-featuretype.3mf")
    assert (part.source.unit, part.source.unit_origin) == ("inch", "said by the file")
    # Source: its STL twin in the same folder, 5 x 2.5 x 1.375 inches.
    assert np.ptp(part.mesh.bounds, axis=0) == pytest.approx([127, 63.5, 34.925], abs=1e-4)


@pytest.mark.skipif(not SHOP.exists(), reason="no shared data")
def test_real_file_with_a_tree_of_components_is_read():
    part = read_part(SHOP / "shop-counterxp.3mf")
    assert [(piece.name, piece.copies) for piece in part.pieces] == [
        ("body418", 1),
        ("body14018", 5),
    ]
    # Vertices and triangles counted in the file's text: 8080 and 15134 triangles.
    assert np.bincount(part.piece_of_face).tolist() == [8080, 15134]
    with zipfile.ZipFile(SHOP / "shop-counterxp.3mf") as archive:
        assert archive.read("3D/3dmodel.model").count(b"<triangle ") == 8080 + 15134
