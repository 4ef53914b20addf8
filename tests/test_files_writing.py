"""Writing: whole or not at all, never over the source, in its frame and its unit."""

from __future__ import annotations

import os
import stat

import numpy as np
import pytest
import trimesh
from test_files_samples import BOX, packed_stl

from meshcomp.errors import OptionError, PartFileError
from meshcomp.files import atomic, read_part, write_part
from meshcomp.files.atomic import save_atomically
from meshcomp.stands import STANDS

ENDINGS = ["stl", "3mf", "obj", "ply"]


@pytest.fixture
def block(tmp_path):
    path = tmp_path / "block.stl"
    path.write_bytes(packed_stl(BOX))
    return path


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("up", STANDS)
def test_the_part_is_turned_back_to_the_frame_of_the_file(up, ending, block, tmp_path):
    write_part(read_part(block, up=up), tmp_path / f"again.{ending}")
    assert np.array_equal(read_part(tmp_path / f"again.{ending}").mesh.corners, BOX)


@pytest.mark.parametrize("ending", ["stl", "obj", "ply"])
@pytest.mark.parametrize("unit", ["inch", "cm", "micron", "foot"])
def test_a_part_is_written_in_the_unit_it_was_read_in(unit, ending, block, tmp_path):
    write_part(read_part(block, unit=unit), tmp_path / f"again.{ending}")
    other = trimesh.load_mesh(tmp_path / f"again.{ending}", process=False)
    assert other.triangles == pytest.approx(BOX, rel=1e-15)


def test_text_is_for_stl_only(block, tmp_path):
    part = read_part(block)
    with pytest.raises(OptionError, match=r"ascii is for STL, not for \.ply: leave it out"):
        write_part(part, tmp_path / "again.ply", ascii=True)
    write_part(part, tmp_path / "again.stl", ascii=True)
    assert (tmp_path / "again.stl").read_bytes().startswith(b"solid block\n")


def test_an_unknown_ending_is_refused(block, tmp_path):
    with pytest.raises(PartFileError, match=r"its ending '\.step' is not one of"):
        write_part(read_part(block), tmp_path / "again.step")


def test_the_source_is_never_overwritten(block, monkeypatch):
    part = read_part(block)
    before = block.read_bytes()
    monkeypatch.chdir(block.parent)
    (block.parent / "link.stl").symlink_to(block)
    os.link(block, block.parent / "hard.stl")
    for name in [block, "block.stl", "./block.stl", "link.stl", "hard.stl"]:
        with pytest.raises(PartFileError, match="never overwritten: choose another name"):
            write_part(part, name)
    assert block.read_bytes() == before


def test_a_source_that_is_gone_may_not_be_made_again(block):
    part = read_part(block)
    block.unlink()
    with pytest.raises(PartFileError, match="never overwritten"):
        write_part(part, block)


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("none/again.stl", "No such file or directory"),
        ("block.stl/again.stl", "Not a directory"),
        ("x" * 300 + ".stl", "File name too long"),
        ("a\0b.stl", "null"),
    ],
)
def test_a_place_that_cannot_be_written_to_is_named(name, reason, block):
    with pytest.raises(
        PartFileError, match=f"cannot be written .*{reason}.*choose a folder"
    ):
        write_part(read_part(block), f"{block.parent}/{name}")


def test_a_folder_is_not_replaced(block, tmp_path):
    (tmp_path / "again.stl").mkdir()
    with pytest.raises(PartFileError, match=r"again\.stl cannot be written"):
        write_part(read_part(block), tmp_path / "again.stl")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["again.stl", "block.stl"]


# ---- saving


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_failure_leaves_the_old_file_and_nothing_else(step, tmp_path, monkeypatch):
    (tmp_path / "report.json").write_bytes(b"old")

    def fail(*_):
        raise OSError(28, "No space left on device")

    owner = atomic.os if step == "fsync" else atomic.Path
    monkeypatch.setattr(owner, step, fail)
    with pytest.raises(PartFileError, match="No space left on device"):
        save_atomically(tmp_path / "report.json", b"new")
    assert [path.name for path in tmp_path.iterdir()] == ["report.json"]
    assert (tmp_path / "report.json").read_bytes() == b"old"


def test_an_interruption_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    (tmp_path / "report.json").write_bytes(b"old")

    def interrupt(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(atomic.os, "fsync", interrupt)
    with pytest.raises(KeyboardInterrupt):
        save_atomically(tmp_path / "report.json", b"new")
    assert [path.name for path in tmp_path.iterdir()] == ["report.json"]


def test_the_bytes_are_on_disk_before_the_name_is(tmp_path, monkeypatch):
    steps = []
    fsync, replace = os.fsync, atomic.Path.replace
    monkeypatch.setattr(atomic.os, "fsync", lambda h: (steps.append("fsync"), fsync(h)))
    monkeypatch.setattr(
        atomic.Path, "replace", lambda a, b: (steps.append("replace"), replace(a, b))
    )
    save_atomically(tmp_path / "report.json", b"new")
    assert steps == ["fsync", "replace", "fsync"]


def test_permissions_of_a_file_that_is_replaced_are_kept(tmp_path):
    path = tmp_path / "report.json"
    path.write_bytes(b"old")
    path.chmod(0o640)
    save_atomically(path, b"new")
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert path.read_bytes() == b"new"


def test_a_new_file_has_the_permissions_of_any_new_file(tmp_path):
    save_atomically(tmp_path / "report.json", b"new")
    (tmp_path / "other.json").write_bytes(b"new")
    modes = {stat.S_IMODE(path.stat().st_mode) for path in tmp_path.iterdir()}
    assert len(modes) == 1


def test_a_link_is_followed_not_replaced(tmp_path):
    (tmp_path / "real.json").write_bytes(b"old")
    (tmp_path / "link.json").symlink_to(tmp_path / "real.json")
    save_atomically(tmp_path / "link.json", b"new")
    assert (tmp_path / "link.json").is_symlink()
    assert (tmp_path / "real.json").read_bytes() == b"new"
