"""Features found in exact parts, demo parts and shapes that must not fool the search.

Outside references: parts of the B-rep kernel with features true by construction
(tests/outside/brep.py), and the chord formula r (1 - cos(π/n)).
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from manifold3d import Manifold
from outside import brep, plane
from outside.profiles import sagitta

import meshcomp
from meshcomp.features import Cylinder, Wall
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.scenario import demo_parts, true_features

FINE = (0.004, 0.15)
NAMES = sorted(brep.PARTS)


def inspected(mesh: Mesh) -> Inspection:
    spacer = meshcomp.demo_part("shaft_spacer")
    one_piece = np.zeros(len(mesh.faces), dtype=np.int64)
    return meshcomp.inspect(replace(spacer, mesh=mesh, piece_of_face=one_piece))


@cache
def exact(name: str) -> tuple[brep.ExactPart, Inspection]:
    part = brep.PARTS[name]()
    return part, inspected(brep.tessellate(part, *FINE))


def circle(diameter, facets, centre=(0, 0)):
    turns = 2 * np.pi * np.arange(facets) / facets
    return diameter / 2 * np.column_stack([np.cos(turns), np.sin(turns)]) + centre


def holed(*rings) -> Inspection:
    outline = np.array([(-25, -20), (25, -20), (25, 20), (-25, 20)], dtype=float)
    return inspected(plane.prism([outline, *(ring[::-1] for ring in rings)], 0, 5))


def summary(features) -> list[tuple]:
    """Kind, size and extent of cylinders, rounded, whatever their order."""
    return sorted(
        (f.kind, round(f.nominal_size, 3), round(f.start, 3), round(f.end, 3))
        for f in features
        if isinstance(f, Cylinder)
    )


@pytest.mark.parametrize("name", NAMES)
def test_cylinders_of_exact_parts_are_found_and_no_others(name):
    part, found = exact(name)
    assert summary(found.features) == sorted(
        (f.kind, f.nominal_size, f.start, f.end) for f in part.features
    )


def test_cylinders_that_cross_each_other_are_found():
    part, found = exact("crossed_plate")
    assert summary(found.features) == sorted(
        (f.kind, f.nominal_size, f.start, f.end) for f in part.features
    )


@pytest.mark.parametrize("name", NAMES)
def test_axes_of_exact_parts_are_where_they_were_built(name):
    part, found = exact(name)
    for true in part.features:
        gaps = []
        for feature in found.cylinders:
            if abs(feature.direction @ true.direction) < 1 - 1e-9:
                continue
            across = feature.point - true.point
            across = across - (across @ feature.direction) * feature.direction
            gaps.append(float(np.linalg.norm(across)))
        assert min(gaps) < 1e-4


@pytest.mark.parametrize("name", ["plate", "bearing_block", "housing"])
def test_through_and_blind_are_told_apart(name):
    part, found = exact(name)
    bores = [f for f in found.cylinders if f.is_internal]
    assert sorted((round(f.nominal_size, 3), f.is_through) for f in bores) == sorted(
        (f.nominal_size, f.is_through) for f in part.features if f.internal
    )


@pytest.mark.parametrize("name", NAMES)
def test_straight_walls_have_their_distance(name):
    part, found = exact(name)
    sizes = [f.nominal_size for f in found.walls if f.nominal_size is not None]
    for wall in part.walls:
        assert min(abs(size - wall.size) for size in sizes) < 1e-5


def is_at(found, true) -> bool:
    """Whether ends agree, and for a cylinder its axis too."""
    gap = found.point - true.point
    gap = gap - (gap @ found.direction) * found.direction
    ends = max(abs(found.start - true.start), abs(found.end - true.end)) < 1e-3
    return ends and (isinstance(found, Wall) or float(np.linalg.norm(gap)) < 1e-3)


def kind_of(feature) -> str:
    """Call a distance a wall, or a slot if it is inside, as true features do."""
    if feature.kind != "distance":
        return feature.kind
    return "slot" if feature.is_internal else "wall"


@pytest.mark.parametrize("name", sorted(demo_parts()))
def test_all_true_features_of_the_demo_parts_are_found(name):
    found = meshcomp.inspect(meshcomp.demo_part(name)).features
    for true in true_features(name):
        matches = [
            f
            for f in found
            if kind_of(f) == true.kind
            and abs(f.nominal_size - true.size) < 1e-3
            and abs(f.direction @ true.direction) > 1 - 1e-9
            and is_at(f, true)
        ]
        assert len(matches) == 1, true


@pytest.mark.parametrize("facets", [8, 12, 24, 37, 96])
def test_flats_of_a_faceted_bore_are_those_of_the_chord_formula(facets):
    # Mathematics: the flats lie r (1 - cos(π/n)) inside the circle of the corners.
    (bore,) = holed(circle(10.0, facets, (3, 2))).cylinders
    assert bore.facets == facets
    assert bore.nominal_size == pytest.approx(10.0, abs=1e-9)
    assert bore.sagitta == pytest.approx(sagitta(5.0, facets), abs=1e-9)


def test_hexagon_is_no_bore():
    assert holed(circle(10.0, 6)).cylinders == ()


def test_ellipse_is_no_bore():
    assert holed(circle(10.0, 64) * (1.0, 0.9)).cylinders == ()


def test_slot_with_round_ends_is_a_slot_and_no_bore():
    left = circle(6.0, 32, (-9, 0))[8:25]
    right = circle(6.0, 32, (9, 0))[[*range(24, 32), *range(9)]]
    found = holed(np.concatenate([left, right]))
    assert found.cylinders == ()
    (slot,) = [f for f in found.walls if f.kind == "slot"]
    assert slot.nominal_size == pytest.approx(6.0, abs=1e-9)
    assert slot.is_internal


def test_rounded_corners_of_a_pocket_are_no_bores():
    quarters = [
        circle(6.0, 32, (x, y))[np.arange(k, k + 9) % 32]
        for k, (x, y) in ((0, (8, 8)), (8, (-8, 8)), (16, (-8, -8)), (24, (8, -8)))
    ]
    found = holed(np.concatenate(quarters))
    assert found.cylinders == ()
    assert sorted(round(f.nominal_size, 6) for f in found.walls if f.kind == "slot") == [
        22.0,
        22.0,
    ]


def test_d_hole_is_no_bore():
    part, found = exact("pocket_plate")
    assert summary(found.features) == sorted(
        (f.kind, f.nominal_size, f.start, f.end) for f in part.features
    )


def test_gear_teeth_and_lobes_are_no_cylinders():
    for name in ("pinion", "lobed_disc", "knob"):
        found = meshcomp.inspect(meshcomp.demo_part(name)).cylinders
        assert all(f.is_internal for f in found), name


def test_cone_is_no_boss():
    turns = 2 * np.pi * np.arange(64) / 64
    ring = np.column_stack([np.cos(turns), np.sin(turns)])
    straight = plane.prism([10 * ring], 0, 10)
    top = straight.vertices[:, 2] == 10
    scale = np.where(top, 0.98, 1.0)[:, None]
    tapered = straight.moved(straight.vertices * np.hstack([scale, scale, scale**0]))
    assert inspected(tapered).cylinders == ()
    assert [f.kind for f in inspected(straight).cylinders] == ["boss"]


def test_a_keyed_bore_is_a_bore_with_a_note():
    bores = meshcomp.inspect(meshcomp.demo_part("pinion")).cylinders
    (bore,) = bores
    assert bore.nominal_size == pytest.approx(5.0, abs=1e-6)
    assert bore.span < 360
    assert bore.notes[0].startswith("interrupted: covers")


@pytest.mark.parametrize("name", sorted(demo_parts()))
def test_no_face_belongs_to_two_features(name):
    features = meshcomp.inspect(meshcomp.demo_part(name)).features
    own = [f.faces for f in features]
    own += [f.entry_faces for f in features if isinstance(f, Cylinder)]
    taken = np.concatenate(own)
    assert len(np.unique(taken)) == len(taken)


@pytest.mark.parametrize("name", sorted(demo_parts()))
def test_every_wall_face_belongs_to_a_feature(name):
    part = meshcomp.demo_part(name)
    features = meshcomp.inspect(part).features
    own = [f.faces for f in features]
    own += [f.entry_faces for f in features if isinstance(f, Cylinder)]
    vectors = part.mesh.area_vectors
    leaning = np.hypot(*vectors[:, :2].T) > 0.01 * np.linalg.norm(vectors, axis=1)
    # Roofs of lying bores are level for a facet or so; all else that leans is a wall.
    assert set(np.flatnonzero(leaning).tolist()) <= set(np.concatenate(own).tolist())


def test_ids_are_unique_and_say_the_kind():
    for name in demo_parts():
        features = meshcomp.inspect(meshcomp.demo_part(name)).features
        ids = [f.id for f in features]
        assert len(set(ids)) == len(ids)
        assert all(f.id.rsplit("-", 1)[0] == f.kind for f in features)


@pytest.mark.parametrize("name", ["bearing_plate", "stepper_bracket", "shaft_spacer"])
def test_another_order_of_triangles_gives_the_same_ids(name, rng):
    part = meshcomp.demo_part(name)
    order = rng.permutation(len(part.mesh.faces))
    shuffled = Mesh(part.mesh.vertices, part.mesh.faces[order])
    first, second = meshcomp.inspect(part).features, inspected(shuffled).features
    assert [f.id for f in first] == [f.id for f in second]
    for a, b in zip(first, second, strict=True):
        assert a.nominal_size == pytest.approx(b.nominal_size, abs=1e-7)
        assert set(order[b.faces].tolist()) == set(a.faces.tolist())


def test_walls_of_a_pocket_are_internal_and_those_outside_are_not():
    found = holed(np.array([(-5, -5), (5, -5), (5, 5), (-5, 5)], dtype=float))
    kinds = sorted((f.kind, f.is_internal) for f in found.walls if isinstance(f, Wall))
    assert kinds == [("slot", True)] * 2 + [("wall", False)] * 2


@pytest.fixture
def rng():
    return np.random.default_rng(20240611)


@pytest.mark.parametrize("facets", [64, 200])
def test_a_bore_through_a_ball_is_found(facets):
    # Outside reference: manifold3d cuts the bore; the ball's many faces divide its rims,
    # so that corners lie amid the chords of its facets.
    ball, cut = Manifold.sphere(20, 200), Manifold.cylinder(60, 6, 6, facets, center=True)
    made = (ball - cut).to_mesh64()
    mesh = Mesh(made.vert_properties[:, :3], made.tri_verts.astype(np.int64))

    (bore,) = inspected(mesh).cylinders

    assert (bore.kind, bore.is_through) == ("bore", True)
    assert bore.nominal_size == pytest.approx(12, abs=1e-4)
    assert (bore.start, bore.end) == pytest.approx((-(364**0.5), 364**0.5), abs=0.01)
