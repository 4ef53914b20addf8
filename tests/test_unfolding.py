"""Folds and needles that cuts leave in planes, against trimesh's volume and area."""

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from meshcomp.compensation.carving.unfolding import NEEDLE, folded_back, unfolded
from meshcomp.meshes import Mesh
from tests.outside import crossings

PYRAMID = np.array(
    [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0), (0.5, 0.5, 0), (0, 0, 1)], dtype=float
)
BASE = [(1, 0, 4), (2, 1, 4), (3, 2, 4), (0, 3, 4)]
SIDES = [(0, 1, 5), (1, 2, 5), (2, 3, 5), (3, 0, 5)]


def rounded(points, seed):
    """Turn points some way, put them some way off, and round to 32 bits as files do."""
    rng = np.random.default_rng(seed)
    turn = Rotation.random(random_state=rng)
    return (
        (turn.apply(10 * points) + rng.uniform(-80, 80, 3)).astype(np.float32).astype(float)
    )


def as_sound_as(mesh, volume, area):
    """Whether it is closed, and as large as given: judged by trimesh."""
    read = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    assert read.is_watertight
    assert read.is_winding_consistent
    assert read.volume == pytest.approx(volume, rel=1e-5)
    assert read.area == pytest.approx(area, rel=1e-5)
    assert crossings.crossing_faces(mesh) == 0


# 10 mm to a side: the volume is a third of base times height; the sides are two right
# triangles on the legs, and two on the hypotenuses of those.
VOLUME, AREA = 1000 / 3, 100 * (1 + 2 * 0.5 + 2 * np.sqrt(2) / 2)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("way", [0.2, 1e-3])
def test_a_point_that_passed_the_outline_is_left_out(seed, way):
    corners = PYRAMID.copy()
    corners[4] = (0.5, -way, 0)
    mesh = Mesh(rounded(corners, seed), np.array(BASE + SIDES))
    assert len(folded_back(mesh, np.arange(8)))

    flat, parents = unfolded(mesh, np.arange(8))

    assert len(folded_back(flat, np.arange(len(flat.faces)))) == 0
    assert len(flat.faces) == 6
    assert sorted(parents.tolist())[-4:] == [4, 5, 6, 7]
    assert set(parents.tolist()) & {0, 1, 2, 3}
    as_sound_as(flat, VOLUME, AREA)


def test_faces_made_anew_are_of_the_largest_face_of_their_plane():
    corners = PYRAMID.copy()
    corners[4] = (0.5, -0.2, 0)
    mesh = Mesh(corners, np.array(BASE + SIDES))
    areas = np.linalg.norm(mesh.area_vectors[:4], axis=1)
    assert areas == pytest.approx([0.1, 0.25, 0.6, 0.25])
    assert set(unfolded(mesh, np.arange(8))[1].tolist()) == {2, 4, 5, 6, 7}


@pytest.mark.parametrize("seed", range(5))
def test_needles_back_to_back_on_an_edge_are_left_out(seed):
    # The edge from corner 0 to 1 has a point on either side, and two needles between.
    corners = np.vstack([PYRAMID, [(0.4, 0, 0), (0.7, 0, 0)]])
    base = [(1, 6, 4), (6, 0, 4), *BASE[1:]]
    sides = [(0, 7, 5), (7, 1, 5), *SIDES[1:]]
    needles = [(0, 6, 1), (1, 7, 0)]
    mesh = Mesh(rounded(corners, seed), np.array(base + sides + needles))
    assert mesh.heights[-2:].max() < 2e-5

    flat, _ = unfolded(mesh, np.arange(len(mesh.faces)), 2e-5)

    assert flat.heights.min() > NEEDLE
    as_sound_as(flat, VOLUME, AREA)


@pytest.mark.parametrize("angle", [2.0, 0.5])
def test_the_edge_of_a_blade_is_no_fold(angle):
    # 10 mm wide, and at its back as thick as the angle makes it: 0.35 or 0.09 mm.
    high = 10 * np.tan(np.radians(angle))
    corners = [(x, y, z) for x in (0.0, 5.0) for y, z in ((0, 0), (10, 0), (10, high))]
    ends = [(0, 2, 1), (3, 4, 5)]
    walls = [(0, 1, 4), (0, 4, 3), (1, 2, 5), (1, 5, 4), (2, 0, 3), (2, 3, 5)]
    blade = Mesh(np.array(corners), np.array(ends + walls))
    assert blade.volume == pytest.approx(5 * 10 * high / 2)

    assert folded_back(blade, np.arange(8)).tolist() == []
    assert unfolded(blade, np.arange(8))[0] is blade
