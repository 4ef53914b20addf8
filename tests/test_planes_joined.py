"""Planes that a large file divides finely are made of few faces, and nothing else changes.

Outside references: trimesh's subdivision and its volume, area and closedness; the demo
part before it was divided; real parts of shared/data, where it is there.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose

import meshcomp
from meshcomp.loops import rim_of
from meshcomp.meshes import Mesh, mesh_from_trimesh
from meshcomp.parts import Part, Repair
from meshcomp.repairing import faults
from meshcomp.repairing.planes import with_planes_joined
from meshcomp.segmentation import flatness_limit, planar_regions
from meshcomp.topology import topology_of

DATA = Path(__file__).parents[1].parent / "shared" / "data"
REAL_PARTS = sorted(DATA.glob("solid/*.stl")) or [
    pytest.param(DATA, marks=pytest.mark.skip(reason="no shared data"))
]


def divided(shape: trimesh.Trimesh, least: int = 30_000) -> Mesh:
    """Cut every triangle in four until there are many, with points of 32 bits."""
    shape = shape.subdivide()
    while len(shape.faces) < least:
        shape = shape.subdivide()
    points = np.asarray(shape.vertices, dtype=np.float32).astype(float)
    return Mesh(points, np.array(shape.faces))


def part_of(mesh: Mesh) -> Part:
    spacer = meshcomp.demo_part("shaft_spacer")
    return replace(spacer, mesh=mesh, piece_of_face=np.zeros(len(mesh.faces), np.int64))


def turned(mesh: Mesh, angle: float = 0.7) -> trimesh.Trimesh:
    shape = mesh.to_trimesh()
    turn = trimesh.transformations.rotation_matrix(angle, (1, 2, 3))
    return shape.apply_transform(turn)


@pytest.mark.parametrize("name", ["bearing_plate", "indexing_wheel", "stepper_bracket"])
def test_a_divided_part_is_joined_to_what_it_was(name):
    plain = meshcomp.demo_part(name)
    part = part_of(divided(plain.mesh.to_trimesh()))
    joined = with_planes_joined(part)

    assert len(joined.mesh.faces) <= len(plain.mesh.faces)
    assert joined.repairs[-1].kind == "faces joined"
    assert joined.repairs[-1].count == len(part.mesh.faces) - len(joined.mesh.faces)
    before, after = part.mesh.to_trimesh(), joined.mesh.to_trimesh()
    assert after.is_watertight
    assert after.is_winding_consistent
    assert_allclose(after.volume, before.volume, rtol=1e-7)
    assert_allclose(after.area, before.area, rtol=1e-7)
    found = [
        (f.id, round(f.nominal_size or 0, 4)) for f in meshcomp.inspect(joined).features
    ]
    true = [(f.id, round(f.nominal_size or 0, 4)) for f in meshcomp.inspect(plain).features]
    assert found == true


@pytest.mark.parametrize("name", ["bearing_plate", "indexing_wheel"])
def test_no_point_of_a_turned_part_is_far_from_what_is_left(name):
    part = part_of(divided(turned(meshcomp.demo_part(name).mesh)))
    joined = with_planes_joined(part).mesh

    assert 2 * len(joined.faces) < len(part.mesh.faces)
    old = {tuple(point) for point in part.mesh.vertices.tolist()}
    assert {tuple(point) for point in joined.vertices.tolist()} <= old
    for point in part.mesh.vertices[:: len(part.mesh.vertices) // 100]:
        at = np.broadcast_to(point, (len(joined.faces), 3))
        nearest = trimesh.triangles.closest_point(joined.corners, at)
        distance = np.linalg.norm(nearest - point, axis=1).min()
        assert distance < 8 * flatness_limit(part.mesh)


def test_curved_surfaces_and_small_files_stay_as_they_are():
    ball = part_of(mesh_from_trimesh(trimesh.creation.icosphere(subdivisions=6)))
    small = meshcomp.demo_part("indexing_wheel")

    assert len(ball.mesh.faces) > 30_000
    assert with_planes_joined(ball) is ball
    assert with_planes_joined(small) is small


def test_a_fold_of_a_twentieth_of_a_degree_stays():
    """Two halves of a lid of 40 mm that bend by 0.05 degrees, 0.017 mm in its middle."""
    rise = 20 * np.tan(np.radians(0.025))
    points = [(-20, 0), (20, 0), (20, 5), (0, 5 + rise), (-20, 5)]
    polygon = trimesh.path.polygons.Polygon(points)
    roof = trimesh.creation.extrude_polygon(polygon, 30)
    joined = with_planes_joined(part_of(divided(roof))).mesh

    assert len(planar_regions(joined, topology_of(joined)).areas) == 7
    assert len(joined.vertices) == 10


def test_an_edge_that_is_not_straight_keeps_its_points():
    """Nearly level faces meet along an edge that bends in their plane by 0.2 mm."""
    rng = np.random.default_rng(5)
    x = np.linspace(0, 40, 9)
    bent = np.column_stack([x, rng.uniform(-0.2, 0.2, 9)])
    ridge = [(px, py, 5 - abs(py) * 1e-3) for px, py in bent.tolist()]
    hull = [(0, -10, 4.99), (40, -10, 4.99), (40, 10, 4.99), (0, 10, 4.99)]
    mesh = _roofed(ridge, hull)
    joined = with_planes_joined(part_of(divided(mesh))).mesh

    kept = {tuple(np.round(p, 3)) for p in joined.vertices.tolist()}
    assert {tuple(np.round(p, 3)) for p in ridge} <= kept


def _roofed(ridge, hull):
    """Build a closed solid: two strips of a roof on a box with its floor at 0."""
    top = np.array([*ridge, *hull])
    n = len(ridge)
    a, b, c, d = range(n, n + 4)
    faces = []
    for k in range(n - 1):
        faces += [(a, k + 1, k), (d, k, k + 1)]
    faces += [(a, b, n - 1), (d, n - 1, c)]
    low = [(x, y, 0.0) for x, y, _ in hull]
    points = np.concatenate([top, low])
    e, f, g, h = range(n + 4, n + 8)
    faces += [(e, g, f), (e, h, g), (a, e, f), (a, f, b), (c, g, h), (c, h, d)]
    faces += [(b, f, g), (b, g, c), (b, c, n - 1), (d, h, e), (d, e, a), (d, a, 0)]
    shape = trimesh.Trimesh(points, faces, process=False)
    assert shape.is_watertight
    return shape


def test_a_rim_passes_over_dropped_points_to_the_next_that_is_kept():
    square = Mesh(
        [(0, 0, 0), (1, 0, 0), (2, 0, 0), (2, 2, 0), (1, 2, 0), (0, 2, 0)],
        [(0, 1, 5), (1, 4, 5), (1, 2, 4), (2, 3, 4)],
    )
    topology = topology_of(square)
    rim = rim_of(topology.twins, np.zeros(4, dtype=np.int64))
    starts = topology.starts[rim.half_edges]
    short = rim.without(np.isin(starts, [1, 4]))

    assert [starts[loop].tolist() for loop in rim.loops()] == [[0, 1, 2, 3, 4, 5]]
    names = topology.starts[short.half_edges]
    assert [names[loop].tolist() for loop in short.loops()] == [[0, 2, 3, 5]]
    assert rim.without(np.ones(6, dtype=bool)).loops() == []


def test_pieces_of_a_file_stay_apart():
    mesh = divided(meshcomp.demo_part("bearing_plate").mesh.to_trimesh())
    aside = Mesh(mesh.vertices + (200, 0, 0), mesh.faces)
    both = Mesh(
        np.concatenate([mesh.vertices, aside.vertices]),
        np.concatenate([mesh.faces, aside.faces + len(mesh.vertices)]),
    )
    piece = np.repeat([0, 1], len(mesh.faces))
    joined = with_planes_joined(replace(part_of(both), piece_of_face=piece))

    x = joined.mesh.corners[:, :, 0].min(axis=1)
    assert_allclose(joined.piece_of_face, (x > 100).astype(int))


def test_repair_joins_planes_and_says_so():
    part = part_of(divided(meshcomp.demo_part("bearing_plate").mesh.to_trimesh()))
    assert [r.kind for r in meshcomp.repair(part).repairs] == ["faces joined"]


def test_planes_of_fewer_faces_are_no_reason_to_look_for_surfaces_drawn_twice(monkeypatch):
    looked = []
    monkeypatch.setattr(faults, "doubled_faces", lambda mesh: looked.append(mesh) or [])
    part = part_of(divided(meshcomp.demo_part("bearing_plate").mesh.to_trimesh()))
    meshcomp.repair(part)
    assert not looked
    meshcomp.repair(replace(part, repairs=(Repair(kind="cracks", count=1),)))
    assert len(looked) == 1


@pytest.mark.slow
@pytest.mark.parametrize("path", REAL_PARTS, ids=lambda path: path.stem)
def test_divided_real_parts_keep_their_solid(path):
    """Volume, area and number of handles by trimesh, bodies as read."""
    read = meshcomp.repair(meshcomp.read(path))
    mesh = divided(read.mesh.to_trimesh())
    if len(mesh.faces) > 150_000:
        pytest.skip("large: takes long")
    joined = with_planes_joined(part_of(mesh)).mesh

    assert 2 * len(joined.faces) < len(mesh.faces)
    before, after = mesh.to_trimesh(), joined.to_trimesh()
    assert_allclose(after.volume, before.volume, rtol=1e-5)
    assert_allclose(after.area, before.area, rtol=1e-5)
    assert topology_of(joined).is_closed
    if topology_of(mesh).crowded == 0:  # else the points of touching edges are counted
        assert after.euler_number == before.euler_number
