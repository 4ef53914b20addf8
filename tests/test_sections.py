"""Sections and the arcs in them, against shapely, closed forms and the chord formula."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from outside import measure, plane

from meshcomp.meshes import Mesh
from meshcomp.scenario import demo_part
from meshcomp.sections import Ring, arcs, cut, heights_between
from meshcomp.segmentation import flatness_limit, planar_regions
from meshcomp.topology import topology_of

UPRIGHT = np.eye(3)


def circle(diameter, facets, centre=(0, 0), phase=0.0):
    turns = phase + 2 * np.pi * np.arange(facets) / facets
    return diameter / 2 * np.column_stack([np.cos(turns), np.sin(turns)]) + centre


def cut_at(mesh: Mesh, *heights: float, frame=UPRIGHT) -> list[Ring]:
    topology = topology_of(mesh)
    regions = planar_regions(mesh, topology).of_face
    return cut(mesh, topology, regions, frame, np.array(heights))


def bored_block(facets=24):
    outline = np.array([(-10, -10), (10, -10), (10, 10), (-10, 10)], dtype=float)
    return plane.prism([outline, circle(6.0, facets, (3, -2))[::-1]], 0, 10)


def arcs_of(ring: Ring, mesh: Mesh):
    return arcs(ring, np.ones(len(ring.points), dtype=bool), flatness_limit(mesh))


def test_rings_run_counter_clockwise_round_material_and_clockwise_round_holes():
    outer, hole = sorted(cut_at(bored_block(), 5.0), key=lambda ring: -ring.area)
    assert outer.area == pytest.approx(400.0)
    # The area of a regular polygon, by its closed form.
    assert hole.area == pytest.approx(-12 * 9 * np.sin(2 * np.pi / 24))


def test_panels_are_as_many_as_the_outline_has_sides():
    outer, hole = sorted(cut_at(bored_block(), 5.0), key=lambda ring: -ring.area)
    assert (len(outer.points), len(hole.points)) == (4, 24)
    assert np.bincount(hole.panel_of_face).tolist() == [2] * 24


@pytest.mark.parametrize("name", ["stepper_bracket", "indexing_wheel", "knob"])
@pytest.mark.parametrize("direction", [0, 1, 2])
def test_sections_have_the_area_that_shapely_finds(name, direction):
    # Outside reference: numpy and shapely, tests/outside/measure.py.
    mesh = demo_part(name).mesh
    frame = np.roll(np.eye(3), -(direction + 1), axis=0)
    low, high = mesh.bounds[:, direction]
    at = float(low + 0.371 * (high - low))
    found = sum(ring.area for ring in cut_at(mesh, at, frame=frame))
    rings = [ring @ frame[:2].T for ring in measure.section(mesh, frame[2], at)]
    wanted = shapely.Polygon()
    for ring in rings:
        wanted = wanted.symmetric_difference(shapely.Polygon(ring))
    assert found == pytest.approx(wanted.area, rel=1e-9)


def test_no_height_beside_the_part_gives_a_ring():
    assert cut_at(bored_block(), -1.0, 11.0) == []


@pytest.mark.parametrize("facets", [8, 24, 96])
def test_a_faceted_circle_is_one_arc_of_all_its_facets(facets):
    block = bored_block(facets)
    hole = min(cut_at(block, 5.0), key=lambda ring: ring.area)
    (arc,) = arcs_of(hole, block)
    assert arc.is_internal
    assert arc.centre == pytest.approx([3, -2], abs=1e-9)
    assert arc.radius == pytest.approx(3.0, abs=1e-9)
    assert len(arc.angles) == facets + 1
    assert abs(arc.angles[-1] - arc.angles[0]) == pytest.approx(2 * np.pi)


def test_a_boss_is_an_external_arc():
    mesh = plane.prism([circle(9.0, 32)], 0, 4)
    (ring,) = cut_at(mesh, 2.0)
    (arc,) = arcs_of(ring, mesh)
    assert not arc.is_internal
    assert arc.radius == pytest.approx(4.5, abs=1e-9)


def test_the_ends_of_a_slot_are_two_half_arcs():
    left = circle(6.0, 32, (-9, 0))[8:25]
    right = circle(6.0, 32, (9, 0))[[*range(24, 32), *range(9)]]
    outline = np.array([(-20, -10), (20, -10), (20, 10), (-20, 10)], dtype=float)
    mesh = plane.prism([outline, np.concatenate([left, right])[::-1]], 0, 4)
    slot = min(cut_at(mesh, 2.0), key=lambda ring: ring.area)
    found = arcs_of(slot, mesh)
    assert sorted(arc.centre.round(6).tolist() for arc in found) == [[-9, 0], [9, 0]]
    for arc in found:
        assert arc.radius == pytest.approx(3.0, abs=1e-6)
        assert np.degrees(abs(arc.angles[-1] - arc.angles[0])) == pytest.approx(180)


def test_an_angular_outline_has_no_arcs():
    # No square: its four corners do lie on a circle.
    corners = [(0, 0), (40, 0), (40, 12), (15, 12), (15, 30), (0, 30)]
    mesh = plane.prism([corners], 0, 4)
    (ring,) = cut_at(mesh, 2.0)
    assert arcs_of(ring, mesh) == []


def test_an_ellipse_is_not_one_circle():
    mesh = plane.prism([circle(10.0, 64) * (1.0, 0.8)], 0, 4)
    (ring,) = cut_at(mesh, 2.0)
    assert all(np.ptp(arc.angles) < np.pi / 2 for arc in arcs_of(ring, mesh))


def test_heights_are_midway_between_those_where_walls_end():
    heights = heights_between(np.array([0.0, 0.0, 4.0]), np.array([4.0, 10.0, 10.0]))
    assert heights.tolist() == [2.0, 7.0]


def test_heights_stay_few_where_walls_end_everywhere():
    lows = np.arange(1000.0)
    heights = heights_between(lows, lows + 1, most=40)
    assert len(heights) <= 40
    assert (np.diff(heights) > 0).all()
    assert (heights[0], heights[-1]) == (0.5, 999.5)
