"""Bodies that touch, or would touch once they have grown.

Outside reference: shapely, for whether two triangles in one plane have area in common.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh

from meshcomp.contacts import touching_faces
from meshcomp.meshes import Mesh, concatenate, mesh_from_trimesh
from meshcomp.topology import components, topology_of


def cubes(*places) -> tuple[Mesh, np.ndarray]:
    """Cubes of 10 mm, and the body of each face."""
    parts = []
    for place in places:
        cube = mesh_from_trimesh(trimesh.creation.box((10, 10, 10)))
        parts.append(cube.moved(cube.vertices + place))
    return concatenate(parts), np.repeat(np.arange(len(places)), 12)


def test_only_the_faces_that_lie_on_each_other_touch():
    mesh, bodies = cubes((0, 0, 0), (10, 3, 2))
    touching = touching_faces(mesh, bodies, 0.001)
    assert (mesh.corners[touching][..., 0] == 5).all()
    assert touching.sum() == 4


def test_faces_near_each_other_touch_if_the_distance_allows_it():
    mesh, bodies = cubes((0, 0, 0), (10.06, 0, 0))
    assert not touching_faces(mesh, bodies, 0.05).any()
    assert touching_faces(mesh, bodies, 0.07).sum() == 4


@pytest.mark.parametrize("place", [(10, 10, 0), (10, 10.01, 0), (0, 0, 30)])
def test_edges_in_common_are_no_contact(place):
    mesh, bodies = cubes((0, 0, 0), place)
    assert not touching_faces(mesh, bodies, 0.001).any()


def test_one_body_does_not_touch_itself():
    mesh, _ = cubes((0, 0, 0), (10, 0, 0))
    assert not touching_faces(mesh, np.zeros(24, dtype=np.int64), 0.001).any()


def test_contact_is_area_in_common_as_shapely_finds_it():
    rng = np.random.default_rng(11)
    for _ in range(200):
        a, b = rng.uniform(0, 4, (2, 3, 2)).round(2)
        flat = [shapely.Polygon(t) for t in (a, b)]
        lower = a if shapely.LinearRing(a).is_ccw else a[::-1]
        upper = b[::-1] if shapely.LinearRing(b).is_ccw else b
        points = np.column_stack([np.concatenate([lower, upper]), np.zeros(6)])
        pair = Mesh(points, [(0, 1, 2), (3, 4, 5)])
        found = touching_faces(pair, np.array([0, 1]), 0.001)
        assert found.all() == (flat[0].intersection(flat[1]).area > 1e-7)


@pytest.mark.parametrize(
    "places",
    [
        [(0, 0, 0), (10, 10, 0)],  # an edge in common
        [(0, 0, 0), (10, 0, 0)],  # a face in common
        [(0, 0, 0), (10, 0, 0), (0, 10, 0), (10, 10, 0)],  # four about one edge
    ],
)
def test_bodies_with_edges_in_common_stay_apart(places):
    mesh, _ = cubes(*places)
    corners, index = np.unique(mesh.vertices, axis=0, return_inverse=True)
    order = np.random.default_rng(3).permutation(len(mesh.faces))
    welded = Mesh(corners, index.ravel()[mesh.faces][order])
    topology = topology_of(welded)
    assert topology.is_closed
    labels = components(len(welded.faces), topology.pairs // 3)
    assert len(np.unique(labels)) == len(places)
    for label in np.unique(labels):
        body = Mesh(welded.vertices, welded.faces[labels == label])
        assert body.volume == pytest.approx(1000.0)
