"""What is found does not depend on where a part lies or how its triangles are stored.

Outside reference: parts of the B-rep kernel with features true by construction
(tests/outside/brep.py, tests/outside/friends.py). Walls depend on which way is up: parts
turned any way are compared by their cylinders, parts turned on the bed by all of it.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from outside import brep
from outside.friends import FRIENDS
from outside.solids import tessellated
from remade import divided, inspected, shuffled, single, sizes, subdivided, turned
from scipy.spatial.transform import Rotation

import meshcomp
from meshcomp.features import Cylinder, Wall
from meshcomp.meshes import Mesh
from meshcomp.scenario import demo_parts

EXACT = ["bearing_block", "crossed_plate", "stepped_boss", "bracket"]
DEMO = ["bearing_plate", "stepper_bracket", "pinion"]
RARELY = settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
METRE = st.tuples(*[st.floats(-1000, 1000)] * 3)


@cache
def part(name: str) -> Mesh:
    if name in DEMO:
        return demo_parts()[name]
    return brep.tessellate(brep.PARTS[name](), 0.004, 0.15)


@cache
def true_sizes(name: str) -> list[tuple[str, float, float]]:
    if name in DEMO:
        return sizes(part(name))
    features = brep.PARTS[name]().features
    return sorted((f.kind, f.nominal_size, f.end - f.start) for f in features)


def assert_same(found, true, limit: float) -> None:
    assert [f[0] for f in found] == [t[0] for t in true]
    gaps = np.subtract([f[1:] for f in found], [t[1:] for t in true])
    assert np.abs(gaps).max() < limit


@RARELY
@given(st.sampled_from(EXACT + DEMO), st.integers(0, 10**6), METRE)
@example("crossed_plate", 3, (600.0, -700.0, 500.0))
def test_any_rigid_motion_leaves_cylinders_as_they_are(name, seed, shift):
    rotation = Rotation.random(random_state=seed).as_matrix()
    moved = turned(part(name), rotation, shift)
    assert_same(sizes(moved), true_sizes(name), 2e-3)


@RARELY
@given(st.sampled_from(EXACT + DEMO), st.sampled_from([200.0, 1000.0]), st.booleans())
def test_rounding_to_32_bits_far_away_leaves_cylinders_as_they_are(name, away, is_turned):
    rotation = Rotation.random(random_state=5).as_matrix() if is_turned else np.eye(3)
    moved = single(turned(part(name), rotation), np.array([0.6, -0.7, 0.5]) * away)
    assert_same(sizes(moved), true_sizes(name), 4e-3)


@RARELY
@given(st.sampled_from(sorted({*EXACT, *DEMO} - {"crossed_plate"})), st.integers(1, 2))
def test_any_division_of_faces_leaves_features_as_they_are(name, times):
    first = inspected(part(name)).features
    second = inspected(subdivided(part(name), times)).features
    assert [f.id for f in first] == [f.id for f in second]
    for a, b in zip(first, second, strict=True):
        assert a.nominal_size == pytest.approx(b.nominal_size, abs=1e-5)
        assert (a.start, a.end) == pytest.approx((b.start, b.end), abs=1e-5)


def told(mesh: Mesh) -> tuple[list[tuple], np.ndarray, list[tuple]]:
    """Everything found but ids and places: kinds in order, sizes beside them, relations."""
    found = inspected(mesh)
    rows = sorted((kind_of(f), *measures_of(f)) for f in found.features)
    groups = sorted((g.kind, len(g.members), g.is_through) for g in found.groups)
    patterns = sorted((p.kind, p.counts, len(p.empty)) for p in found.patterns)
    return [row[0] for row in rows], np.array([row[1:] for row in rows]), groups + patterns


def kind_of(feature) -> tuple:
    """Return what is told of a feature in words."""
    if isinstance(feature, Cylinder):
        return (feature.kind, feature.ending, feature.is_through, len(feature.flares))
    shape = "" if feature.shape is None else feature.shape.name
    return (feature.kind, shape, feature.is_through, feature.is_internal)


def measures_of(feature) -> tuple[float, float, float]:
    """Size and two lengths, rounded so that equal features stay in order."""
    extent = feature.end - feature.start
    other = 0.0
    if isinstance(feature, Wall):
        extent = feature.level[1] - feature.level[0]
        other = feature.curve_length or 0.0
    return round(feature.nominal_size or 0.0, 3), round(extent, 3), round(other, 3)


def assert_told_alike(mesh: Mesh, other: Mesh) -> None:
    kinds, sizes_before, relations = told(mesh)
    after, sizes_after, relations_after = told(other)
    assert after == kinds
    assert relations_after == relations
    assert np.abs(sizes_after[:, :2] - sizes_before[:, :2]).max() < 2e-3
    # Lengths of outlines are found from sections, which lie elsewhere in other meshes.
    assert np.allclose(sizes_after[:, 2], sizes_before[:, 2], rtol=1e-3, atol=0.01)


@cache
def friend(name: str) -> Mesh:
    return tessellated(FRIENDS[name](), 0.01, 0.25)


SHAPED = ["hexagon", "slot", "d_shape", "ellipse", "toothed", "rectangle", "channel"]
WHOLE = sorted({*EXACT, *DEMO} - {"crossed_plate"}) + SHAPED


def mesh_of(name: str) -> Mesh:
    return friend(name) if name in SHAPED else part(name)


@RARELY
@given(st.sampled_from(WHOLE), st.floats(0, 360), st.floats(-1000, 1000))
@example("bracket", 37.3, -812.6)
@example("channel", 211.0, 95.1)
def test_any_turn_on_the_bed_leaves_all_features_as_they_are(name, angle, shift):
    rotation = Rotation.from_euler("z", angle, degrees=True).as_matrix()
    mesh = mesh_of(name)
    assert_told_alike(mesh, turned(mesh, rotation, (shift, -shift / 2, 0.0)))


@RARELY
@given(st.sampled_from(WHOLE), st.integers(0, 10**6))
@example("bracket", 1)
@example("toothed", 2)
def test_faces_divided_anywhere_leave_all_features_as_they_are(name, seed):
    mesh = mesh_of(name)
    assert_told_alike(mesh, divided(mesh, np.random.default_rng(seed)))


@RARELY
@given(st.sampled_from(WHOLE), st.integers(0, 10**6))
def test_any_order_leaves_shapes_groups_and_patterns_as_they_are(name, seed):
    mesh = mesh_of(name)
    assert_told_alike(mesh, shuffled(mesh, np.random.default_rng(seed)))


@RARELY
@given(st.sampled_from(SHAPED), st.sampled_from("xy"), st.sampled_from([90, 180, 270]))
def test_quarter_turns_leave_the_shapes_of_pockets_as_they_are(name, axis, angle):
    # Upright, upside down and lying: rectangles that lie are told as their upright walls.
    before = shapes_of(friend(name))
    rotation = Rotation.from_euler(axis, angle, degrees=True).as_matrix().round()
    after = shapes_of(turned(friend(name), rotation))
    if angle == 180 or name not in {"rectangle", "channel"}:
        assert after == before


def shapes_of(mesh: Mesh) -> set[tuple]:
    return {
        (w.shape.name, *((n, round(v, 2)) for n, v in w.shape.measures))
        for w in inspected(mesh).walls
        if w.is_internal and w.shape is not None
    }


def test_division_of_faces_leaves_cylinders_that_cross_as_they_are():
    # Only once, and only cylinders: corners amid the chords of the curve on which two
    # cylinders cross lie on neither of them, and their faces become profiles.
    found = sizes(subdivided(part("crossed_plate"), 1))
    assert_same(found, true_sizes("crossed_plate"), 2e-3)


@RARELY
@given(st.sampled_from(EXACT + DEMO), st.integers(0, 10**6))
def test_any_order_of_vertices_faces_and_corners_leaves_features_as_they_are(name, seed):
    first = inspected(part(name)).features
    second = inspected(shuffled(part(name), np.random.default_rng(seed))).features
    assert [f.id for f in first] == [f.id for f in second]
    for a, b in zip(first, second, strict=True):
        assert a.nominal_size == pytest.approx(b.nominal_size, abs=1e-7)
        assert len(a.faces) == len(b.faces)


def test_finer_triangles_keep_the_ids_of_cylinders():
    # Another triangulation of the same solid, twice as fine, by the B-rep kernel.
    for name in EXACT:
        fine = inspected(brep.tessellate(brep.PARTS[name](), 0.001, 0.08))
        usual = inspected(part(name))
        assert [(f.id, round(f.nominal_size, 3)) for f in fine.cylinders] == [
            (f.id, round(f.nominal_size, 3)) for f in usual.cylinders
        ]


def test_turned_parts_keep_the_notes_of_interrupted_bores():
    (bore,) = meshcomp.inspect(meshcomp.demo_part("pinion")).cylinders
    rotation = Rotation.random(random_state=8).as_matrix()
    (found,) = inspected(turned(part("pinion"), rotation)).cylinders
    assert found.span == pytest.approx(bore.span, abs=0.1)
    assert found.notes == bore.notes
