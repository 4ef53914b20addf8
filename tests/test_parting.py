"""Bodies that touch along an edge or in a corner each have their own offsets.

Sizes are those of the boxes by construction; crossings are counted by pymeshlab, and
trimesh splits what was made into bodies.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
import trimesh
from outside import crossings, plane

import meshcomp
from meshcomp.compensation.crowding import joined_otherwise
from meshcomp.meshes import Mesh, concatenate


def box(low, high) -> Mesh:
    (x0, y0, z0), (x1, y1, z1) = low, high
    outline = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], dtype=float)
    return plane.prism([outline], z0, z1)


def together(*meshes: Mesh) -> Mesh:
    """Join meshes, with one vertex for equal points, as whoever reads a file does."""
    both = concatenate(list(meshes))
    points, index = np.unique(both.vertices, axis=0, return_inverse=True)
    return Mesh(points, index.reshape(-1)[both.faces])


def made(mesh: Mesh, rule: meshcomp.ByHand):
    spacer = meshcomp.demo_part("shaft_spacer")
    one_piece = np.zeros(len(mesh.faces), dtype=np.int64)
    found = meshcomp.inspect(replace(spacer, mesh=mesh, piece_of_face=one_piece))
    return found, meshcomp.compensate(found, meshcomp.plan(found, rule))


@pytest.mark.parametrize("lift", [0, 10], ids=["edge", "corner"])
def test_bodies_that_touch_in_an_edge_or_a_corner_shrink_each_for_itself(lift):
    first, second = (0, 0, 0), (10, 10, lift)
    boxes = [box(p, np.add(p, 10)) for p in (first, second)]
    found, result = made(together(*boxes), meshcomp.ByHand(wall_growth=-0.15))

    mesh = result.part.mesh
    bodies = sorted(mesh.to_trimesh().split(), key=lambda body: body.bounds[0, 0])
    expected = [
        (np.add(p, (0.15, 0.15, 0)), np.add(p, (9.85, 9.85, 10))) for p in (first, second)
    ]

    assert found.solid.bodies == 2
    assert result.limits == ()
    assert np.allclose([body.bounds for body in bodies], expected, atol=1e-6)
    assert crossings.crossing_faces(mesh) == 0
    assert meshcomp.verify(found, result, result.part).conforms


def test_bodies_that_touch_in_an_edge_do_not_grow_into_each_other():
    boxes = box((0, 0, 0), (10, 10, 10)), box((10, 10, 0), (20, 20, 10))
    found, result = made(together(*boxes), meshcomp.ByHand(wall_growth=0.15))

    assert crossings.crossing_faces(result.part.mesh) == 0
    assert {limit.reason for limit in result.limits} == {"faces would cross"}
    assert np.allclose(result.part.mesh.bounds[:, 0], (-0.15, 20.15), atol=1e-6)
    assert meshcomp.verify(found, result, result.part).checks[1].passed


def test_rounding_errors_about_zero_do_not_let_bodies_cross():
    # Half a ring against a block at y = 0, the block a hair too far.
    turns = np.linspace(0, np.pi, 25)
    arc = np.column_stack([np.cos(turns), -np.abs(np.sin(turns))])
    arc[[0, -1], 1] = 0
    outline = np.concatenate([10 * arc[::-1], 6 * arc])
    ring, block = plane.prism([outline], 0, 5), box((-20, -3e-12, 0), (20, 10, 5))
    mesh = concatenate([ring, block])
    before = crossings.crossing_faces(mesh)
    for growth in (-0.15, 0.05):
        rule = meshcomp.ByHand(wall_growth=growth, bore_opening=0.2)
        found, _ = made(mesh, rule)
        of_block = [f.id for f in found.features if (f.faces >= len(ring.faces)).all()]
        decided = meshcomp.plan(found, rule, keep=of_block)
        result = meshcomp.compensate(found, decided)
        assert before > crossings.crossing_faces(result.part.mesh) == 0


def test_what_corners_that_two_walls_share_cannot_follow_is_told():
    # Two pillars that touch along an edge, under one slab: where that edge ends, one point
    # has walls of both pillars, which are to move apart.
    boxes = [
        ((0, 0, 0), (10, 10, 10)),
        ((10, 10, 0), (20, 20, 10)),
        ((0, 0, 10), (20, 20, 15)),
    ]
    solid = trimesh.boolean.union(
        [trimesh.creation.box(bounds=ends) for ends in boxes], engine="manifold"
    )
    found, result = made(
        Mesh(solid.vertices, solid.faces), meshcomp.ByHand(wall_growth=-0.15)
    )
    proof = meshcomp.verify(found, result, result.part)
    missed = proof.volume_change - proof.predicted_volume_change

    assert abs(missed) > 0.02 * result.moved_volume
    assert {x.reason for x in result.limits} == {
        "a neighbour that moves otherwise bends it"
    }
    assert all(np.allclose(x.place[:2], 10) for x in result.limits)
    assert all(check.passed for check in proof.checks)


def slit() -> Mesh:
    """Return a plate 20 x 12 x 6 with a cut to its middle that has no width at all."""
    corners = [(0, 0), (9, 0), (9, 8), (11, 8), (11, 0), (20, 0), (20, 12), (0, 12)]
    plate = plane.prism([np.array(corners, dtype=float)], 0, 6)
    points = plate.vertices.copy()
    points[np.abs(points[:, 0] - 10) == 1, 0] = 10
    joined = together(plate.moved(points))
    faces = joined.faces
    return Mesh(joined.vertices, faces[(faces != np.roll(faces, -1, axis=1)).all(axis=1)])


@pytest.mark.parametrize("growth", [-0.15, -0.05, 0.05, 0.15])
def test_a_cut_without_width_neither_parts_a_body_nor_is_left_unsaid(growth):
    found, result = made(slit(), meshcomp.ByHand(wall_growth=growth))
    proof = meshcomp.verify(found, result, result.part)

    assert result.part.mesh.to_trimesh().body_count == 1
    assert [check.name for check in proof.checks if not check.passed] == []
    assert [limit.feature_id for limit in result.limits] == ["profile-01"]
    assert crossings.crossing_faces(result.part.mesh) == 0


def test_where_a_reader_would_take_a_body_for_two_is_found():
    # By construction: a plate narrow at its middle, and again with no width there.
    outline = [(-9, -8), (9, -8), (1, 0), (9, 8), (-9, 8), (-1, 0)]
    plate = plane.prism([np.array(outline, dtype=float)], 0, 6)
    solid = made(plate, meshcomp.ByHand())[0].solid
    points = plate.vertices.copy()
    points[points[:, 1] == 0, 0] = 0
    pinched = plate.moved(points)
    pairs = joined_otherwise(solid, plate, pinched)
    middles = pinched.corners[np.unique(pairs)].mean(axis=1)

    assert joined_otherwise(solid, plate, plate).tolist() == []
    assert len(pairs) > 0
    assert {(x > 0, y > 0) for x, y, _ in middles.tolist()} == set(
        product((False, True), repeat=2)
    )
