"""What is done otherwise on meshes of very many faces gives what is done on small ones.

Outside references: manifold3d for sections, numpy's sorting for equal points; trimesh's
icospheres and subdivision for meshes.
"""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose

import meshcomp
from meshcomp import solids, thinning
from meshcomp.compensation.sheets import in_single_sheet
from meshcomp.crossings import crossing_pairs
from meshcomp.detection import openings
from meshcomp.files import welding
from meshcomp.meshes import Mesh, concatenate, mesh_from_trimesh
from meshcomp.sections import rings_at
from meshcomp.segmentation import planar_regions, rims_of
from meshcomp.topology import fans, least_of_cycles, topology_of


@pytest.fixture
def rng():
    return np.random.default_rng(20261125)


def ball(radius, centre, subdivisions=4):
    shape = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius)
    return Mesh(np.array(shape.vertices) + centre, np.array(shape.faces))


def cut_in_four(mesh, times):
    shape = mesh.to_trimesh()
    for _ in range(times):
        shape = shape.subdivide()
    return mesh_from_trimesh(shape)


def part_of(mesh):
    spacer = meshcomp.demo_part("shaft_spacer")
    return replace(spacer, mesh=mesh, piece_of_face=np.zeros(len(mesh.faces), np.int64))


def signed_areas(rings):
    """By the shoelace formula; slivers without area are left out."""
    areas = [
        0.5 * np.sum(r[:, 0] * np.roll(r[:, 1], -1) - np.roll(r[:, 0], -1) * r[:, 1])
        for r in rings
    ]
    return np.sort([area for area in areas if abs(area) > 1e-6])


@pytest.mark.parametrize("name", ["bearing_plate", "indexing_wheel", "stepper_bracket"])
@pytest.mark.parametrize("axis", [0, 1, 2])
def test_sections_are_those_of_manifold3d(name, axis):
    mesh = cut_in_four(meshcomp.demo_part(name).mesh, 1)
    frame = np.roll(np.eye(3), axis, axis=0)
    low, high = mesh.bounds @ frame[2]
    # A half and three quarters are heights at which divided faces have corners.
    heights = sorted(low + (high - low) * share for share in (0.1, 0.37, 0.5, 0.75, 0.93))
    theirs = solids.solid_of(mesh).sections(frame, heights)
    ours = rings_at(mesh, topology_of(mesh), frame, heights)

    assert [len(signed_areas(rings)) for rings in theirs] != [0] * len(heights)
    for mine, other in zip(ours, theirs, strict=True):
        assert_allclose(signed_areas(mine), signed_areas(other), atol=1e-6)


def test_equal_points_are_found_as_by_sorting(rng):
    points = rng.integers(0, 40, (200_000, 3)).astype(float)
    _, first, group = np.unique(points, axis=0, return_index=True, return_inverse=True)

    leaders = welding._equal_leaders(points)  # noqa: SLF001

    assert (leaders == first[group.reshape(-1)]).all()


def test_points_of_one_hash_bit_pattern_are_still_told_apart():
    # All hashes alike in their low bits: the table fills one slot, and sorting steps in.
    hashes = np.repeat(np.arange(500, dtype=np.uint64) << np.uint64(60), 2)

    leaders = welding._leaders_of_hashes(hashes)  # noqa: SLF001

    _, first, group = np.unique(hashes, return_index=True, return_inverse=True)
    assert (leaders == first[group]).all()


def test_fans_of_vertices_with_many_faces_are_counted():
    # The apex of a cone has more faces than are walked about.
    turn = np.linspace(0, 2 * np.pi, 300, endpoint=False)
    rim = np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
    here, there = np.arange(300), np.roll(np.arange(300), -1)
    up = np.column_stack([here, there, np.full(300, 300)])
    down = np.column_stack([there, here, np.full(300, 301)])
    cone = Mesh(np.vstack([rim, [(0, 0, 1), (0, 0, -1)]]), np.vstack([up, down]))

    assert fans(topology_of(cone)).max() + 1 == 302


def test_least_of_cycles_is_that_of_walking(rng):
    following = rng.permutation(1000)
    expected = np.zeros(1000, dtype=int)
    for start in range(1000):
        cycle, here = [start], following[start]
        while here != start:
            cycle.append(here)
            here = following[here]
        expected[start] = min(cycle)

    assert (least_of_cycles(following) == expected).all()


@pytest.mark.parametrize("gap", [0.3, 0.1, -0.1])
def test_no_face_that_comes_to_cross_is_called_single(gap):
    # Two balls that grow by 0.2 mm each: they meet where the gap was less than 0.4 mm.
    pair = [ball(10.0, 0.0), ball(10.0, (20 + gap, 0, 0))]
    before = concatenate(pair)
    after = concatenate([ball(10.2, 0.0), ball(10.2, (20 + gap, 0, 0))])
    crossing = np.unique(crossing_pairs(after))

    certain = in_single_sheet(before, after, 0.2, few=0)

    assert len(crossing) > 10
    assert not certain[crossing].any()
    assert certain.mean() > 0.5  # most of both lies far from the other


@pytest.mark.parametrize("thickness", [0.2, 0.6, 20.0])
def test_both_sides_of_a_thin_wall_are_no_single_sheet(thickness):
    wall = cut_in_four(mesh_from_trimesh(trimesh.creation.box((20, 20, thickness))), 5)
    level = np.abs(wall.area_vectors[:, 2]) > 0.9 * np.linalg.norm(
        wall.area_vectors, axis=1
    )

    certain = in_single_sheet(wall, wall.moved(wall.vertices * 1.01), 0.2, few=0)

    assert certain[level].any() == (thickness > 2)


@pytest.mark.parametrize("depth", [0.5, -0.5])
def test_planes_that_cross_are_found_by_their_rims(depth):
    lower = cut_in_four(mesh_from_trimesh(trimesh.creation.box((10, 10, 4))), 2)
    upper = lower.moved(lower.vertices * 0.7 + (0.1, 0.2, 3.4 - depth))
    both = concatenate([lower, upper])
    topology = topology_of(both)
    planes = planar_regions(both, topology).of_face

    quick = crossing_pairs(both, planes=planes, rims=rims_of(both, topology))

    assert (len(quick) > 0) == (depth > 0)
    assert np.array_equal(quick, crossing_pairs(both))


def test_faces_are_gone_through_once_a_direction_for_all_bores(monkeypatch):
    counted = []
    look = openings._hits_along  # noqa: SLF001

    def counting(scene, frame, places):
        counted.append(len(places))
        return look(scene, frame, places)

    monkeypatch.setattr(openings, "_hits_along", counting)
    found = meshcomp.inspect(meshcomp.demo_part("bearing_plate"))

    assert len(found.cylinders) > 5
    assert len(counted) <= 2  # for the bores, and for the pockets


def cpu_time_of_inspecting(mesh):
    times = []
    for _ in range(3):
        fresh = part_of(Mesh(mesh.vertices, mesh.faces))
        start = time.process_time()
        meshcomp.inspect(fresh)
        times.append(time.process_time() - start)
    return min(times)


@pytest.mark.slow
def test_four_times_the_triangles_take_no_more_than_five_times_as_long():
    coarse = cut_in_four(meshcomp.demo_part("bearing_plate").mesh, 3)  # 71,168 triangles
    fine = cut_in_four(coarse, 1)

    assert cpu_time_of_inspecting(fine) < 5 * cpu_time_of_inspecting(coarse)


@pytest.mark.slow
def test_a_ring_of_very_many_facets_is_looked_at():
    # Its inner equator passes for a bore, whose rounded entries have thousands of faces.
    ring = mesh_from_trimesh(
        trimesh.creation.torus(30, 10, major_sections=360, minor_sections=360)
    )

    found = meshcomp.inspect(part_of(ring))

    assert (found.solid.bodies, found.solid.genus) == (1, 1)
    assert all(np.isfinite(f.start) for f in found.cylinders)


def test_a_smooth_surface_of_single_sheets_is_compensated():
    """Nothing is left to look at for crossings then."""
    shape = trimesh.creation.icosphere(subdivisions=6, radius=20.0)
    found = meshcomp.inspect(part_of(mesh_from_trimesh(shape)))
    made = meshcomp.compensate(
        found, meshcomp.plan(found, meshcomp.ByHand(wall_growth=-0.05))
    )

    assert made.limits == ()
    moved = np.linalg.norm(made.part.mesh.vertices - shape.vertices, axis=1)
    assert moved.max() > 0.04


def test_a_fan_of_very_many_faces_is_not_thinned_out():
    """Collapsing its edges one by one would look at all of them each time."""
    count = 6_000
    turns = 2 * np.pi * np.arange(count) / count
    rim = np.column_stack([np.cos(turns), np.sin(turns), np.zeros(count)])
    here, after = np.arange(count), (np.arange(count) + 1) % count
    sides = [np.column_stack([here, after, np.full(count, count)])]
    sides += [np.column_stack([after, here, np.full(count, count + 1)])]
    points = np.concatenate([rim, [(0, 0, 1), (0, 0, 0)]])
    cone = Mesh(points, np.concatenate(sides))
    one_group = np.zeros(len(cone.faces), dtype=np.int64)

    assert trimesh.Trimesh(cone.vertices, cone.faces).is_watertight
    assert solids.thinned(cone, one_group, 0.01) is None
    fine = ball(10.0, (0, 0, 0), 5)
    made = solids.thinned(fine, np.zeros(len(fine.faces), dtype=np.int64), 0.05)
    assert made is not None
    assert len(made[0].faces) < len(fine.faces) / 2


def test_what_a_mesh_keeps_survives_a_motion_only_where_places_do_not_matter():
    mesh = ball(10.0, (0, 0, 0))
    topology, areas = topology_of(mesh), mesh.area_vectors
    moved = mesh.moved(mesh.vertices * 2)

    assert topology_of(moved) is topology
    assert_allclose(moved.area_vectors, 4 * areas)
    mesh.forget()
    assert topology_of(mesh) is topology
    assert mesh.area_vectors is not areas
    assert_allclose(mesh.area_vectors, areas, rtol=0, atol=0)


def test_edges_of_many_faces_are_paired_anew_once_they_moved():
    # Two boxes along one edge: which faces belong together, their places say.
    boxes = [mesh_from_trimesh(trimesh.creation.box((1, 1, 1))) for _ in range(2)]
    both = concatenate([boxes[0], boxes[1].moved(boxes[1].vertices + (1, 1, 0))])
    _, first, index = np.unique(
        both.vertices, axis=0, return_index=True, return_inverse=True
    )
    touching = Mesh(both.vertices[first], index.ravel()[both.faces])

    assert topology_of(touching).crowded == 1
    moved = touching.moved(touching.vertices * (1, -1, 1))
    assert topology_of(moved) is not topology_of(touching)


def test_corners_that_lie_level_are_found_among_all(monkeypatch):
    points = np.array([(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)], dtype=float)
    some = points[[2, 0, 3]]

    assert thinning._places(points, some).tolist() == [2, 0, 3]  # noqa: SLF001
    monkeypatch.setattr(thinning, "_ANY_WAY", np.array([1.0, 0.0, 0.0]))
    assert thinning._places(points, some).tolist() == [2, 0, 3]  # noqa: SLF001
