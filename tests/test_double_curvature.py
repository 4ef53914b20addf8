"""Where a surface is curved both ways, and nowhere else, no cylinder is looked for.

Outside references: trimesh's shapes; the Gaussian curvature of a ring, cos t / (r (R + r
cos t)), which is zero round its top and bottom, and that of cylinders and cones, zero.
"""

from __future__ import annotations

from dataclasses import replace

import manifold3d
import numpy as np
import pytest
import trimesh

import meshcomp
from meshcomp.detection import bends
from meshcomp.detection.double_curvature import are_doubly_curved
from meshcomp.meshes import Mesh, mesh_from_trimesh
from meshcomp.segmentation import planar_regions
from meshcomp.topology import topology_of


def marked(mesh):
    topology = topology_of(mesh)
    normals = planar_regions(mesh, topology).face_normals
    return are_doubly_curved(mesh, topology, normals)


def mesh_part(mesh):
    spacer = meshcomp.demo_part("shaft_spacer")
    return replace(spacer, mesh=mesh, piece_of_face=np.zeros(len(mesh.faces), np.int64))


def turned(outline, sections=400):
    """Surface of revolution of a closed outline, (n, 2): radius and height."""
    return mesh_from_trimesh(trimesh.creation.revolve(outline, sections=sections))


def radii(mesh):
    middles = mesh.corners.mean(axis=1)
    return np.hypot(middles[:, 0], middles[:, 1])


def test_of_a_ring_its_parabolic_circles_are_left():
    ring = trimesh.creation.torus(30, 10, major_sections=800, minor_sections=400)
    found = marked(mesh_from_trimesh(ring))
    bulge = radii(mesh_from_trimesh(ring)) - 30  # r cos t

    assert found[np.abs(bulge) > 5].mean() > 0.85
    assert not found[np.abs(bulge) < 0.1].any()


def test_of_a_ball_nearly_all_is_marked():
    ball = trimesh.creation.icosphere(subdivisions=6, radius=20)
    assert marked(mesh_from_trimesh(ball)).mean() > 0.98


@pytest.mark.parametrize("top", [10.0, 6.0, 0.01])
@pytest.mark.parametrize("noise", [0.0, 1e-3])
def test_cylinders_and_cones_are_curved_one_way_at_most(top, noise):
    rng = np.random.default_rng(5)
    levels = np.linspace(0, 1, 80)
    turns = np.linspace(0, 2 * np.pi, 240, endpoint=False) + 0.3 * levels[:, None]
    radius = (10 + (top - 10) * levels)[:, None]
    height = np.broadcast_to(20 * levels[:, None], turns.shape)
    points = np.dstack([radius * np.cos(turns), radius * np.sin(turns), height])
    row, column = np.indices((79, 240)) * np.array([240, 1])[:, None, None]
    a, b = row + column, row + (column + 1) % 240
    faces = np.dstack([a, b, b + 240, a, b + 240, a + 240]).reshape(-1, 3)
    points = points.reshape(-1, 3) + rng.normal(0, noise, (80 * 240, 3))

    assert not marked(Mesh(points, faces)).any()


def test_a_wall_beside_roundings_is_kept():
    """A ring of 2 mm between entries rounded by 3 mm, all as finely divided."""
    arc = np.linspace(0, np.pi / 2, 60)
    rounding = np.column_stack([8 - 3 * np.cos(arc), 1 + 3 * np.sin(arc)])
    outline = np.vstack([(8, 4), (20, 4), (20, -4), (8, -4)])
    wall = np.column_stack([np.full(26, 5.0), np.linspace(-1, 1, 26)])[1:-1]
    inside = np.vstack([rounding[::-1] * (1, -1), wall, rounding])
    mesh = turned(np.vstack([inside[:-1], outline[:-1], inside[:1]]))
    found, radius = marked(mesh), radii(mesh)
    on_wall = np.abs(radius - 5) < 1e-3

    assert on_wall.sum() > 10_000
    assert not found[on_wall].any()
    assert found[(radius > 5.5) & (radius < 7.5)].any()


@pytest.mark.parametrize("name", ["bearing_plate", "indexing_wheel", "stepper_bracket"])
def test_features_are_those_found_where_every_edge_is_looked_at(name, monkeypatch):
    usual = meshcomp.inspect(meshcomp.demo_part(name)).features
    monkeypatch.setattr(bends, "_MANY", 0)
    found = meshcomp.inspect(meshcomp.demo_part(name)).features

    assert [f.id for f in found] == [f.id for f in usual]
    assert all(np.array_equal(a.faces, b.faces) for a, b in zip(found, usual, strict=True))


def test_the_long_facets_of_a_bore_through_a_fine_ball_are_kept():
    """Their middles lie as close together as those of the ball's, and tell nothing."""
    ball = manifold3d.Manifold.sphere(12.0, 900)
    bore = manifold3d.Manifold.cylinder(40.0, 3.0, 3.0, 200, center=True)
    found = (ball - bore).to_mesh64()
    mesh = Mesh(found.vert_properties[:, :3], np.asarray(found.tri_verts, np.int64))
    level = np.abs(mesh.area_vectors[:, 2]) < 1e-9
    on_wall = level & (radii(mesh) < 3.01)
    marks = marked(mesh)

    assert on_wall.sum() > 400
    assert not marks[on_wall].any()
    assert marks.mean() > 0.9
    assert [f.kind for f in meshcomp.inspect(mesh_part(mesh)).cylinders] == ["bore"]
