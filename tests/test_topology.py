"""Neighbours, components and handles of meshes whose numbers are known.

Outside references: Euler's formula, and trimesh for adjacency of real shapes.
"""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from outside import plane

from meshcomp.meshes import Mesh, concatenate, mesh_from_trimesh
from meshcomp.scenario import demo_part
from meshcomp.topology import bodies_of, components, fans, genus, topology_of

SHAPES = {
    "box": (trimesh.creation.box, 0),
    "sphere": (trimesh.creation.icosphere, 0),
    "torus": (lambda: trimesh.creation.torus(8, 2), 1),
    "tube": (lambda: trimesh.creation.annulus(2, 5, 4), 1),
}


@pytest.mark.parametrize("name", SHAPES)
def test_closed_shapes_are_closed_and_have_their_handles(name):
    build, handles = SHAPES[name]
    mesh = mesh_from_trimesh(build())
    topology = topology_of(mesh)
    assert topology.is_closed
    assert len(topology.open_half_edges) == 0
    assert genus(topology, 1) == handles


@pytest.mark.parametrize("name", SHAPES)
def test_neighbours_are_those_that_trimesh_finds(name):
    shape = SHAPES[name][0]()
    pairs = topology_of(mesh_from_trimesh(shape)).pairs // 3
    assert {frozenset(pair) for pair in pairs.tolist()} == {
        frozenset(pair) for pair in shape.face_adjacency.tolist()
    }


def test_twins_run_the_other_way_over_the_same_edge():
    mesh = demo_part("bearing_plate").mesh
    twins = topology_of(mesh).twins
    starts, ends = mesh.faces.ravel(), np.roll(mesh.faces, -1, axis=1).ravel()
    assert (twins[twins] == np.arange(len(twins))).all()
    assert (starts[twins] == ends).all()
    assert (ends[twins] == starts).all()


def test_a_missing_face_leaves_three_open_half_edges():
    box = mesh_from_trimesh(trimesh.creation.box())
    holed = Mesh(box.vertices, box.faces[1:])
    topology = topology_of(holed)
    assert not topology.is_closed
    open_ends = set(holed.faces.ravel()[topology.open_half_edges].tolist())
    assert open_ends == set(box.faces[0].tolist())
    assert (topology.neighbours == -1).sum() == 3


def test_a_face_turned_over_has_no_neighbour():
    box = mesh_from_trimesh(trimesh.creation.box())
    faces = box.faces.copy()
    faces[0] = faces[0, ::-1]
    assert not topology_of(Mesh(box.vertices, faces)).is_closed


def test_two_cubes_that_share_an_edge_are_closed():
    # An edge of four faces: two of either direction, paired by the order of faces.
    one = mesh_from_trimesh(trimesh.creation.box())
    other = one.moved(one.vertices + (1, 1, 0))
    both = concatenate([one, other])
    vertices, faces = np.unique(both.vertices, axis=0, return_inverse=True)
    welded = Mesh(vertices, faces.reshape(-1)[both.faces])
    assert len(vertices) == 14
    topology = topology_of(welded)
    assert topology.is_closed
    labels = components(len(welded.faces), topology.pairs // 3)
    assert sorted(np.bincount(labels)) == [12, 12]


def test_an_empty_mesh_is_not_closed():
    assert not topology_of(Mesh(np.zeros((0, 3)), np.zeros((0, 3)))).is_closed


def test_components_are_numbered_from_zero():
    labels = components(6, np.array([(0, 3), (3, 5), (1, 2)]))
    assert labels[0] == labels[3] == labels[5]
    assert labels[1] == labels[2]
    assert set(labels.tolist()) == {0, 1, 2}


def test_handles_are_summed_over_bodies():
    rings = [mesh_from_trimesh(trimesh.creation.torus(8, 2)) for _ in range(3)]
    apart = [mesh.moved(mesh.vertices + (30 * k, 0, 0)) for k, mesh in enumerate(rings)]
    assert genus(topology_of(concatenate(apart)), 3) == 3


@pytest.mark.parametrize("shift", [(1.0, 1.0, 0.0), (1.0, 1.0, 1.0)])
def test_bodies_that_touch_in_an_edge_or_a_vertex_have_no_handles(shift):
    box = mesh_from_trimesh(trimesh.creation.box())
    both = concatenate([box, box.moved(box.vertices + shift)])
    vertices, faces = np.unique(both.vertices, axis=0, return_inverse=True)
    welded = Mesh(vertices, faces.reshape(-1)[both.faces])
    assert len(vertices) < len(both.vertices)
    topology = topology_of(welded)
    assert topology.is_closed
    assert genus(topology, 2) == 0


@pytest.mark.parametrize("name", SHAPES)
def test_each_vertex_of_a_plain_solid_has_one_fan(name):
    mesh = mesh_from_trimesh(SHAPES[name][0]())
    own = fans(topology_of(mesh))
    pairs = np.unique(np.column_stack([own, mesh.faces.ravel()]), axis=0)
    assert len(pairs) == own.max() + 1 == len(np.unique(mesh.faces))


def test_a_vertex_in_which_two_bodies_touch_has_two_fans():
    box = mesh_from_trimesh(trimesh.creation.box())
    both = concatenate([box, box.moved(box.vertices + 1.0)])
    vertices, faces = np.unique(both.vertices, axis=0, return_inverse=True)
    own = fans(topology_of(Mesh(vertices, faces.reshape(-1)[both.faces])))
    assert (len(vertices), own.max() + 1) == (15, 16)


@pytest.mark.parametrize("order", [1, -1])
@pytest.mark.parametrize("noise", [0.0, 4e-34, -4e-34])
@pytest.mark.parametrize("corner", range(4))
def test_bodies_that_share_a_whole_face_stay_two(corner, noise, order):
    # Noise such as 32-bit files hold puts one of two shared triangles at half a turn to
    # the left of their edge, and the other at half a turn to the right.
    box = mesh_from_trimesh(trimesh.creation.box())
    box = box.moved(box.vertices + 0.5)
    both = concatenate([box, box.moved(box.vertices - (1.0, 0.0, 0.0))])
    vertices, faces = np.unique(order * both.vertices, axis=0, return_inverse=True)
    vertices = order * vertices
    shared = np.flatnonzero(vertices[:, 0] == 0)
    assert len(shared) == 4
    vertices[shared[corner], 0] = noise
    welded = Mesh(vertices, faces.reshape(-1)[both.faces])
    labels = components(len(both.faces), topology_of(welded).pairs // 3)
    assert labels.tolist() == [0] * 12 + [1] * 12


@pytest.mark.parametrize("film", [0.0, 1e-6, 5e-5, -5e-5])
@pytest.mark.parametrize("axis", [0, 1, 2])
def test_blocks_that_touch_by_a_film_stay_two(film, axis):
    # Two blocks side by side share an edge; one leans into the other by less than 1e-4 rad.
    one = np.array(trimesh.creation.box((4, 4, 4)).vertices) + 2.0
    other = one + [-4.0, 0.0, 0.0]
    other[(other[:, 0] == 0) & (other[:, 2] == 4), 0] += film
    faces = np.array(trimesh.creation.box((4, 4, 4)).faces)
    corners = np.concatenate([one, other])
    merged, index = np.unique(corners, axis=0, return_inverse=True)
    mesh = Mesh(
        np.roll(merged, axis, axis=1), index.ravel()[np.concatenate([faces, faces + 8])]
    )
    assert topology_of(mesh).crowded >= 1
    bodies = bodies_of(mesh)
    assert bodies.max() == 1
    assert len(set(bodies[:12])) == len(set(bodies[12:])) == 1
    assert genus(topology_of(mesh), 2) == 0


def test_faces_at_crowded_edges_are_paired_alike_whatever_numbers_vertices_have():
    # Two prisms with one side in common, both behind it: faces lie on each other there.
    outlines = [[(0, 0), (2, 0), (2, 1), (0, 1)], [(0, 0), (1, 0.3), (1, 0.7), (0, 1)]]
    long, short = (plane.prism([np.array(o, dtype=float)], 0, 1) for o in outlines)
    both = concatenate([long, short])
    points, index = np.unique(both.vertices, axis=0, return_inverse=True)
    faces = index.reshape(-1)[both.faces]
    expected = topology_of(Mesh(points, faces)).twins
    rng = np.random.default_rng(4)

    for _ in range(20):
        numbers = rng.permutation(len(points))
        renumbered = np.empty_like(points)
        renumbered[numbers] = points
        assert np.array_equal(topology_of(Mesh(renumbered, numbers[faces])).twins, expected)
