from __future__ import annotations

import numpy as np
import pytest

from meshcomp.deviations import TERMS
from meshcomp.errors import OptionError, PartFileError
from meshcomp.measurements.designs import d_efficiency, d_optimal_sizes
from meshcomp.measurements.pieces import read_piece
from meshcomp.measurements.readings import READING_KINDS
from meshcomp.measurements.tables import read_readings
from meshcomp.testpieces import catalogue
from meshcomp.testpieces.ladders import PREFERRED_SIZES, ROUND_SIZES
from meshcomp.testpieces.lettering import label_meshes
from meshcomp.testpieces.pieces import Label
from meshcomp.testpieces.sheet import measuring_sheet
from meshcomp.testpieces.writing import write_testpiece

NAMES = catalogue.testpiece_names()
ROUND = (
    "bore",
    "boss",
    "lying bore width",
    "lying bore height",
    "seam along",
    "seam across",
)
CM3_IN_AN_HOUR = 21.6  # 6 mm³ a second, filled solid; common practice, no source


@pytest.mark.parametrize("name", NAMES)
def test_a_piece_is_closed_and_prints_within_the_hour(name):
    # Outside reference: trimesh says whether it is closed and what it holds.
    mesh = catalogue.build_testpiece(name).mesh.to_trimesh()
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert 0 < mesh.volume / 1000 < CM3_IN_AN_HOUR
    assert mesh.bounds[0, 2] == 0.0
    assert mesh.extents[:2].max() <= 180.0


@pytest.mark.parametrize("name", [n for n in NAMES if n != "lying-bores"])
def test_a_piece_needs_no_support(name):
    # Every face that looks down lies on the bed, but for steps that are no wider above.
    mesh = catalogue.build_testpiece(name).mesh.to_trimesh()
    down = mesh.face_normals[:, 2] < -0.7
    assert mesh.triangles_center[down, 2].max() == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_every_feature_is_where_the_description_says(name):
    piece = catalogue.build_testpiece(name)
    mesh = piece.mesh.to_trimesh()
    for feature in piece.sheet.features:
        if feature.kind in ROUND:
            _check_round(mesh, feature)
        else:
            _check_faces(mesh, feature)


def _check_round(mesh, feature):
    """Vertices of the feature lie on its cylinder: find them by the shape's own place."""
    axis = np.array(feature.direction)
    if feature.kind.startswith("lying"):
        axis = np.array([0.0, 1.0, 0.0])
    if feature.kind.startswith("seam"):
        axis = np.array([0.0, 0.0, 1.0])
    rel = mesh.vertices - feature.point
    along = rel @ axis
    radial = np.linalg.norm(rel - np.outer(along, axis), axis=1)
    on = np.abs(radial - feature.nominal_size / 2) < 1e-6
    assert on.sum() >= 2 * 40
    if not feature.kind.startswith(("lying", "seam")):
        top = np.abs(along[on] - feature.end)
        assert top.min() < 1e-6


def _check_faces(mesh, feature):
    """Faces across the direction lie at both ends of the length."""
    axis = np.array(feature.direction)
    centres = (mesh.triangles_center - feature.point) @ axis
    across = np.abs(np.abs(mesh.face_normals @ axis) - 1) < 1e-9
    for end in (feature.start, feature.end):
        assert np.abs(centres[across] - end).min() < 1e-6


@pytest.mark.parametrize("name", NAMES)
def test_ids_are_unique_and_kinds_known(name):
    features = catalogue.build_testpiece(name).sheet.features
    assert len({f.id for f in features}) == len(features)
    assert {f.kind for f in features} <= set(READING_KINDS)


@pytest.mark.parametrize("name", NAMES)
def test_what_is_written_can_be_read_back(name, tmp_path):
    folder = tmp_path / name
    paths = write_testpiece(name, folder)
    assert {p.name for p in folder.iterdir()} == {p.name for p in paths}
    sheet = read_piece(folder / "testpiece.json")
    assert sheet == catalogue.build_testpiece(name).sheet
    table = read_readings([folder / "readings.csv"])
    assert table.readings == ()
    assert table.unmeasured == tuple(f"{name} {f.id}" for f in sheet.features)
    assert (folder / "measuring-sheet.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("name", NAMES)
def test_the_sheet_names_every_feature(name):
    piece = catalogue.build_testpiece(name)
    drawing = measuring_sheet(piece, "svg").decode()
    for feature in piece.sheet.features:
        assert f">{feature.id}</text>" in drawing
        assert f">{feature.nominal_size:.3f}</text>" in drawing
    assert drawing == measuring_sheet(piece, "svg").decode()


def test_readings_at_the_bench_are_not_overwritten(tmp_path):
    write_testpiece("foot", tmp_path, sheets=False)
    table = tmp_path / "readings.csv"
    table.write_text(table.read_text(encoding="utf-8") + "# mine\n", encoding="utf-8")
    with pytest.raises(PartFileError, match="may hold readings"):
        write_testpiece("foot", tmp_path, sheets=False)


def test_the_round_sizes_tell_nearly_as_much_as_the_d_optimal_ones():
    best = d_optimal_sizes(PREFERRED_SIZES, TERMS, len(ROUND_SIZES))
    assert d_efficiency(ROUND_SIZES, best, TERMS) >= 0.9


def test_a_count_gives_d_optimal_sizes():
    piece = catalogue.build_testpiece("boss-ladder", count=6)
    found = tuple(f.nominal_size for f in piece.sheet.features)
    assert found == d_optimal_sizes(PREFERRED_SIZES, TERMS, 6)


@pytest.mark.parametrize(
    ("name", "options", "message"),
    [
        ("hole-ladder", {}, "there is no test piece 'hole-ladder'; there are bore-ladder"),
        ("foot", {"sizes": (1,)}, "foot has no option 'sizes'; it has size"),
        ("foot", {"size": 5.0}, "size goes from 20 to 100 mm, got 5 mm"),
        ("bore-ladder", {"sizes": (0.2,)}, r"go from 1 to 60 mm, got 0\.2 mm"),
        ("slot-ladder", {"sizes": ()}, "got none"),
        ("slot-ladder", {"sizes": (2, 2)}, "a size stands there twice"),
        ("bore-ladder", {"count": 2}, "2 sizes cannot be chosen"),
        ("wall-strip", {"line_width": 4.4}, r"line_width goes from 0\.1 to 2 mm"),
        ("outside-ladder", {"square": 10.0}, "the square goes from 30 to 200 mm"),
        ("plug-and-rings", {"steps": 1}, "2 to 12 of them"),
        ("fit-ladder", {"clearances": (3.0,)}, "clearances of -0.5 to 1 mm"),
    ],
)
def test_what_cannot_be_built_is_refused(name, options, message):
    with pytest.raises(OptionError, match=message):
        catalogue.build_testpiece(name, **options)


def test_an_unknown_character_is_refused():
    with pytest.raises(OptionError, match="labels have no character 'Q'"):
        label_meshes(Label(text="Q", x=0.0, y=0.0), 0.0)
