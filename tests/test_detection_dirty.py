"""Circles with few, uneven or broken facets, and meshes whose facets tell nothing.

Outside references: the chord formula for facets; parts of the B-rep kernel with features
true by construction (tests/outside/brep.py); pymeshlab's remeshing and decimation.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from outside import brep, plane
from remade import decimated, inspected, remeshed, shaken, sizes, subdivided, turned
from scipy.spatial.transform import Rotation

from meshcomp.meshes import Mesh
from meshcomp.scenario import demo_parts

SOLIDS = ["plate", "bearing_block", "stepped_boss", "housing", "pocket_plate", "bracket"]
SQUARE = np.array([(-25, -20), (25, -20), (25, 20), (-25, 20)], dtype=float)
OBLIQUE = Rotation.random(random_state=3).as_matrix()


def ring(turns, diameter=10.0, centre=(3, 2)):
    return diameter / 2 * np.column_stack([np.cos(turns), np.sin(turns)]) + centre


def even(facets):
    return 2 * np.pi * np.arange(facets) / facets


def holed(outline) -> Mesh:
    return plane.prism([SQUARE, outline[::-1]], 0, 5)


@cache
def solid(name: str) -> Mesh:
    return brep.tessellate(brep.PARTS[name](), 0.004, 0.15)


@cache
def solid_remeshed(name: str) -> Mesh:
    return remeshed(solid(name))


def true_sizes(name):
    features = brep.PARTS[name]().features
    return sorted((f.kind, f.nominal_size, f.end - f.start) for f in features)


def assert_found(mesh: Mesh, true, limits) -> None:
    """Compare kinds, diameters and lengths with limits, mm."""
    found = sizes(mesh)
    rest = list(found)
    for kind, diameter, length in true:
        match = [
            f
            for f in rest
            if f[0] == kind
            and abs(f[1] - diameter) <= limits[0]
            and abs(f[2] - length) <= limits[1]
        ]
        assert match, (kind, diameter, length, found)
        rest.remove(match[0])
    assert rest == []


@pytest.mark.parametrize("facets", [8, 9, 11, 24, 30, 36, 54, 72, 180, 400])
def test_circles_of_any_number_of_facets_are_bores(facets):
    (bore,) = inspected(holed(ring(even(facets)))).cylinders
    assert bore.nominal_size == pytest.approx(10.0, abs=1e-6)
    assert bore.facets == facets


@pytest.mark.parametrize("seed", range(4))
def test_uneven_facets_make_a_bore_all_the_same(seed):
    rng = np.random.default_rng(seed)
    turns = even(24) + rng.uniform(-0.3, 0.3, 24) * 2 * np.pi / 24
    (bore,) = inspected(holed(ring(turns))).cylinders
    assert bore.nominal_size == pytest.approx(10.0, abs=1e-6)


def test_a_ring_with_slivers_between_its_facets_is_a_bore():
    turns = np.sort(np.concatenate([even(30), even(30)[::5] + 1e-4]))
    (bore,) = inspected(holed(ring(turns))).cylinders
    assert bore.nominal_size == pytest.approx(10.0, abs=1e-5)


def test_halves_with_different_facets_are_one_bore():
    turns = np.concatenate([even(16)[:8], np.pi + even(44)[:22]])
    (bore,) = inspected(holed(ring(turns))).cylinders
    assert bore.nominal_size == pytest.approx(10.0, abs=1e-6)
    assert bore.span == pytest.approx(360.0, abs=0.1)


def test_corners_amid_chords_do_not_make_a_bore_smaller():
    corners = ring(even(30))
    middles = (corners + np.roll(corners, -1, axis=0)) / 2
    outline = np.stack([corners, middles], axis=1).reshape(-1, 2)
    (bore,) = inspected(holed(outline)).cylinders
    assert bore.nominal_size == pytest.approx(10.0, abs=1e-6)
    assert bore.facets == 30


@pytest.mark.parametrize("is_turned", [False, True])
@pytest.mark.parametrize("name", SOLIDS)
def test_shaken_parts_show_the_same_cylinders(name, is_turned):
    rotation = OBLIQUE if is_turned else np.eye(3)
    mesh = turned(shaken(solid(name), np.random.default_rng(1)), rotation)
    assert_found(mesh, true_sizes(name), (0.01, 0.05))


@pytest.mark.parametrize("name", sorted(demo_parts()))
def test_shaken_demo_parts_show_the_same_cylinders(name):
    mesh = demo_parts()[name]
    found = shaken(mesh, np.random.default_rng(2))
    assert_found(found, sizes(mesh), (0.01, 0.05))


@pytest.mark.parametrize("seed", range(3))
def test_pieces_of_a_shaken_rim_are_one_boss(seed):
    # A disc of 60 mm with six notches: pieces of 44 degrees, each by itself no circle.
    turns = even(180)
    notched = np.where(np.arange(180) % 30 < 8, 52.0, 60.0)[:, None] / 2
    outline = notched * np.column_stack([np.cos(turns), np.sin(turns)])
    mesh = shaken(plane.prism([outline], 0, 6), np.random.default_rng(seed))
    bosses = [f for f in inspected(mesh).cylinders if f.nominal_size > 55]
    (boss,) = bosses
    assert boss.kind == "boss"
    assert boss.nominal_size == pytest.approx(60.0, abs=0.01)
    # Mathematics: six times 21 chords of 2 degrees.
    assert boss.span == pytest.approx(6 * 21 * 2, abs=0.5)


@pytest.mark.parametrize("seed", range(3))
def test_rounded_corners_of_a_shaken_plate_are_no_boss(seed):
    quarter = even(64)[:17]
    corners = [
        ring(quarter + k * np.pi / 2, 16.0, (x, y))
        for k, (x, y) in enumerate([(12, 12), (-12, 12), (-12, -12), (12, -12)])
    ]
    mesh = plane.prism([np.concatenate(corners)], 0, 6)
    assert inspected(shaken(mesh, np.random.default_rng(seed))).cylinders == ()


@pytest.mark.slow
@pytest.mark.parametrize("is_turned", [False, True])
@pytest.mark.parametrize("name", SOLIDS)
def test_remeshed_parts_show_the_same_cylinders(name, is_turned):
    mesh = turned(solid_remeshed(name), OBLIQUE if is_turned else np.eye(3))
    assert_found(mesh, true_sizes(name), (0.01, 0.05))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["bearing_block", "stepped_boss", "bracket"])
def test_remeshed_and_shaken_parts_show_the_same_cylinders(name):
    mesh = shaken(solid_remeshed(name), np.random.default_rng(4))
    assert_found(mesh, true_sizes(name), (0.01, 0.05))
    assert_found(turned(mesh, OBLIQUE), true_sizes(name), (0.01, 0.05))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["pin_ring", "stepper_bracket"])
def test_coarse_facets_made_anew_are_found_within_their_sagitta(name):
    # 48 and 24 facets: the new corners lie on the facets, anywhere inside the circle.
    mesh = demo_parts()[name]
    assert_found(remeshed(mesh), sizes(mesh), (0.03, 0.05))


@pytest.mark.slow
@pytest.mark.parametrize("name", SOLIDS)
def test_parts_made_finer_and_decimated_show_the_same_cylinders(name):
    mesh = decimated(subdivided(solid_remeshed(name), 1))
    assert_found(mesh, true_sizes(name), (0.02, 0.05))


@pytest.mark.parametrize("name", ["plate", "edged_plate", "housing"])
def test_decimation_to_a_quarter_leaves_fine_cylinders_to_be_found(name):
    mesh = decimated(brep.tessellate(brep.PARTS[name](), 0.001, 0.05))
    assert_found(mesh, true_sizes(name), (0.05, 0.1))


def test_a_size_that_decimation_blurs_is_said_to_be_uncertain():
    blurred = inspected(decimated(solid("stepped_boss"))).cylinders
    rough = [f for f in blurred if f.form_deviation > 0.01]
    assert rough
    assert all("made anew" in f.notes[-1] for f in rough)
