"""What is common to all formats: refusals, units, stands, and what is noted."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from test_files_samples import BOX, BOX_VOLUME, SIDES, packed_stl, spelled_stl

from meshcomp.errors import OptionError, PartFileError
from meshcomp.files import read_part
from meshcomp.files.units import MM_IN
from meshcomp.stands import STANDS

ENDINGS = ["stl", "3mf", "obj", "ply"]


@pytest.fixture
def block(tmp_path):
    path = tmp_path / "pin block.stl"
    path.write_bytes(packed_stl(BOX))
    return path


def test_a_part_says_where_it_came_from(block):
    part = read_part(block)
    assert part.name == "pin block"
    assert part.source.path == str(block)
    assert part.source.sha256 == hashlib.sha256(block.read_bytes()).hexdigest()
    assert (part.source.unit, part.source.unit_origin) == ("mm", "assumed")
    assert part.source.questions == ()
    assert part.piece_of_face.dtype == np.int64
    assert not part.piece_of_face.flags.writeable


def test_a_path_may_be_text(block):
    assert read_part(str(block)).mesh.volume == pytest.approx(BOX_VOLUME, rel=1e-14)


def test_the_ending_may_be_in_capitals(tmp_path):
    (tmp_path / "BLOCK.STL").write_bytes(packed_stl(BOX))
    assert read_part(tmp_path / "BLOCK.STL").source.format == "stl"


# ---- what is not a mesh


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize(
    ("data", "match"),
    [
        (b"", r"is empty \(0 bytes\)"),
        (bytes(500), "holds 500 bytes of nothing but zeros and blanks"),
        (b" \n\n", "holds 3 bytes of nothing but zeros and blanks"),
        (
            b"version https://git-lfs.github.com/spec/v1\noid sha256:12\nsize 9\n",
            "is a Git LFS pointer, not the part itself: run 'git lfs pull'",
        ),
        (b"<!DOCTYPE html>\n<html>", "is a web page saved under that name"),
        (b"\xef\xbb\xbf\n <HTML lang='en'>", "is a web page saved under that name"),
    ],
)
def test_what_is_no_part_is_refused_whatever_its_ending(ending, data, match, tmp_path):
    path = tmp_path / f"block.{ending}"
    path.write_bytes(data)
    with pytest.raises(PartFileError, match=match):
        read_part(path)


@pytest.mark.parametrize(
    ("ending", "data", "match"),
    [
        ("stl", b"PK\x03\x04rest", r"block.stl holds a zip archive, .* ending .3mf"),
        ("obj", b"PK\x03\x04rest", r"block.obj holds a zip archive, .* ending .3mf"),
        ("stl", b"ply\nformat ascii 1.0\n", r"block.stl holds a PLY file, .* ending .ply"),
        ("obj", b"ply\r\nformat ascii 1.0\r\n", r"block.obj holds a PLY file"),
    ],
)
def test_another_format_than_the_ending_says_is_named(ending, data, match, tmp_path):
    path = tmp_path / f"block.{ending}"
    path.write_bytes(data)
    with pytest.raises(PartFileError, match=match):
        read_part(path)


@pytest.mark.parametrize(
    ("name", "match"),
    [
        ("block.step", r"its ending '.step' is not one of .stl, .3mf, .obj, .ply"),
        ("block.stl.gz", r"its ending '.gz' is not one of"),
        ("block", r"it has no ending of .stl, .3mf, .obj, .ply"),
        ("stl", r"it has no ending"),
    ],
)
def test_an_unknown_ending_is_refused(name, match, tmp_path):
    (tmp_path / name).write_bytes(packed_stl(BOX))
    with pytest.raises(PartFileError, match=match):
        read_part(tmp_path / name)


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_missing_file_is_refused(ending, tmp_path):
    with pytest.raises(
        PartFileError, match=r"cannot be read \(No such file or directory\)"
    ):
        read_part(tmp_path / f"none.{ending}")


def test_a_folder_is_refused(tmp_path):
    (tmp_path / "folder.stl").mkdir()
    with pytest.raises(PartFileError, match=r"cannot be read \(Is a directory\)"):
        read_part(tmp_path / "folder.stl")


def test_a_name_with_a_null_character_is_refused():
    with pytest.raises(PartFileError, match="cannot be read"):
        read_part("block\0.stl")


# ---- units


@pytest.mark.parametrize("unit", MM_IN)
def test_a_unit_asked_for_scales_the_part(unit, block):
    part = read_part(block, unit=unit)
    assert (part.source.unit, part.source.unit_origin) == (unit, "asked for")
    size = np.ptp(part.mesh.bounds, axis=0)
    assert size == pytest.approx(np.array(SIDES) * MM_IN[unit], rel=1e-14)


def test_units_are_those_of_the_trade():
    # Source: SI Brochure; the yard agreement of 1959: 25.4 mm an inch, 12 inches a foot.
    expected = {
        "mm": 1,
        "cm": 10,
        "m": 1000,
        "inch": 25.4,
        "foot": pytest.approx(12 * 25.4, rel=1e-15),
        "micron": 0.001,
    }
    assert expected == MM_IN


@pytest.mark.parametrize("unit", ["inches", "MM", "", "furlong"])
def test_an_unknown_unit_is_refused(unit, block):
    with pytest.raises(OptionError, match="give one of mm, cm, m, inch, foot, micron"):
        read_part(block, unit=unit)


@pytest.mark.parametrize(
    ("largest", "unit", "question"),
    [
        (0.08, None, "largest size is 0.08 mm: is the file in metres? give --unit m"),
        (2.9, None, "largest size is 2.9 mm: is the file in inches? give --unit inch"),
        (3.0, None, None),
        (250.0, None, None),
        (2000.0, None, None),
        (
            25000.0,
            None,
            "largest size is 2.5e+04 mm: is the file in microns? give --unit micron",
        ),
        (
            40000.0,
            "inch",
            "largest size is 1.016e+06 mm: is the file in microns? give --unit micron",
        ),
        (
            100.0,
            "inch",
            "largest size is 2540 mm: is the file in millimetres? give --unit mm",
        ),
        (1e-7, None, "largest size is 1e-07 mm: is the unit mm right? give --unit"),
    ],
)
def test_an_unlikely_size_raises_a_question(largest, unit, question, tmp_path):
    path = tmp_path / "block.stl"
    corners = BOX / 40 * largest
    corners[..., 2] = np.where(BOX[..., 2] > 0, largest, 0)
    path.write_bytes(spelled_stl(corners))
    part = read_part(path, unit=unit)
    assert part.source.questions == (() if question is None else (question,))
    scale = MM_IN[unit or "mm"]  # never guessed
    assert part.mesh.bounds[1, 2] == pytest.approx(largest * scale, rel=1e-12)


# ---- stands


@pytest.mark.parametrize("up", STANDS)
def test_a_stand_turns_the_part_to_the_bed(up, block):
    part = read_part(block, up=up)
    assert not part.stand_is_assumed
    assert part.stand.up == up
    assert part.mesh.volume == pytest.approx(BOX_VOLUME, rel=1e-14)
    assert np.array_equal(part.stand.to_file(part.mesh.corners), BOX)
    # The side that points up is the one along the direction named.
    height = np.ptp(part.mesh.bounds, axis=0)[2]
    assert height == SIDES["XYZ".index(up[1])]
    assert np.sign(part.mesh.bounds.sum(axis=0)[2]) == (1 if up[0] == "+" else -1)


def test_plus_z_is_assumed_to_point_up(block):
    part = read_part(block)
    assert part.stand.up == "+Z"
    assert part.stand_is_assumed
    assert np.array_equal(part.mesh.corners, BOX)


@pytest.mark.parametrize("up", ["", "Q", "++Z", "ZX"])
def test_an_unknown_stand_is_refused(up, block):
    with pytest.raises(OptionError, match=r"give one of \+Z, -Z, \+X, -X, \+Y, -Y"):
        read_part(block, up=up)


# ---- cold start


def test_reading_stl_loads_neither_trimesh_nor_scipy_nor_lib3mf(block):
    script = (
        "import sys, meshcomp.files as f; f.read_part(sys.argv[1]);"
        "print(*sorted({'trimesh', 'scipy', 'lib3mf', 'networkx'} & set(sys.modules)))"
    )
    found = subprocess.run(
        [sys.executable, "-c", script, str(block)],
        capture_output=True,
        encoding="utf-8",
        check=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])},
    )
    assert found.stdout.strip() == ""
