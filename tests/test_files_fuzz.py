"""Whatever the bytes are, they end as a part or as an error of our own."""

from __future__ import annotations

import io
import zipfile

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_files_samples import BOX, BOX_FACES, BOX_POINTS, packed_stl, spelled_stl

from meshcomp.errors import PartFileError
from meshcomp.files import read_part, write_part
from meshcomp.files.obj import obj_text
from meshcomp.files.ply import binary_ply
from meshcomp.files.threemf_writing import new_3mf

TEXT_PLY = b"""ply
format ascii 1.0
element vertex 4
property float x
property float y
property float z
property uchar red
element face 4
property list uchar int vertex_indices
end_header
0 0 0 1
9 0 0 2
0 9 0 3
0 0 9 4
3 0 2 1
3 0 1 3
3 1 2 3
3 2 0 3
"""
PINS = [("pin", BOX_POINTS, BOX_FACES), ("key", BOX_POINTS + 50, BOX_FACES)]
GOOD = {
    "binary.stl": packed_stl(BOX),
    "text.stl": spelled_stl(BOX[:3], "a") + spelled_stl(BOX[3:5], "b"),
    "two.obj": obj_text(PINS),
    "binary.ply": binary_ply(BOX_POINTS, BOX_FACES),
    "text.ply": TEXT_PLY,
    "two.3mf": new_3mf(PINS, "mm"),
}
# Words that each format gives a meaning to.
WORDS = [
    *(b"0", b"-1", b"7", b"99999999999", b"nan", b"1e99", b"1e400", b"1_0", b".", b"\n"),
    *(b"solid", b"endsolid", b"facet", b"vertex ", b"endloop", b"f 1 2 3\n", b"v 1 2 3\n"),
    *(b"/", b"\\\n", b"o \n", b"g\n", b"element q 1\n", b"property float q\n", b"uint"),
    *(
        b"property list uchar int q\n",
        b"end_header\n",
        b"\xff",
        b"\0",
        b"<",
        b'"',
        b"</mesh>",
    ),
]
# The model's text is changed inside the archive, so that the archive stays sound.
settings.register_profile(
    "files", deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def ends_well(folder, name, data):
    """Read a file; it gives a sound part, or an error that names the file."""
    path = folder / name
    path.write_bytes(data)
    try:
        part = read_part(path)
    except PartFileError as error:
        message = str(error)
    else:
        is_written_well(part, folder)
        return
    assert name in message


def is_written_well(part, folder):
    """Check a part, and that it is written and read again with the same numbers."""
    assert np.isfinite(part.mesh.vertices).all()
    assert part.mesh.faces.max() == len(part.mesh.vertices) - 1
    write_part(part, folder / "again.ply")
    again = read_part(folder / "again.ply")
    assert np.array_equal(again.mesh.corners, part.mesh.corners)


edits = st.lists(
    st.tuples(
        st.floats(0, 1, exclude_max=True),
        st.integers(0, 12),
        st.one_of(st.sampled_from(WORDS), st.binary(max_size=8)),
    ),
    min_size=1,
    max_size=3,
)


def changed(data, edits):
    """Cut some bytes out at each place, and put others in."""
    for place, cut, added in edits:
        start = int(place * (len(data) + 1))
        data = data[:start] + added + data[start + cut :]
    return data


@pytest.mark.parametrize("name", GOOD)
def test_the_files_to_change_are_good(name, tmp_path):
    (tmp_path / name).write_bytes(GOOD[name])
    assert len(read_part(tmp_path / name).mesh.faces) >= 4


@pytest.mark.parametrize("ending", ["stl", "3mf", "obj", "ply"])
@settings(settings.get_profile("files"), max_examples=60)
@given(data=st.binary(max_size=400))
def test_any_bytes_end_well(ending, data, tmp_path):
    ends_well(tmp_path, f"any.{ending}", data)


@pytest.mark.parametrize("name", GOOD)
@settings(settings.get_profile("files"), max_examples=150)
@given(edits=edits)
def test_changed_files_end_well(name, edits, tmp_path):
    ends_well(tmp_path, name, changed(GOOD[name], edits))


@settings(settings.get_profile("files"), max_examples=150)
@given(edits=edits)
def test_changed_models_in_sound_archives_end_well(edits, tmp_path):
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(GOOD["two.3mf"])) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for entry in old.namelist():
            text = old.read(entry)
            new.writestr(entry, changed(text, edits) if "model" in entry else text)
    ends_well(tmp_path, "two.3mf", out.getvalue())


@pytest.mark.parametrize("name", GOOD)
@settings(settings.get_profile("files"), max_examples=60)
@given(share=st.floats(0, 1, exclude_max=True))
def test_files_cut_off_end_well(name, share, tmp_path):
    ends_well(tmp_path, name, GOOD[name][: int(share * len(GOOD[name]))])
