"""Planar regions: as many as the shape has faces, however it is triangulated.

Outside reference: trimesh's facets, and the faces that solids have by definition.
"""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from meshcomp.meshes import Mesh, mesh_from_trimesh
from meshcomp.scenario import demo_part
from meshcomp.segmentation import flatness_limit, planar_regions
from meshcomp.topology import topology_of


def regions_of(mesh: Mesh):
    return planar_regions(mesh, topology_of(mesh))


def subdivided(shape: trimesh.Trimesh, times: int) -> trimesh.Trimesh:
    for _ in range(times):
        shape = shape.subdivide()
    return shape


@pytest.mark.parametrize("times", [0, 1, 3])
def test_a_box_has_six_regions_however_finely_it_is_split(times):
    shape = subdivided(trimesh.creation.box((4, 5, 6)), times)
    regions = regions_of(mesh_from_trimesh(shape))
    assert sorted(regions.areas.round(9)) == [20, 20, 24, 24, 30, 30]
    assert np.abs(regions.normals).max(axis=1) == pytest.approx(1.0)


def test_a_prism_of_n_sides_has_n_and_two_regions():
    shape = trimesh.creation.cylinder(radius=5, height=8, sections=24)
    regions = regions_of(mesh_from_trimesh(shape))
    assert len(regions.areas) == 26
    side = 8 * 2 * 5 * np.sin(np.pi / 24)
    assert (np.abs(regions.areas - side) < 1e-9).sum() == 24


def test_regions_survive_rotation_and_32_bits():
    turn = Rotation.from_rotvec([0.3, -1.1, 0.7]).as_matrix()
    box = subdivided(trimesh.creation.box((40, 50, 60)), 3)
    vertices = (box.vertices @ turn.T + (200, -100, 50)).astype(np.float32)
    regions = regions_of(Mesh(vertices.astype(float), np.array(box.faces)))
    assert len(regions.areas) == 6
    assert sorted(regions.areas) == pytest.approx(
        [2000, 2000, 2400, 2400, 3000, 3000], rel=1e-5
    )


def test_no_face_of_a_sphere_is_joined_to_another():
    sphere = trimesh.creation.icosphere(subdivisions=3, radius=10)
    regions = regions_of(mesh_from_trimesh(sphere))
    assert len(regions.areas) == len(sphere.faces)


def test_a_fine_cylinder_does_not_become_one_plane():
    # 720 facets at 10 mm: neighbours deviate by 0.0004 mm, less than the eye sees.
    shape = trimesh.creation.cylinder(radius=10, height=5, sections=720)
    regions = regions_of(mesh_from_trimesh(shape))
    assert len(regions.areas) == 722


def test_two_planes_at_one_height_are_two_regions():
    a, b = (trimesh.creation.box((2, 2, 2)) for _ in range(2))
    b.apply_translation((5, 0, 0))
    regions = regions_of(mesh_from_trimesh(trimesh.util.concatenate(a, b)))
    assert len(regions.areas) == 12


def test_face_normals_are_those_of_their_region():
    mesh = demo_part("stepper_bracket").mesh
    regions = regions_of(mesh)
    assert regions.face_normals.shape == (len(mesh.faces), 3)
    totals = np.bincount(regions.of_face, np.linalg.norm(mesh.area_vectors, axis=1))
    assert totals == pytest.approx(regions.areas, rel=1e-6)


def test_the_limit_grows_with_the_coordinates_as_32_bits_do():
    box = mesh_from_trimesh(trimesh.creation.box())
    near, far = flatness_limit(box), flatness_limit(box.moved(box.vertices + 1000))
    assert near == pytest.approx(2e-5, rel=0.1)
    assert far - near == pytest.approx(8 * 1000 * np.finfo(np.float32).eps / 2, rel=1e-2)
