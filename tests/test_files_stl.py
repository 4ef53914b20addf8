"""STL, binary and as text: nothing is lost, and nothing broken is read."""

from __future__ import annotations

import io
import re
import struct

import numpy as np
import pytest
import trimesh
from test_files_samples import BOX, BOX_VOLUME, SHARED, packed_stl, spelled_stl

from meshcomp.errors import PartFileError
from meshcomp.files import read_part, write_part

STLS = sorted(SHARED.glob("*/*.stl"))


def read_bytes(tmp_path, data, name="block.stl"):
    (tmp_path / name).write_bytes(data)
    return read_part(tmp_path / name)


def binary_corners(path):
    """Bits of all corners of a binary STL, read with struct."""
    data = path.read_bytes()
    (count,) = struct.unpack_from("<I", data, 80)
    return [data[84 + 50 * k + 12 : 84 + 50 * k + 48] for k in range(count)]


def test_binary_is_read_with_its_exact_numbers(tmp_path):
    part = read_bytes(tmp_path, packed_stl(BOX + 0.1))
    assert np.array_equal(part.mesh.corners, np.float32(BOX + 0.1).astype(float))
    assert part.pieces[0].name == part.name == "block"
    assert part.source.format == "stl"
    assert part.source.container is None


def test_untouched_binary_keeps_every_bit_of_every_triangle_in_order(tmp_path):
    sphere = trimesh.creation.icosphere(subdivisions=3, radius=7.3).triangles
    part = read_bytes(tmp_path, packed_stl(sphere + 1 / 3))
    write_part(part, tmp_path / "again.stl")
    assert binary_corners(tmp_path / "again.stl") == binary_corners(tmp_path / "block.stl")


def closes(corners):
    """Whether each edge has its opposite when equal points alone are one."""
    _, points = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    faces = points.reshape(-1, 3)
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    order = [np.lexsort(rows.T) for rows in (edges, edges[:, ::-1])]
    return np.array_equal(edges[order[0]], edges[:, ::-1][order[1]])


@pytest.mark.skipif(not STLS, reason="no shared data")
@pytest.mark.parametrize("path", STLS, ids=lambda path: path.stem)
def test_real_stl_keeps_every_coordinate_in_order(path, tmp_path):
    write_part(read_part(path), tmp_path / "again.stl")
    expected = np.float32(trimesh.load(path, process=False).triangles)
    a, b, c = expected.swapaxes(0, 1)
    is_left = (a != b).any(axis=1) & (b != c).any(axis=1) & (c != a).any(axis=1)
    found = np.frombuffer(b"".join(binary_corners(tmp_path / "again.stl")), "<f4")
    diagonal = np.linalg.norm(np.ptp(expected, axis=(0, 1)))
    # Points are moved only to close a file that is open, and then by 1e-8 of its size.
    # Else all are equal as numbers: -0.0 is written as 0.0.
    limit = 0.0 if closes(expected) else 1e-8 * diagonal
    assert np.abs(found.reshape(-1, 3, 3) - expected[is_left]).max() <= limit


@pytest.mark.skipif(not STLS, reason="no shared data")
@pytest.mark.parametrize("path", STLS, ids=lambda path: path.stem)
def test_real_stl_has_the_volume_and_bounds_that_trimesh_reads(path):
    part, other = read_part(path), trimesh.load(path, process=False)
    assert part.mesh.volume == pytest.approx(other.volume, rel=1e-9)
    assert part.mesh.bounds == pytest.approx(other.bounds, rel=0, abs=1e-8 * other.scale)


@pytest.mark.parametrize("form", ["stl", "stl_ascii"])
def test_stl_of_trimesh_is_read_as_trimesh_reads_it(form, tmp_path):
    mesh = trimesh.creation.annulus(4, 9, 12).export(file_type=form)
    data = mesh if isinstance(mesh, bytes) else mesh.encode()
    part = read_bytes(tmp_path, data)
    other = trimesh.load(io.BytesIO(data), file_type=form, process=False)
    assert part.mesh.volume == pytest.approx(other.volume, rel=1e-12)
    assert np.array_equal(part.mesh.corners, other.triangles)


def test_binary_whose_header_begins_with_solid_is_binary(tmp_path):
    part = read_bytes(tmp_path, packed_stl(BOX, header=b"solid block facet normal"))
    assert part.mesh.volume == pytest.approx(BOX_VOLUME, rel=1e-14)


def test_written_binary_header_does_not_begin_with_solid(tmp_path):
    part = read_bytes(tmp_path, packed_stl(BOX, header=b"solid block"))
    write_part(part, tmp_path / "again.stl")
    assert not (tmp_path / "again.stl").read_bytes().startswith(b"solid")


def test_written_normals_are_those_of_the_triangles(tmp_path):
    write_part(read_bytes(tmp_path, packed_stl(BOX)), tmp_path / "again.stl")
    data = (tmp_path / "again.stl").read_bytes()
    normals = [struct.unpack_from("<3f", data, 84 + 50 * k) for k in range(12)]
    sides = [(-1, 0, 0), (1, 0, 0), (0, -1, 0), (0, 1, 0), (0, 0, -1), (0, 0, 1)]
    assert normals == [side for side in sides for _ in range(2)]


def test_spare_bytes_are_told_of(tmp_path):
    assert read_bytes(tmp_path, packed_stl(BOX)).source.questions == ()
    part = read_bytes(tmp_path, packed_stl(BOX, spare=31))
    assert part.source.questions == (
        "colours in the spare bytes of the triangles are not kept",
    )


def test_dropped_triangles_are_counted(tmp_path):
    flat = np.stack([BOX[0, [0, 1, 1]], BOX[5, [2, 1, 2]], BOX[7, [0, 0, 0]]])
    part = read_bytes(tmp_path, packed_stl(np.concatenate([BOX, flat])))
    assert part.source.questions == ("3 triangles with two equal corners were dropped",)
    assert part.mesh.volume == pytest.approx(BOX_VOLUME, rel=1e-14)
    assert len(part.piece_of_face) == 12


def test_a_file_of_nothing_but_flat_triangles_is_refused(tmp_path):
    flat = BOX[:2, [0, 1, 1]]
    with pytest.raises(
        PartFileError, match="each of its 2 triangles has two equal corners"
    ):
        read_bytes(tmp_path, packed_stl(flat))


def upper(data):
    return data.upper().replace(b"SOLID PIN BLOCK", b"SOLID pin block")


VARIANTS = {
    "as it is": lambda data: data,
    "capitals": upper,
    "tabs and blanks": lambda data: data.replace(b" ", b" \t ").replace(b"\n", b" \n\n\t"),
    "windows lines": lambda data: data.replace(b"\n", b"\r\n"),
    "old mac lines": lambda data: data.replace(b"\n", b"\r"),
    "byte order mark": lambda data: b"\xef\xbb\xbf" + data,
    "blank lines before": lambda data: b"\n\n  " + data,
    "normals that are no numbers": lambda data: data.replace(
        b"normal 0 0 0", b"normal -nan(ind) 1.#QNAN 0,0"
    ),
    "plus signs": lambda data: re.sub(rb"(?<=[ \d]) (\d)", rb" +\1", data),
    "exponents": lambda data: data.replace(b"20.5", b"2050.00E-002"),
    "no digit before the point": lambda data: data.replace(b" 0.0", b" .0"),
    "no name at the end": lambda data: data.replace(b"endsolid pin block", b"endsolid"),
    "no last line break": lambda data: data.rstrip(),
}


@pytest.mark.parametrize("variant", VARIANTS)
def test_text_is_read_however_it_is_set(variant, tmp_path):
    part = read_bytes(tmp_path, VARIANTS[variant](spelled_stl(BOX)))
    assert np.array_equal(part.mesh.corners, BOX)
    assert part.pieces[0].name == "pin block"


def test_text_keeps_every_digit(tmp_path):
    corners = BOX + np.random.default_rng(5).normal(size=3)
    part = read_bytes(tmp_path, spelled_stl(corners))
    assert np.array_equal(part.mesh.corners, corners)
    write_part(part, tmp_path / "again.stl", ascii=True)
    assert np.array_equal(read_part(tmp_path / "again.stl").mesh.corners, corners)


def test_written_text_is_read_alike_by_trimesh(tmp_path):
    part = read_bytes(tmp_path, packed_stl(BOX))
    write_part(part, tmp_path / "again.stl", ascii=True)
    other = trimesh.load(tmp_path / "again.stl", process=False)
    assert np.array_equal(other.triangles, BOX)


def test_several_solids_are_several_pieces_with_their_names(tmp_path):
    data = spelled_stl(BOX, "solid base") + spelled_stl(BOX + 50, "") + b"solid\nendsolid\n"
    part = read_bytes(tmp_path, data)
    assert [piece.name for piece in part.pieces] == ["solid base", "block"]
    assert part.piece_of_face.tolist() == [0] * 12 + [1] * 12
    write_part(part, tmp_path / "again.stl", ascii=True)
    again = read_part(tmp_path / "again.stl")
    assert [piece.name for piece in again.pieces] == ["solid base", "block"]
    assert np.array_equal(again.mesh.corners, part.mesh.corners)


def test_a_name_may_hold_the_word_solid_also_on_a_last_line_without_end(tmp_path):
    data = spelled_stl(BOX, "a solid endsolid block").rstrip()
    assert read_bytes(tmp_path, data).pieces[0].name == "a solid endsolid block"


def test_a_million_words_solid_on_one_line_are_refused_at_once(tmp_path):
    with pytest.raises(PartFileError, match="ends at line 1 without 'endsolid'"):
        read_bytes(tmp_path, b"solid " * 1_000_000)


def test_solids_that_touch_share_no_points(tmp_path):
    data = spelled_stl(BOX, "left") + spelled_stl(BOX + (10.0, 0, 0), "right")
    assert len(read_bytes(tmp_path, data).mesh.vertices) == 16


def test_solids_that_close_only_together_are_one_piece(tmp_path):
    part = read_bytes(tmp_path, spelled_stl(BOX[:5], "side") + spelled_stl(BOX[5:], "rest"))
    assert len(part.pieces) == 1
    assert len(part.mesh.vertices) == 8
    assert part.source.questions == ("2 named surfaces close only together: one piece",)


def test_text_cut_off_anywhere_is_refused(tmp_path):
    data = spelled_stl(BOX[:3]).rstrip()
    whole = data.index(b"endsolid") + len(b"endsolid")
    for length in range(1, whole):
        with pytest.raises(PartFileError):
            read_bytes(tmp_path, data[:length])
    assert len(read_bytes(tmp_path, data[:whole]).mesh.faces) == 3


def test_text_cut_in_the_middle_of_a_triangle_names_triangle_and_line(tmp_path):
    data = spelled_stl(BOX)
    cut = data.index(b"endloop", len(data) // 2)
    line = data.count(b"\n", 0, cut)
    triangle = data.count(b"facet normal", 0, cut)
    match = rf"block\.stl ends in the middle of triangle {triangle} \(line {line}\)"
    with pytest.raises(PartFileError, match=match):
        read_bytes(tmp_path, data[:cut])


def test_text_without_endsolid_names_its_last_line(tmp_path):
    data = spelled_stl(BOX)
    with pytest.raises(PartFileError, match="ends at line 85 without 'endsolid'"):
        read_bytes(tmp_path, data[: data.index(b"endsolid")])


def test_a_solid_within_a_solid_names_its_line(tmp_path):
    data = spelled_stl(BOX).replace(b"endsolid pin block", b"solid second")
    with pytest.raises(PartFileError, match=r"line 86: 'solid' in a solid"):
        read_bytes(tmp_path, data)


def test_an_end_without_a_begin_names_its_line(tmp_path):
    with pytest.raises(PartFileError, match=r"line 87: 'endsolid' without a 'solid'"):
        read_bytes(tmp_path, spelled_stl(BOX) + b"endsolid again\n")


def test_a_triangle_outside_the_solids_names_its_line(tmp_path):
    facet = spelled_stl(BOX[:1]).split(b"\n", 1)[1].rsplit(b"endsolid", 1)[0]
    with pytest.raises(PartFileError, match=r"line 87: triangle 13 is not between"):
        read_bytes(tmp_path, spelled_stl(BOX) + facet)


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        (b"endloop", b"endlop", "'endlop' where 'endloop' must stand"),
        (b"outer loop", b"outer", "'vertex' where 'loop' must stand"),
        (b"vertex 0.0 0.0 0.0", b"vertex 0.0 0.0", "'vertex' where a number must stand"),
        (b"vertex 0.0 0.0 0.0", b"vertex 0.0 0,5 0.0", "'0,5' where a number must stand"),
        (
            b"vertex 0.0 0.0 0.0",
            b"vertex 0.0 1.2.3 0.0",
            "'1.2.3' where a number must stand",
        ),
        (b"vertex 0.0 0.0 0.0", b"vertex 0.0 1_0 0.0", "'1_0' where a number must stand"),
        (b"normal 0 0 0", b"normal 0 0", "'outer' where a number must stand"),
    ],
)
def test_a_wrong_word_is_named_with_triangle_and_line(old, new, found, tmp_path):
    data = spelled_stl(BOX)
    place = data.index(old, data.index(b"endfacet"))
    triangle = data.count(b"facet normal", 0, place) + (b"normal" in old)
    broken = data[:place] + new + data[place + len(old) :]
    with pytest.raises(PartFileError, match=rf"triangle {triangle} has {re.escape(found)}"):
        read_bytes(tmp_path, broken)


def test_binary_cut_off_says_both_lengths(tmp_path):
    data = packed_stl(BOX)
    match = r"says 12 triangles, which take 684 bytes, but the file has 600 bytes"
    with pytest.raises(PartFileError, match=match):
        read_bytes(tmp_path, data[:600])


def test_binary_with_a_wrong_count_says_both_numbers(tmp_path):
    match = (
        "says 13 triangles, which take 734 bytes, but the file has 684 bytes: 12 triangles"
    )
    with pytest.raises(PartFileError, match=match):
        read_bytes(tmp_path, packed_stl(BOX, count=13))


def test_binary_cut_off_with_a_header_that_begins_with_solid_is_called_binary(tmp_path):
    data = packed_stl(BOX, header=b"solid block")[:600]
    with pytest.raises(PartFileError, match="byte 80 says 12 triangles"):
        read_bytes(tmp_path, data)


def test_a_few_bytes_are_no_stl(tmp_path):
    match = "does not begin with 'solid', and its 5 bytes are fewer than the 84"
    with pytest.raises(PartFileError, match=match):
        read_bytes(tmp_path, b"block")


@pytest.mark.parametrize("data", [packed_stl(BOX[:0], header=b"pin"), spelled_stl(BOX[:0])])
def test_no_triangles_are_refused(data, tmp_path):
    with pytest.raises(PartFileError, match="holds 0 triangles: export the part again"):
        read_bytes(tmp_path, data)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, 3e38])
def test_a_bad_number_in_binary_names_triangle_corner_and_byte(bad, tmp_path):
    corners = BOX.copy()
    corners[6, 1, 2] = bad
    match = rf"triangle 7, corner 2 \(byte {84 + 50 * 6 + 12 + 12}\)"
    with pytest.raises(PartFileError, match=match):
        read_bytes(tmp_path, packed_stl(corners))


@pytest.mark.parametrize("bad", [b"nan", b"-Inf", b"1e999", b"4e9"])
def test_a_bad_number_in_text_names_triangle_corner_and_line(bad, tmp_path):
    lines = spelled_stl(BOX).split(b"\n")
    lines[1 + 7 * 6 + 3] = b"   vertex 0 " + bad + b" 0"
    with pytest.raises(PartFileError, match=r"triangle 7, corner 2 \(line 47\)"):
        read_bytes(tmp_path, b"\n".join(lines))
