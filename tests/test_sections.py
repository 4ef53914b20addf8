"""Sections and the arcs in them, against shapely, closed forms and the chord formula."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from outside import measure, plane

from meshcomp.arcs import Arcs, arcs
from meshcomp.meshes import Mesh
from meshcomp.scenario import demo_part
from meshcomp.sections import Outlines, cut, heights_through
from meshcomp.segmentation import flatness_limit, planar_regions
from meshcomp.topology import topology_of

UPRIGHT = np.eye(3)


def circle(diameter, facets, centre=(0, 0), phase=0.0):
    turns = phase + 2 * np.pi * np.arange(facets) / facets
    return diameter / 2 * np.column_stack([np.cos(turns), np.sin(turns)]) + centre


def cut_at(mesh: Mesh, *heights: float, frame=UPRIGHT) -> Outlines:
    topology = topology_of(mesh)
    regions = planar_regions(mesh, topology).of_face
    return cut(mesh, topology, regions, frame, np.array(heights))


def panels_of(outlines: Outlines, ring: int) -> np.ndarray:
    return np.arange(outlines.firsts[ring], outlines.firsts[ring + 1])


def bored_block(facets=24):
    outline = np.array([(-10, -10), (10, -10), (10, 10), (-10, 10)], dtype=float)
    return plane.prism([outline, circle(6.0, facets, (3, -2))[::-1]], 0, 10)


def arcs_of(outlines: Outlines, mesh: Mesh, ring: int | None = None) -> Arcs:
    wanted = np.ones(len(outlines.points), dtype=bool)
    if ring is not None:
        wanted = outlines.ring == ring
    return arcs(outlines, wanted, flatness_limit(mesh))


def test_rings_run_counter_clockwise_round_material_and_clockwise_round_holes():
    hole, outer = sorted(cut_at(bored_block(), 5.0).areas)
    assert outer == pytest.approx(400.0)
    # The area of a regular polygon, by its closed form.
    assert hole == pytest.approx(-12 * 9 * np.sin(2 * np.pi / 24))


def test_panels_are_as_many_as_the_outline_has_sides():
    outlines = cut_at(bored_block(), 5.0)
    assert sorted(np.diff(outlines.firsts)) == [4, 24]
    assert np.bincount(outlines.panel_of_face).tolist() == [2] * 28


def test_panels_follow_each_other_round_their_ring():
    outlines = cut_at(bored_block(), 2.0, 5.0)
    assert sorted(outlines.heights) == [2.0, 2.0, 5.0, 5.0]
    assert (outlines.before[outlines.following] == np.arange(56)).all()
    assert (outlines.ring[outlines.following] == outlines.ring).all()
    assert outlines.lengths[outlines.ring == np.argmax(outlines.areas)].sum() == 80.0


def test_faces_of_panels_are_those_that_were_cut_there():
    outlines = cut_at(bored_block(), 5.0)
    for panel in (0, 7, 27):
        wanted = outlines.faces[outlines.panel_of_face == panel]
        found = outlines.faces_of(np.array([panel]))
        assert sorted(found.tolist()) == sorted(wanted.tolist())
    assert len(outlines.faces_of(np.zeros(0, dtype=np.int64))) == 0


@pytest.mark.parametrize("name", ["stepper_bracket", "indexing_wheel", "knob"])
@pytest.mark.parametrize("direction", [0, 1, 2])
def test_sections_have_the_area_that_shapely_finds(name, direction):
    # Outside reference: numpy and shapely, tests/outside/measure.py.
    mesh = demo_part(name).mesh
    frame = np.roll(np.eye(3), -(direction + 1), axis=0)
    low, high = mesh.bounds[:, direction]
    at = float(low + 0.371 * (high - low))
    found = cut_at(mesh, at, frame=frame).areas.sum()
    rings = [ring @ frame[:2].T for ring in measure.section(mesh, frame[2], at)]
    wanted = shapely.Polygon()
    for ring in rings:
        wanted = wanted.symmetric_difference(shapely.Polygon(ring))
    assert found == pytest.approx(wanted.area, rel=1e-9)


def test_no_height_beside_the_part_gives_a_ring():
    outlines = cut_at(bored_block(), -1.0, 11.0)
    assert len(outlines.heights) == len(outlines.points) == len(outlines.faces) == 0


@pytest.mark.parametrize("facets", [8, 24, 96])
def test_a_faceted_circle_is_one_arc_of_all_its_facets(facets):
    block = bored_block(facets)
    outlines = cut_at(block, 5.0)
    found = arcs_of(outlines, block, int(np.argmin(outlines.areas)))
    assert found.is_internal.tolist() == [True]
    assert found.centres[0] == pytest.approx([3, -2], abs=1e-9)
    assert found.radii[0] == pytest.approx(3.0, abs=1e-9)
    assert len(found.panel) == facets
    assert found.spans[0] == pytest.approx(2 * np.pi)


def test_a_boss_is_an_external_arc():
    mesh = plane.prism([circle(9.0, 32)], 0, 4)
    found = arcs_of(cut_at(mesh, 2.0), mesh)
    assert found.is_internal.tolist() == [False]
    assert found.radii[0] == pytest.approx(4.5, abs=1e-9)


def test_the_ends_of_a_slot_are_two_half_arcs():
    left = circle(6.0, 32, (-9, 0))[8:25]
    right = circle(6.0, 32, (9, 0))[[*range(24, 32), *range(9)]]
    outline = np.array([(-20, -10), (20, -10), (20, 10), (-20, 10)], dtype=float)
    mesh = plane.prism([outline, np.concatenate([left, right])[::-1]], 0, 4)
    outlines = cut_at(mesh, 2.0)
    found = arcs_of(outlines, mesh, int(np.argmin(outlines.areas)))
    assert sorted(found.centres.round(6).tolist()) == [[-9, 0], [9, 0]]
    assert found.radii == pytest.approx([3.0, 3.0], abs=1e-6)
    assert np.degrees(found.spans) == pytest.approx([180.0, 180.0])


def test_an_arc_that_begins_amid_its_ring_is_found_whole():
    # Half a disc: the ring may begin anywhere on the arc.
    half = circle(20.0, 64)[:33]
    for shift in (0, 10, 32):
        mesh = plane.prism([np.roll(half, shift, axis=0)], 0, 4)
        found = arcs_of(cut_at(mesh, 2.0), mesh)
        assert np.degrees(found.spans) == pytest.approx([180.0])


def test_an_angular_outline_has_no_arcs():
    # No square: its four corners do lie on a circle.
    corners = [(0, 0), (40, 0), (40, 12), (15, 12), (15, 30), (0, 30)]
    mesh = plane.prism([corners], 0, 4)
    assert len(arcs_of(cut_at(mesh, 2.0), mesh).radii) == 0


def test_an_ellipse_is_not_one_circle():
    mesh = plane.prism([circle(10.0, 64) * (1.0, 0.8)], 0, 4)
    assert (arcs_of(cut_at(mesh, 2.0), mesh).spans < np.pi / 2).all()


def test_heights_meet_every_wall_away_from_corners():
    rng = np.random.default_rng(7)
    lows = rng.uniform(0, 40, 200).round(3)
    highs = lows + rng.uniform(0.02, 9, 200).round(3)
    corners = np.concatenate([lows, highs])
    heights = heights_through(lows, highs, corners, most=400)
    met = (heights > lows[:, None]) & (heights < highs[:, None])
    assert met.any(axis=1).all()
    assert np.abs(heights[:, None] - corners).min() > 1e-4
    assert (np.diff(heights) > 0).all()


def test_heights_are_as_few_as_walls_allow():
    # Closed form: the largest set of walls none of which overlap needs one height each.
    lows, highs = np.array([0.0, 1, 2, 5, 6, 9]), np.array([4.0, 3, 8, 7, 10, 12])
    assert len(heights_through(lows, highs, np.concatenate([lows, highs]), most=400)) == 3


def test_heights_stay_few_where_walls_end_everywhere():
    lows = np.arange(1000.0)
    heights = heights_through(lows, lows + 1, np.arange(1001.0), most=40)
    assert len(heights) == 40
    assert (np.diff(heights) > 0).all()
