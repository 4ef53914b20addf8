"""Joining corners: exact where the bits are equal, near where edges stay open."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from test_files_samples import BOX, BOX_FACES, BOX_POINTS

from meshcomp.files import welding
from meshcomp.files.welding import weld


def soup(corners):
    """Points and faces of triangles that share nothing."""
    return corners.reshape(-1, 3), np.arange(3 * len(corners)).reshape(-1, 3)


def test_box_of_separate_triangles_becomes_eight_points_and_closes():
    welded = weld(*soup(BOX))
    assert len(welded.points) == 8
    assert welded.is_closed
    assert np.array_equal(welded.points[welded.faces], BOX)


def test_points_come_in_the_order_of_first_use():
    welded = weld(*soup(BOX))
    _, first = np.unique(welded.faces.reshape(-1), return_index=True)
    assert np.array_equal(first, np.sort(first))


def test_minus_zero_is_zero():
    corners = BOX.copy()
    corners[::2][corners[::2] == 0.0] = -0.0
    welded = weld(*soup(corners))
    assert len(welded.points) == 8
    assert not np.signbit(welded.points).any()


@pytest.mark.parametrize("noise", [1e-15, 1e-12, 1e-9])
def test_zeros_written_as_noise_are_joined(noise):
    corners = BOX.copy()
    corners[3:7][corners[3:7] == 0.0] = noise
    welded = weld(*soup(corners))
    assert len(welded.points) == 8
    assert welded.is_closed


def test_points_further_apart_than_the_limit_stay_apart():
    corners = BOX.copy()
    corners[3, 0] += 1e-5  # the diagonal is 38 mm, so the limit is 3.8e-7 mm
    welded = weld(*soup(corners))
    assert len(welded.points) == 9
    assert not welded.is_closed


def test_a_closed_mesh_keeps_points_that_are_nearly_the_same():
    # Two boxes 1e-9 apart are two boxes: near joining is for open edges only.
    points = np.concatenate([BOX_POINTS, BOX_POINTS + (10.0 + 1e-9, 0, 0)])
    welded = weld(points, np.concatenate([BOX_FACES, BOX_FACES + 8]))
    assert len(welded.points) == 16
    assert welded.is_closed


def test_triangles_with_two_equal_corners_are_dropped_and_the_rest_kept_in_order():
    flat = np.array([(BOX[0, 0], BOX[0, 1], BOX[0, 1])])
    welded = weld(*soup(np.concatenate([BOX[:5], flat, BOX[5:]])))
    assert welded.kept.tolist() == [0, 1, 2, 3, 4, 6, 7, 8, 9, 10, 11, 12]
    assert np.array_equal(welded.points[welded.faces], BOX)


def test_unused_points_are_dropped():
    points = np.concatenate([BOX_POINTS[:4], [(99.0, 99.0, 99.0)], BOX_POINTS[4:]])
    welded = weld(points, np.where(BOX_FACES > 3, BOX_FACES + 1, BOX_FACES))
    assert len(welded.points) == 8
    assert welded.points.max() < 99


def test_a_missing_triangle_leaves_the_mesh_open():
    assert not weld(*soup(BOX[1:])).is_closed


def test_a_triangle_turned_over_leaves_the_mesh_open():
    corners = BOX.copy()
    corners[4] = corners[4, ::-1]
    assert not weld(*soup(corners)).is_closed


def test_hashes_that_all_collide_change_nothing(monkeypatch):
    expected = weld(*soup(BOX))
    alike = lambda words: np.zeros(len(words), np.uint64)  # noqa: E731
    monkeypatch.setattr(welding, "hashes_of_rows", alike)
    found = weld(*soup(BOX))
    assert np.array_equal(found.points, expected.points)
    assert np.array_equal(found.faces, expected.faces)


coordinates = st.lists(
    st.tuples(*[st.sampled_from([-1.0, -0.0, 0.0, 0.5, 2.0])] * 3), min_size=3, max_size=60
)


@given(coordinates)
def test_welding_keeps_the_corners_of_every_triangle_that_is_left(rows):
    corners = np.array(rows[: len(rows) // 3 * 3]).reshape(-1, 3, 3)
    welded = weld(*soup(corners))
    assert np.array_equal(welded.points[welded.faces], corners[welded.kept])
    assert len(np.unique(welded.points, axis=0)) == len(welded.points)


@pytest.mark.parametrize("part", ["icosphere", "torus", "capsule"])
def test_as_many_points_are_left_as_trimesh_merges(part):
    # Source: trimesh's own merging, which rounds coordinates and sorts them.
    make = {
        "icosphere": lambda: trimesh.creation.icosphere(subdivisions=3, radius=12.5),
        "torus": lambda: trimesh.creation.torus(20, 6),
        "capsule": lambda: trimesh.creation.capsule(30, 5),
    }[part]
    corners = np.float32(make().triangles).astype(float)
    other = trimesh.Trimesh(*soup(corners), process=False)
    other.merge_vertices()
    welded = weld(*soup(corners))
    assert len(welded.points) == len(other.vertices)
    assert welded.is_closed == other.is_winding_consistent == other.is_watertight
