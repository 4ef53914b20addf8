"""Faces that cross are found as pymeshlab finds them.

Outside reference: pymeshlab through tests/outside/crossings.py.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from outside import crossings, plane

from meshcomp.crossings import crossing_pairs
from meshcomp.meshes import Mesh, concatenate, mesh_from_trimesh
from meshcomp.scenario import demo_parts


def cube(size: float, corner=(0.0, 0.0, 0.0)) -> Mesh:
    mesh = plane.prism([[(0, 0), (size, 0), (size, size), (0, size)]], 0, size)
    return mesh.moved(mesh.vertices + corner)


def count(mesh: Mesh, near=None) -> int:
    return len(np.unique(crossing_pairs(mesh, near)))


@pytest.mark.parametrize("name", sorted(demo_parts()))
def test_no_faces_of_a_sound_part_cross(name):
    mesh = demo_parts()[name]
    assert count(mesh) == 0
    assert crossings.crossing_faces(mesh) == 0


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), faces=st.integers(2, 60))
def test_scattered_triangles_cross_as_pymeshlab_says(seed, faces):
    rng = np.random.default_rng(seed)
    middles = rng.uniform(0, 4, (faces, 1, 3))
    corners = (middles + rng.uniform(-1, 1, (faces, 3, 3))).reshape(-1, 3)
    mesh = Mesh(corners, np.arange(3 * faces).reshape(-1, 3))
    assert count(mesh) == crossings.crossing_faces(mesh)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_crumpled_spheres_cross_as_pymeshlab_says(seed):
    # Faces share corners here, as those of a folded part do.
    import trimesh

    rng = np.random.default_rng(seed)
    sphere = mesh_from_trimesh(trimesh.creation.icosphere(subdivisions=2, radius=5))
    crumpled = sphere.moved(sphere.vertices + rng.normal(0, 0.8, sphere.vertices.shape))
    assert count(crumpled) == crossings.crossing_faces(crumpled) > 0


def test_two_cubes_that_only_touch_do_not_cross():
    assert count(concatenate([cube(4), cube(4, (4, 0, 0))])) == 0
    assert count(concatenate([cube(4), cube(2, (4, 1, 1))])) == 0


def test_a_corner_a_micrometre_deep_crosses():
    # A tetrahedron's tip in the lid's inside, away from its diagonal.
    tip = np.array([(2.8, 0.6, 4 - 1e-6), (2.5, 0.2, 9), (3.1, 0.2, 9), (2.8, 1, 9)])
    faces = [(0, 2, 1), (0, 3, 2), (0, 1, 3), (1, 2, 3)]
    deep = concatenate([cube(4), Mesh(tip, faces)])
    above = concatenate([cube(4), Mesh(tip + (0, 0, 2e-6), faces)])
    assert (count(deep), count(above)) == (4, 0)


def test_pairs_name_both_faces_smaller_first():
    pairs = crossing_pairs(concatenate([cube(4), cube(4, (2.1, 1.3, 0.7))]))
    assert (pairs[:, 0] < pairs[:, 1]).all()
    assert len(np.unique(pairs, axis=0)) == len(pairs)
    assert (pairs[:, 0] < 12).all()
    assert (pairs[:, 1] >= 12).all()


def test_only_pairs_with_a_marked_face_are_looked_at():
    both = concatenate([cube(4), cube(4, (2.1, 1.3, 0.7))])
    pairs = crossing_pairs(both)
    near = np.zeros(24, dtype=bool)
    near[pairs[0, 0]] = True
    wanted = pairs[(pairs == pairs[0, 0]).any(axis=1)]
    assert crossing_pairs(both, near).tolist() == wanted.tolist()
    assert len(crossing_pairs(both, np.zeros(24, dtype=bool))) == 0
