"""OBJ and PLY: read as trimesh reads them, written without losing a digit."""

from __future__ import annotations

import io

import numpy as np
import pytest
import trimesh
from test_files_samples import (
    BOX,
    BOX_FACES,
    BOX_POINTS,
    BOX_VOLUME,
    SHARED,
    packed_stl,
    spelled_stl,
)

from meshcomp.errors import PartFileError
from meshcomp.files import read_part, write_part

PLYS = sorted(SHARED.glob("*/*.ply"))

# A pyramid on a square: one polygon of four corners, four of three.
POINTS = [(0, 0, 0), (8, 0, 0), (8, 8, 0), (0, 8, 0), (4, 4, 6)]
POLYGONS = [(0, 3, 2, 1), (0, 1, 4), (1, 2, 4), (2, 3, 4), (3, 0, 4)]
PYRAMID_VOLUME = 8 * 8 * 6 / 3
# An L in the plane, whose first corner does not see the others: not convex.
ELL = [(0, 3), (0, 0), (3, 0), (3, 1), (1, 1), (1, 3)]


def read_bytes(tmp_path, data, name):
    (tmp_path / name).write_bytes(data)
    return read_part(tmp_path / name)


def rows_of(letter, rows, *, start=0, ends=""):
    return "".join(
        f"{letter} {' '.join(f'{x + start}{ends}' for x in row)}\n" for row in rows
    )


PYRAMID_OBJ = (rows_of("v", POINTS) + rows_of("f", POLYGONS, start=1)).encode()


def ply_header(form, vertices, faces, more=""):
    return (
        f"ply\nformat {form} 1.0\ncomment invented\nelement vertex {vertices}\n"
        f"property float x\nproperty float y\nproperty float z\n{more}"
        f"element face {faces}\nproperty list uchar int vertex_indices\nend_header\n"
    ).encode()


def pyramid_ply(form):
    data = ply_header(form, 5, 5)
    if form == "ascii":
        data += "".join(f"{x} {y} {z}\n" for x, y, z in POINTS).encode()
        rows = [f"{len(p)} {' '.join(map(str, p))}\n" for p in POLYGONS]
        return data + "".join(rows).encode()
    order = "<" if "little" in form else ">"
    data += np.array(POINTS, f"{order}f4").tobytes()
    for polygon in POLYGONS:
        data += bytes([len(polygon)]) + np.array(polygon, f"{order}i4").tobytes()
    return data


FORMS = ["ascii", "binary_little_endian", "binary_big_endian"]


# ---- OBJ


def test_obj_polygons_are_cut_into_triangles(tmp_path):
    part = read_bytes(tmp_path, PYRAMID_OBJ, "pin.obj")
    assert len(part.mesh.faces) == 6
    assert part.mesh.volume == pytest.approx(PYRAMID_VOLUME, rel=1e-14)
    assert part.source.questions == ()
    assert [piece.name for piece in part.pieces] == ["pin"]


@pytest.mark.parametrize("form", ["obj", "ply"])
@pytest.mark.parametrize("make", ["icosphere", "annulus"])
def test_files_of_trimesh_are_read_as_trimesh_reads_them(form, make, tmp_path):
    # Source: trimesh, a general-purpose mesh library with readers of its own.
    mesh = {
        "icosphere": lambda: trimesh.creation.icosphere(subdivisions=2, radius=9.7),
        "annulus": lambda: trimesh.creation.annulus(4, 9, 12),
    }[make]()
    data = mesh.export(file_type=form)
    data = data if isinstance(data, bytes) else data.encode()
    part = read_bytes(tmp_path, data, f"block.{form}")
    other = trimesh.load_mesh(io.BytesIO(data), file_type=form, process=False)
    assert np.array_equal(part.mesh.corners, other.triangles)
    assert part.mesh.volume == pytest.approx(other.volume, rel=1e-12)
    assert np.array_equal(part.mesh.bounds, other.bounds)


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace(b"\n", b"\r\n"),
        lambda text: text.replace(b"\n", b"\r"),
        lambda text: text.replace(b"v 8 0 0", b"v \t8.0  0e0 .0 1.0 # corner"),
        lambda text: text.replace(b"v 8 0 0", b"v 8 0 0 0.5 0.5 0.5"),
        lambda text: text.replace(b"f 1 2 5", b"f 1/7 2/8 5/9"),
        lambda text: text.replace(b"f 1 2 5", b"f 1//7 2//8 5//9"),
        lambda text: text.replace(b"f 1 2 5", b"  f 1/7/1 2/8/1 5/9/1  # side"),
        lambda text: text.replace(b"f 1 2 5", b"f 1 2 \\\n5"),
        lambda text: text.replace(b"f 1 2 5", b"f -5 -4 -1"),
        lambda text: b"mtllib no.mtl\nvt 0 0\nvn 0 0 1\ns off\n" + text + b"l 1 2\np 1\n",
        lambda text: text + b"v 99 99 99\n",
        lambda text: text.rstrip(),
    ],
)
def test_obj_is_read_however_it_is_set(change, tmp_path):
    part = read_bytes(tmp_path, change(PYRAMID_OBJ), "pin.obj")
    assert part.mesh.volume == pytest.approx(PYRAMID_VOLUME, rel=1e-14)
    assert len(part.mesh.vertices) == 5


def test_negative_indices_count_back_from_their_own_face(tmp_path):
    faces = rows_of("f", BOX_FACES - 8).encode()
    text = b"o one\n" + rows_of("v", BOX_POINTS).encode() + faces
    text += b"o two\n" + rows_of("v", BOX_POINTS + 50).encode() + faces
    part = read_bytes(tmp_path, text, "kit.obj")
    assert np.array_equal(part.mesh.corners, np.concatenate([BOX, BOX + 50]))


@pytest.mark.parametrize("letter", ["o", "g"])
def test_objects_or_groups_are_pieces(letter, tmp_path):
    vertices = (rows_of("v", BOX_POINTS) + rows_of("v", BOX_POINTS + 50)).encode()
    first, second = (rows_of("f", BOX_FACES, start=k).encode() for k in (1, 9))
    text = vertices + f"{letter} pin  block\n".encode() + first
    text += f"{letter}\n".encode() + second + f"{letter} empty\n".encode()
    part = read_bytes(tmp_path, text, "kit.obj")
    assert [piece.name for piece in part.pieces] == ["pin block", "kit"]
    assert part.piece_of_face.tolist() == [0] * 12 + [1] * 12


def test_groups_within_an_object_do_not_divide_it(tmp_path):
    text = b"o block\n" + rows_of("v", BOX_POINTS).encode()
    for k, face in enumerate(BOX_FACES):
        text += f"g face {k}\n".encode() + rows_of("f", [face], start=1).encode()
    part = read_bytes(tmp_path, text, "kit.obj")
    assert [piece.name for piece in part.pieces] == ["block"]


def test_groups_that_close_only_together_are_one_piece(tmp_path):
    text = rows_of("v", BOX_POINTS).encode()
    for k, face in enumerate(BOX_FACES):
        text += f"g face {k}\n".encode() + rows_of("f", [face], start=1).encode()
    part = read_bytes(tmp_path, text, "kit.obj")
    assert len(part.pieces) == 1
    assert np.array_equal(part.mesh.corners, BOX)


def test_a_polygon_that_is_not_convex_raises_a_question(tmp_path):
    points = [(x, y, 0) for x, y in ELL]
    text = (rows_of("v", points) + "f 1 2 3 4 5 6\n").encode()
    part = read_bytes(tmp_path, text, "leaf.obj")
    assert part.source.questions[0].startswith("1 polygons are not convex")


@pytest.mark.parametrize(
    ("old", "new", "match"),
    [
        (b"v 8 0 0", b"v 8 0", "line 2: 'v 8 0' does not have three numbers"),
        (b"v 8 0 0", b"v 8 0,5 0", "line 2: 'v 8 0,5 0' does not have three numbers"),
        (b"v 8 0 0", b"v 8 0 x", "line 2: 'v 8 0 x' does not have three numbers"),
        (b"v 8 0 0", b"v", "line 2: 'v' does not have three numbers"),
        (b"f 1 2 5", b"f 1 2", "line 7: 'f 1 2' does not have at least three corners"),
        (b"f 1 2 5", b"f 1 2 5.5", "line 7: 'f 1 2 5.5' does not have at least three"),
        (b"f 1 2 5", b"f 1 2 6", r"line 7: a face names a vertex .* vertices 1 to 5"),
        (b"f 1 2 5", b"f 1 2 0", r"line 7: a face names a vertex .* vertices 1 to 5"),
        (b"f 1 2 5", b"f 1 2 -6", r"line 7: a face names a vertex .* vertices 1 to 5"),
        (b"f 1 2 5", b"f 1 2 9" + b"9" * 30, r"line 7: a face names a vertex"),
        (
            b"v 8 0 0",
            b"v 8 nan 0",
            r"triangle 2, corner 3 has the coordinates \(8, nan, 0\)",
        ),
        (b"v 8 0 0", b"v 8 1e999 0", r"triangle 2, corner 3 has the coordinates \(8, inf"),
        (b"f ", b"# f ", "holds 0 triangles .no line that begins with 'f'"),
        (PYRAMID_OBJ, b"not an obj file", "holds 0 triangles"),
    ],
)
def test_broken_obj_is_refused(old, new, match, tmp_path):
    assert old in PYRAMID_OBJ
    with pytest.raises(PartFileError, match=match):
        read_bytes(tmp_path, PYRAMID_OBJ.replace(old, new), "pin.obj")


def test_obj_keeps_every_digit_and_the_pieces(tmp_path):
    shift = np.random.default_rng(3).normal(size=3)
    data = spelled_stl(BOX + shift, "pin block") + spelled_stl(BOX - 90, "key")
    part = read_bytes(tmp_path, data, "kit.stl")
    write_part(part, tmp_path / "kit.obj")
    again = read_part(tmp_path / "kit.obj")
    assert np.array_equal(again.mesh.corners, part.mesh.corners)
    assert [piece.name for piece in again.pieces] == ["pin block", "key"]
    assert np.array_equal(again.piece_of_face, part.piece_of_face)


def test_a_million_digits_in_a_row_are_refused_at_once(tmp_path):
    text = PYRAMID_OBJ + b"v 1 2 " + b"1" * 1_000_000 + b"x\nf " + b"1 " * 300_000 + b"x\n"
    with pytest.raises(PartFileError, match="line 11: 'v 1 2 1111"):
        read_bytes(tmp_path, text, "pin.obj")


# ---- PLY


@pytest.mark.parametrize("form", FORMS)
def test_ply_with_polygons_of_different_lengths_is_read(form, tmp_path):
    part = read_bytes(tmp_path, pyramid_ply(form), "pin.ply")
    assert part.mesh.volume == pytest.approx(PYRAMID_VOLUME, rel=1e-14)
    assert part.mesh.bounds.tolist() == [[0, 0, 0], [8, 8, 6]]


@pytest.mark.parametrize("form", FORMS)
def test_ply_columns_that_are_not_needed_are_passed_over(form, tmp_path):
    more = (
        "property double nx\nproperty uchar red\nelement stripe 2\n"
        "property list ushort double values\nproperty int code\n"
    )
    order = {"ascii": "ascii", FORMS[1]: "<", FORMS[2]: ">"}[form]
    data = ply_header(form, 8, 12, more)
    if form == "ascii":
        rows = [f"{x} {y} {z} 0.5 255" for x, y, z in BOX_POINTS.tolist()]
        rows += ["2 1.5 2.5 7", "0 8", *(f"3 {a} {b} {c}" for a, b, c in BOX_FACES)]
        data += "\n".join(rows).encode()
    else:
        kind = np.dtype([("x", f"{order}f4", 3), ("n", f"{order}f8"), ("r", "u1")])
        rows = np.zeros(8, kind)
        rows["x"], rows["n"] = BOX_POINTS, 0.5
        data += rows.tobytes()
        data += np.array([2], f"{order}u2").tobytes() + np.zeros(2).tobytes()
        data += np.array([7], f"{order}i4").tobytes()
        data += (
            np.array([0], f"{order}u2").tobytes() + np.array([8], f"{order}i4").tobytes()
        )
        for face in BOX_FACES:
            data += b"\x03" + face.astype(f"{order}i4").tobytes()
    part = read_bytes(tmp_path, data, "block.ply")
    assert np.array_equal(part.mesh.corners, BOX)


@pytest.mark.skipif(not PLYS, reason="no shared data")
@pytest.mark.parametrize("path", PLYS, ids=lambda path: path.stem)
def test_real_ply_is_read_as_trimesh_reads_it(path, tmp_path):
    part = read_part(path)
    other = trimesh.load(path, process=False)
    limit = 1e-8 * other.scale  # points are moved that far to close open edges
    assert np.abs(part.mesh.corners - other.triangles).max() <= limit
    write_part(part, tmp_path / "again.ply")
    assert np.array_equal(read_part(tmp_path / "again.ply").mesh.corners, part.mesh.corners)


def test_ply_keeps_every_digit(tmp_path):
    shift = np.random.default_rng(4).normal(size=3)
    part = read_bytes(tmp_path, spelled_stl(BOX + shift), "block.stl")
    write_part(part, tmp_path / "block.ply")
    assert np.array_equal(read_part(tmp_path / "block.ply").mesh.corners, BOX + shift)
    other = trimesh.load(tmp_path / "block.ply", process=False)
    assert np.array_equal(other.triangles, BOX + shift)


@pytest.mark.parametrize("form", FORMS)
def test_ply_cut_off_anywhere_is_refused(form, tmp_path):
    data = pyramid_ply(form).rstrip()
    # The last number of the text may lose digits, were it longer than one.
    for length in range(1, len(data)):
        with pytest.raises(PartFileError):
            read_bytes(tmp_path, data[:length], "pin.ply")
    assert len(read_bytes(tmp_path, data, "pin.ply").mesh.faces) == 6


@pytest.mark.parametrize("form", FORMS[1:])
def test_binary_ply_cut_off_says_where(form, tmp_path):
    match = "ends, or cannot be read, at face 5 of the 5 that its header says"
    with pytest.raises(PartFileError, match=match):
        read_bytes(tmp_path, pyramid_ply(form)[:-3], "pin.ply")
    with pytest.raises(PartFileError, match="at vertex 3 of the 5 that its header says"):
        read_bytes(tmp_path, ply_header(form, 5, 5) + bytes(30), "pin.ply")


ASCII = pyramid_ply("ascii")


@pytest.mark.parametrize(
    ("old", "new", "match"),
    [
        (b"ply\n", b"plyx\n", "is no PLY file: it must begin with a line 'ply'"),
        (b"end_header", b"end_of_it", "and have a line 'end_header'"),
        (b"format ascii 1.0\n", b"", "has no line 'format' with one of ascii, binary"),
        (b"format ascii", b"format text", "has no line 'format' with one of ascii, binary"),
        (b"element vertex 5", b"element vertex", "line 4: 'element vertex' cannot stand"),
        (b"element vertex 5", b"element vertex -5", "line 4: 'element vertex -5' cannot"),
        (b"element face", b"element vertex", "line 8: 'element vertex 5' cannot stand"),
        (
            b"property float y",
            b"property float x",
            "line 6: 'property float x' cannot stand",
        ),
        (b"property float y", b"property half y", "line 6: 'property half y' cannot stand"),
        (b"property float y", b"property y", "line 6: 'property y' cannot stand"),
        (b"property float y", b"property float q", "has no vertices with x, y and z"),
        (b"element vertex 5\n", b"", "line 4: 'property float x' cannot stand"),
        (b"8 0 0", b"8 0 zero", "line 12: '8 0 zero' is no row of 'vertex'"),
        (b"8 0 0", b"8 0", "line 12: '8 0' is no row of 'vertex'"),
        (b"8 0 0", b"8 0 0 0", "line 12: '8 0 0 0' is no row of 'vertex'"),
        (b"3 3 0 4", b"3 3 0 4 9", "line 20: '3 3 0 4 9' is no row of 'face'"),
        (b"3 3 0 4", b"3 3 0 5", "face 5 names vertex 5, but the file has vertices 0 to 4"),
        (b"3 3 0 4", b"3 3 0 -1", "face 5 names vertex -1"),
        (b"3 3 0 4", b"3 3 0 1.5", "face 5 names vertex 1.5"),
        (b"3 3 0 4", b"3 3 0 nan", "face 5 names vertex nan"),
        (b"3 3 0 4", b"2 3 0", "face 5 has 2 corners, fewer than 3"),
        (b"3 3 0 4", b"-1", "line 20: '-1' is no row of 'face'"),
        (b"3 3 0 4", b"nan 3 0 4", "line 20: 'nan 3 0 4' is no row of 'face'"),
        (
            b"element face 5",
            b"element face 0",
            "line 16: '4 0 3 2 1' is after the last row",
        ),
        (
            b"element face 5",
            b"element face 9",
            "ends at line 21, before the last row of 'fa",
        ),
        (b"vertex_indices", b"corners", "holds 0 triangles"),
        (b"4 4 6", b"4 4 inf", r"triangle 3, corner 3 has the coordinates \(4, 4, inf\)"),
    ],
)
def test_broken_ply_is_refused(old, new, match, tmp_path):
    assert old in ASCII
    with pytest.raises(PartFileError, match=match):
        read_bytes(tmp_path, ASCII.replace(old, new), "pin.ply")


def test_ply_without_faces_is_refused(tmp_path):
    data = ply_header("ascii", 1, 0) + b"1 2 3\n"
    with pytest.raises(PartFileError, match="holds 0 triangles: export the part again"):
        read_bytes(tmp_path, data, "pin.ply")


def test_ply_that_claims_far_more_than_it_holds_is_refused_at_once(tmp_path):
    data = ply_header("binary_little_endian", 10**15, 10**15) + bytes(100)
    with pytest.raises(PartFileError, match="at vertex 9 of the 1000000000000000"):
        read_bytes(tmp_path, data, "pin.ply")


@pytest.mark.parametrize("ending", ["obj", "ply", "3mf"])
def test_a_box_keeps_its_volume_through_every_format(ending, tmp_path):
    part = read_bytes(tmp_path, packed_stl(BOX), "block.stl")
    write_part(part, tmp_path / f"block.{ending}")
    again = read_part(tmp_path / f"block.{ending}")
    assert again.mesh.volume == pytest.approx(BOX_VOLUME, rel=1e-14)
    assert np.array_equal(again.mesh.corners, BOX)
