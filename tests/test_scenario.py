"""The demo parts are sound solids of the sizes they claim; prisms are tested apart.

Outside references: closed forms (a regular n-gon on a circle of radius r has the area
½ n r² sin(2π/n); frustums and prismatoids), Euler's formula, the shoelace formula, and the
libraries pymeshlab (crossing faces), trimesh (bodies, reading STL) and shapely.
"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from math import atan, cos, degrees, pi, radians, sin, sqrt, tan
from pathlib import Path

import numpy as np
import pymeshlab
import pytest
import shapely
import trimesh
from scipy.spatial import cKDTree

from meshcomp.errors import OptionError, PartFileError
from meshcomp.files import read_part
from meshcomp.scenario import demo_parts, true_features, write_scenario
from meshcomp.scenario.driving import DISC, PINION
from meshcomp.scenario.outlines import area, scalloped
from meshcomp.scenario.profiles import gear_outline, lobed_outline

MODELS = Path(__file__).parents[1] / "models"
PARTS = demo_parts()
each_part = pytest.mark.parametrize("name", PARTS)

# Through holes, counted in the list of each part's sizes.
GENUS = {
    "indexing_wheel": 1 + 5 + 5,
    "bearing_plate": 2 + 4 + 2 + 1,
    "shaft_spacer": 1,
    "lobed_disc": 1 + 5,
    "pin_ring": 1 + 11 + 4,
    "pinion": 1,
    "stepper_bracket": 2 + 1 + 4,
    "knob": 0,
}
# Circles that something interrupts: notches, a keyway.
INTERRUPTED = {("indexing_wheel", 86.0), ("pinion", 5.0)}


def _ngon(facets, radius):
    return facets / 2 * radius**2 * sin(2 * pi / facets)


def _crossings(points, faces):
    meshes = pymeshlab.MeshSet()
    meshes.add_mesh(pymeshlab.Mesh(np.array(points), np.array(faces)))
    meshes.compute_selection_by_self_intersections_per_face()
    return meshes.current_mesh().selected_face_number()


def _edges(mesh):
    return mesh.faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)


@each_part
def test_every_edge_is_run_through_once_each_way(name):
    edges = Counter(map(tuple, _edges(PARTS[name]).tolist()))
    assert set(edges.values()) == {1}
    assert all((b, a) in edges for a, b in edges)


@each_part
def test_a_part_is_one_body_with_the_through_holes_it_should_have(name):
    mesh = PARTS[name]
    edges = len(_edges(mesh)) // 2
    assert len(np.unique(mesh.faces)) == len(mesh.vertices)
    assert mesh.to_trimesh().body_count == 1
    characteristic = len(mesh.vertices) - edges + len(mesh.faces)  # Euler: 2 - 2 genus
    assert characteristic == 2 - 2 * GENUS[name]


@each_part
def test_no_faces_cross_not_even_when_written_in_32_bits(name):
    mesh = PARTS[name]
    assert _crossings(mesh.vertices, mesh.faces) == 0
    rounded = mesh.vertices.astype(np.float32).astype(np.float64)
    assert _crossings(rounded, mesh.faces) == 0


@each_part
def test_no_face_and_no_vertex_is_degenerate(name):
    mesh = PARTS[name]
    corners = mesh.corners
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    heights = 2 * np.linalg.norm(mesh.area_vectors, axis=1) / longest
    assert heights.min() > 1e-4  # mm: 25 times the spacing of 32-bit numbers there
    assert len(np.unique(mesh.vertices.round(6), axis=0)) == len(mesh.vertices)


def _wheel_volume():
    # Between two notches: arc facets, then the two triangles from the axis to a flank.
    segments, bottom = 30, 43.0 - 2.5
    half_width = (sqrt(2 * 43.0**2 - bottom**2) - bottom) / 2
    opening = 2 * np.arcsin(half_width / 43.0)
    arc = segments / 2 * 43.0**2 * sin((2 * pi / 5 - opening) / segments)
    rim = 5 * (arc + bottom * half_width)
    seats = 5 * (3.5 * _ngon(72, 12.7) + 2.5 * _ngon(72, 14.25))
    centre = 5.5 * _ngon(96, 6.0) + 4.5 * _ngon(96, 11.0)
    return 6 * rim + 4 * _ngon(96, 12.5) - seats - centre - 30 * _ngon(48, 1.6)


def _plate_volume():
    outer = 92 * 70 - 4 * 36 + _ngon(24, 6.0)
    slot = 14 * 6 + _ngon(24, 3.0)
    through = _ngon(24, 11.0) + slot + 4 * _ngon(24, 2.15) + 2 * _ngon(24, 2.5)
    return 6 * (outer - through) - _ngon(24, 5.0) - 5 * _ngon(24, 8.0)


def _spacer_volume():
    def frustum(a, b):
        return 0.6 / 3 * (_ngon(48, a) + _ngon(48, b) + _ngon(48, sqrt(a * b)))

    straight = 12.8 * (_ngon(48, 6.0) - _ngon(48, 4.0))
    return straight + 2 * (frustum(6.0, 5.4) - frustum(4.6, 4.0))


def _disc_volume():
    lobes = area(lobed_outline(DISC, sagitta=0.005))
    return 6 * (lobes - _ngon(96, 5.0) - 5 * _ngon(48, 3.5))


def _ring_volume():
    # Facets for a sagitta of 0.01: π / acos(1 - 0.01 / r), rounded up; corners to fours.
    outer = 78**2 - 4 * 64 + _ngon(64, 8.0)
    floor = 11 * _ngon(39, 3.0) + _ngon(74, 11.0)
    return 12 * (outer - 4 * _ngon(29, 1.6)) - 5 * floor - 7 * _ngon(132, 35.0)


def _pinion_volume():
    mouth = sqrt(2.5**2 - 1)
    arc = _ngon(48, 2.5) * sin((2 * pi - 2 * np.arcsin(0.4)) / 48) / sin(2 * pi / 48)
    bore = arc + mouth + 2 * (3.5 - mouth)
    return 8 * (area(gear_outline(PINION, flank=10, fillet=6)) - bore)


def _bracket_volume():
    plates = 50 * (34 * 5 + 5 * 45) + 4 * 26 * 26 / 2
    lying = _ngon(96, 11.0) + 4 * _ngon(48, 1.6)
    return plates - 5 * (lying + 2 * _ngon(48, 2.15))


def _grip(drawn_in):
    radii = {"tip_radius": 3 - drawn_in, "valley_radius": 3 + drawn_in}
    return scalloped(12, 14.0, segments=12, **radii)


def _knob_volume():
    # Corners run in straight lines, so areas are quadratic in z: Simpson's rule is exact.
    shift = 14 * tan(radians(2))
    foot, middle, top = (area(_grip(each)) for each in (0.0, shift / 2, shift))
    return 14 / 6 * (foot + 4 * middle + top) - 9 * _ngon(64, 3.0)


VOLUMES = {
    "indexing_wheel": _wheel_volume,
    "bearing_plate": _plate_volume,
    "shaft_spacer": _spacer_volume,
    "lobed_disc": _disc_volume,
    "pin_ring": _ring_volume,
    "pinion": _pinion_volume,
    "stepper_bracket": _bracket_volume,
    "knob": _knob_volume,
}


@each_part
def test_a_volume_is_its_closed_form(name):
    assert PARTS[name].volume == pytest.approx(VOLUMES[name](), rel=1e-9)


CYLINDERS = [
    pytest.param(name, each, id=f"{name}-{each.kind}-{each.size}-{number}")
    for name in PARTS
    for number, each in enumerate(true_features(name))
    if each.kind in {"bore", "boss"}
]


def _ends(name, feature):
    """Corners on a cylinder at its two ends, seen along its axis from that axis."""
    points = PARTS[name].vertices - feature.point
    axis = int(np.argmax(feature.direction))
    across = np.delete(points, axis, axis=1)
    on_circle = abs(np.hypot(*across.T) - feature.size / 2) < 1e-9
    along = points[:, axis] + feature.point[axis]
    return [across[on_circle & (abs(along - at) < 1e-9)] for at in _reach(feature)]


def _reach(feature):
    return feature.start, feature.end


@pytest.mark.parametrize(("name", "feature"), CYLINDERS)
def test_a_true_cylinder_has_its_corners_all_round_both_ends(name, feature):
    lower, upper = _ends(name, feature)
    assert len(lower) == len(upper) >= 24
    for corners in (lower, upper):
        angles = np.sort(np.arctan2(*corners.T))
        gaps = np.diff(angles, append=angles[0] + 2 * pi)
        # The widest gap is the pinion's keyway: 2 asin(1 / 2.5) = 47.2 degrees.
        assert np.degrees(gaps.max()) < (48 if name == "pinion" else 15.1)


def _round_rings(mesh, axis, height):
    """Kind, size and centre of each regular polygon in a section, by shapely."""
    normal = np.eye(3)[axis]
    section = mesh.to_trimesh().section(plane_origin=normal * height, plane_normal=normal)
    rings = [shapely.Polygon(np.delete(ring, axis, 1)) for ring in section.discrete]
    found = []
    for ring in rings:
        centre = np.array(ring.centroid.coords[0])
        radii = np.hypot(*(np.array(ring.exterior.coords)[:-1] - centre).T)
        # The diagonal of a facet leaves a point in its middle: only corners count.
        corners, radius = np.count_nonzero(radii > radii.max() - 1e-9), radii.max()
        polygon = _ngon(max(corners, 3), radius)
        if corners > 20 and ring.area == pytest.approx(polygon, rel=1e-9):
            depth = sum(other.contains_properly(ring) for other in rings)
            found.append((("boss", "bore")[depth % 2], 2 * radius, *centre))
    return Counter(_rounded(each) for each in found)


def _rounded(ring):
    return ring[0], *(round(float(number), 6) + 0.0 for number in ring[1:])


@pytest.mark.parametrize(
    ("name", "axis"), [*((name, 2) for name in PARTS), ("stepper_bracket", 1)]
)
def test_no_round_bore_or_boss_is_missing_from_the_true_features(name, axis):
    features = [
        each
        for each in true_features(name)
        if each.kind in {"bore", "boss"} and each.direction[axis] == 1
        if (name, each.size) not in INTERRUPTED
    ]
    edges = sorted({at for each in features for at in _reach(each)})
    for height in [(low + high) / 2 for low, high in pairwise(edges)]:
        expected = Counter(
            _rounded((each.kind, each.size, *np.delete(each.point, axis)))
            for each in features
            if each.start < height < each.end
        )
        assert _round_rings(PARTS[name], axis, height) == expected


PLANES = [
    pytest.param(name, each, id=f"{name}-{each.kind}-{each.size}-{number}")
    for name in PARTS
    for number, each in enumerate(true_features(name))
    if each.kind in {"wall", "slot"}
]


@pytest.mark.parametrize(("name", "feature"), PLANES)
def test_a_true_wall_or_slot_has_faces_in_both_its_planes(name, feature):
    mesh, axis = PARTS[name], int(np.argmax(feature.direction))
    assert feature.end - feature.start == pytest.approx(feature.size, abs=1e-12)
    outward = mesh.area_vectors[:, axis] * (1 if feature.kind == "wall" else -1)
    for at, sense in ((feature.start, -1), (feature.end, 1)):
        in_plane = (abs(mesh.corners[:, :, axis] - at) < 1e-12).all(axis=1)
        assert (outward[in_plane] * sense > 0).all()
        assert outward[in_plane].sum() * sense > 4.0  # mm²


def test_the_knob_has_its_draft_everywhere_outside():
    normals = PARTS["knob"].area_vectors
    normals = normals / np.linalg.norm(normals, axis=1, keepdims=True)
    drafts = np.degrees(np.arcsin(normals[:, 2]))
    drafts = drafts[(drafts > 0.1) & (drafts < 80)]
    # 2 degrees at the corners; in a facet's middle the cosine of half its step less. A
    # lobe's arc spans 2 x 52.2 degrees in 12 facets.
    least = degrees(atan(tan(radians(2)) * cos(radians(52.16 / 12))))
    assert drafts.min() == pytest.approx(least, abs=1e-5)
    assert drafts.max() < 2.0
    assert len(drafts) == 2 * 288


def test_the_disc_touches_every_pin_of_the_ring_at_every_crank_angle():
    # Mathematics of the cycloidal drive: the disc's centre runs round on the radius E, and
    # the disc turns back by one lobe in a turn of the crank.
    pins = [each.point[:2] for each in true_features("pin_ring") if each.size == 6.0]
    places = np.array(pins)
    outline = shapely.LinearRing(lobed_outline(DISC, sagitta=1e-6))
    for crank in np.linspace(0, 2 * pi, 13):
        centred = places - (DISC.eccentricity * cos(crank), -DISC.eccentricity * sin(crank))
        turn = -crank / (DISC.pins - 1)
        c, s = cos(turn), sin(turn)
        seen = shapely.points(centred @ np.array([[c, s], [-s, c]]))
        assert shapely.distance(outline, seen) == pytest.approx(np.full(11, 3.0), abs=3e-6)


def test_an_unknown_part_is_refused():
    with pytest.raises(OptionError, match="no demo part is named 'hub': give one of index"):
        true_features("hub")


@each_part
def test_models_hold_what_the_code_builds(name):
    stored = trimesh.load_mesh(MODELS / f"{name}.stl", process=False).triangles
    assert_same_solid(stored, PARTS[name].corners)


def assert_same_solid(stored, built):
    """Compare corners, volume and area: which diagonal divides a flat is left open.

    Where two diagonals are as good, what chooses has differed from one machine to another.
    """
    assert len(stored) == len(built)
    corners, wanted = stored.reshape(-1, 3), built.reshape(-1, 3)
    # Half the spacing of 32-bit numbers at 64 mm, and another half for other processors.
    for one, other in ((corners, wanted), (wanted, corners)):
        assert cKDTree(one).query(other, p=np.inf)[0].max() <= 4e-6
    known = [
        (
            trimesh.triangles.mass_properties(each)["volume"],
            trimesh.triangles.area(each).sum(),
        )
        for each in (stored.astype(float), built)
    ]
    assert known[0] == pytest.approx(known[1], rel=2e-6)


def test_the_readme_of_models_counts_the_triangles():
    rows = (MODELS / "README.md").read_text(encoding="utf-8").splitlines()
    cells = [[cell.strip() for cell in row.split("|")] for row in rows if row[:3] == "| `"]
    counts = {row[1].strip("`"): int(row[-2]) for row in cells}
    assert counts == {name: len(mesh.faces) for name, mesh in PARTS.items()}


def test_writing_the_scenario_gives_the_files_of_models(tmp_path):
    paths = write_scenario(tmp_path / "new" / "folder")
    assert {path.name for path in paths} == {path.name for path in MODELS.iterdir()} - {
        "README.md"
    }
    assert sum(path.stat().st_size for path in MODELS.iterdir()) < 1e6
    for path in paths[:-2]:
        stored = read_part(MODELS / path.name)
        part = read_part(path)
        assert_same_solid(stored.mesh.corners, part.mesh.corners)
        assert len(part.mesh.vertices) == len(PARTS[part.name].vertices)
    for path in paths[-2:]:
        assert path.read_text(encoding="utf-8") == (MODELS / path.name).read_text(
            encoding="utf-8"
        )


def test_a_file_in_the_place_of_the_directory_is_refused(tmp_path):
    (tmp_path / "taken").touch()
    with pytest.raises(PartFileError, match="cannot be made a directory"):
        write_scenario(tmp_path / "taken")
