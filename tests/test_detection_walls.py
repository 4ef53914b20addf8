"""Distances between straight walls, each plane in several, and slots that are open.

Outside references: solids of the B-rep kernel (build123d, OpenCASCADE) whose planes are
where they were built, and shapely for the outlines of plane parts. What a maker would
measure with calipers (thicknesses, shoulders and overall sizes) is common practice, no
source.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from build123d import Box, Cylinder, Polygon, Pos, Solid, extrude
from outside import plane
from outside.solids import tessellated
from remade import inspected, shuffled, subdivided
from shapely import Polygon as PlanePolygon
from shapely.geometry.polygon import orient

import meshcomp
from meshcomp.calibration.record import invented_calibration_path
from meshcomp.errors import OptionError
from meshcomp.features import Wall
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.rules import Calibrated

COMB = 6  # fins
ANGLE = [(0, 0), (60, 0), (60, 5), (5, 5), (5, 40), (0, 40)]
STAIRS = [(0, 0), (50, 0), (50, 10), (36, 10), (36, 20), (22, 20), (22, 30), (0, 30)]
CHANNEL = [(0, 0), (40, 0), (40, 30), (34, 30), (34, 8), (6, 8), (6, 30), (0, 30)]


@cache
def upright(*outline: tuple[float, float]) -> Inspection:
    solid = extrude(Polygon(*outline, align=None), 12).solid()
    return inspected(tessellated(solid, 0.01, 0.2))


def listed(found: Inspection, axis: int) -> list[tuple[str, float, float]]:
    """Kinds with both ends along an axis."""
    return sorted(
        (w.kind, round(w.start, 4), round(w.end, 4))
        for w in found.walls
        if w.nominal_size is not None and abs(w.direction[axis]) > 1 - 1e-9
    )


def of_kind(found: Inspection, kind: str) -> list[Wall]:
    return [w for w in found.walls if w.kind == kind]


def test_an_angle_has_its_lengths_and_both_thicknesses():
    found = upright(*ANGLE)
    assert [row[1:] for row in listed(found, 0)] == [(0, 60), (0, 5)]
    assert [row[1:] for row in listed(found, 1)] == [(0, 40), (0, 5)]


def test_every_shoulder_of_a_flight_of_steps_is_measured_from_the_end():
    found = upright(*STAIRS)
    ends = sorted(row[1:] for row in listed(found, 0))
    assert ends == [(0, 22), (0, 36), (0, 50)]
    assert sorted(row[1:] for row in listed(found, 1)) == [(0, 10), (0, 20), (0, 30)]


def test_fins_are_measured_and_the_row_as_a_whole_but_not_each_with_each():
    fins = [Pos(6 * k + 1, 10, 6) * Box(2, 20, 12) for k in range(COMB)]
    base = Pos(6 * (COMB - 1) / 2 + 1, -2, 6) * Box(6 * COMB + 6, 4, 12)
    found = inspected(tessellated(Solid() + [base, *fins], 0.01, 0.2))
    sizes = [
        round(w.nominal_size, 6)
        for w in found.walls
        if abs(w.direction[0]) > 0.5 and w.nominal_size is not None
    ]
    assert sorted(sizes) == sorted([2.0] * COMB + [4.0] * (COMB - 1) + [32.0, 42.0])


def test_planes_of_one_place_are_measured_once():
    # A plate whose long edges are cut by notches: six pieces, and one width.
    notches = [Pos(x, y, 5) * Box(4, 4, 10) for x in (-15, 0, 15) for y in (-20, 20)]
    found = inspected(tessellated((Pos(0, 0, 5) * Box(60, 40, 10)) - notches, 0.01, 0.2))
    rows = listed(found, 1)
    assert len({row[1:] for row in rows if row[0] == "distance"}) == sum(
        row[0] == "distance" for row in rows
    )
    assert (-20, 20) in {row[1:] for row in rows}


def test_bodies_that_stand_apart_have_no_distance_between_them():
    one = tessellated(Box(10, 10, 10), 0.01, 0.2)
    found = inspected(
        Mesh(
            np.concatenate([one.vertices, one.vertices + [25, 0, 0]]),
            np.concatenate([one.faces, one.faces + len(one.vertices)]),
        )
    )
    assert of_kind(found, "distance") == []
    assert [row[1:] for row in listed(found, 0)] == [(-5, 5), (20, 30)]


def test_distances_own_no_faces_and_name_those_that_do():
    found = upright(*CHANNEL)
    by_id = {f.id: f for f in found.features}
    assert of_kind(found, "distance")
    for distance in of_kind(found, "distance"):
        assert len(distance.faces) == 0
        assert len(distance.between) == 2
        corners = found.part.mesh.corners[distance.measured_faces]
        at = corners @ distance.direction
        assert at.min() == pytest.approx(distance.start, abs=1e-6)
        assert at.max() == pytest.approx(distance.end, abs=1e-6)
        owned = np.concatenate([by_id[name].faces for name in distance.between])
        assert np.isin(distance.planes, owned).all()


@pytest.mark.parametrize("name", ["bearing_plate", "pin_ring", "pinion", "knob"])
def test_plain_parts_have_no_distances_beside_their_walls(name):
    assert of_kind(meshcomp.inspect(meshcomp.demo_part(name)), "distance") == []


def test_a_channel_is_a_slot_with_its_width_and_length():
    found = upright(*CHANNEL)
    (slot,) = of_kind(found, "slot")
    assert slot.is_internal
    assert slot.nominal_size == pytest.approx(28, abs=1e-9)
    assert slot.shape.name == "open slot"
    assert dict(slot.shape.measures) == pytest.approx({"width": 28, "length": 22})
    # Its floor is a pocket's wall, the outside is none.
    floor = found.part.mesh.corners[found.internal_faces][..., 1]
    assert floor.min() == pytest.approx(8, abs=1e-6)
    assert [row[1:] for row in listed(found, 0)].count((0, 6)) == 1
    assert [row[1:] for row in listed(found, 0)].count((34, 40)) == 1


def test_an_open_slot_with_a_round_end_has_its_length_to_the_end():
    plate = Pos(0, 0, 4) * Box(40, 30, 8)
    cut = Pos(0, 10, 4) * Box(6, 10, 8), Pos(0, 5, 4) * Cylinder(3, 8)
    found = inspected(tessellated(plate - list(cut), 0.002, 0.1))
    (slot,) = of_kind(found, "slot")
    measures = dict(slot.shape.measures)
    assert measures["width"] == pytest.approx(6, abs=1e-6)
    assert measures["length"] == pytest.approx(13, abs=0.01)
    assert found.cylinders == ()


def test_a_mouth_that_is_rounded_makes_a_distance_of_the_slot():
    # One curve leads from the slot's walls to the plate's edge, which is another pair's.
    outline = PlanePolygon([(-20, -15), (20, -15), (20, 15), (-20, 15)])
    cut = PlanePolygon([(-4, 0), (4, 0), (4, 30), (-4, 30)])
    # Convex corners of the rest are rounded by 2 mm: opened by a disc (shapely).
    rounded = outline.difference(cut).buffer(-2, quad_segs=16).buffer(2, quad_segs=16)
    ring = np.array(orient(rounded).exterior.coords)[:-1]
    found = inspected(plane.prism([ring], 0, 8))
    assert of_kind(found, "slot") == []
    (gap,) = [w for w in of_kind(found, "distance") if w.is_internal]
    assert gap.nominal_size == pytest.approx(8, abs=1e-6)


def test_a_channel_along_the_top_of_a_block_is_a_slot():
    block = (Pos(0, 0, 10) * Box(60, 30, 20)) - (Pos(0, 0, 15) * Box(60, 8, 10))
    found = inspected(tessellated(block, 0.01, 0.2))
    (slot,) = of_kind(found, "slot")
    assert slot.nominal_size == pytest.approx(8, abs=1e-9)
    assert slot.level == pytest.approx((10, 20))
    assert dict(slot.shape.measures) == pytest.approx({"width": 8, "length": 60})


def test_what_stands_in_the_way_makes_two_slots_of_one():
    block = (Pos(0, 0, 10) * Box(60, 30, 20)) - (Pos(0, 0, 15) * Box(60, 20, 10))
    rib = Pos(0, 1, 15) * Box(60, 4, 10)
    found = inspected(tessellated(block + rib, 0.01, 0.2))
    ends = sorted((w.start, w.end) for w in found.walls if w.is_internal)
    assert np.allclose(ends, [(-10, -1), (3, 10)])


def test_a_pin_in_the_way_leaves_no_slot():
    block = (Pos(0, 0, 10) * Box(60, 30, 20)) - (Pos(0, 0, 15) * Box(60, 20, 10))
    pin = Pos(0, 0, 15) * Cylinder(3, 10)
    found = inspected(tessellated(block + pin, 0.01, 0.2))
    assert [w for w in found.walls if w.is_internal] == []


def test_walls_far_apart_for_their_reach_bound_no_slot():
    rails = [Pos(0, y, 4) * Box(20, 3, 8) for y in (-40, 40)]
    found = inspected(tessellated((Pos(0, 0, -2) * Box(20, 83, 4)) + rails, 0.01, 0.2))
    assert [w for w in found.walls if w.is_internal] == []


def test_any_order_and_division_of_faces_leaves_walls_as_they_are():
    for outline in (ANGLE, STAIRS, CHANNEL):
        usual = upright(*outline)
        mesh = usual.part.mesh
        for other in (shuffled(mesh, np.random.default_rng(3)), subdivided(mesh, 1)):
            found = inspected(other)
            assert [(w.id, w.between) for w in found.walls] == [
                (w.id, w.between) for w in usual.walls
            ]
            for a, b in zip(found.walls, usual.walls, strict=True):
                assert a.nominal_size == pytest.approx(b.nominal_size, abs=1e-7)


def by_hand(**asked) -> meshcomp.ByHand:
    return meshcomp.ByHand(**asked)


def test_a_distance_follows_from_what_its_walls_do():
    found = upright(*CHANNEL)
    plan = meshcomp.plan(found, by_hand(wall_growth=-0.06, pocket_opening=0.05))
    (slot,) = of_kind(found, "slot")
    assert plan.of(slot.id).mesh_size == pytest.approx(28.1)
    for distance in of_kind(found, "distance"):
        correction = plan.of(distance.id)
        # A leg has an outside wall on one side and the slot's on the other.
        if slot.id in distance.between:
            assert correction.mesh_size == pytest.approx(distance.nominal_size - 0.11)
        else:
            assert correction.mesh_size == pytest.approx(distance.nominal_size - 0.12)
        assert correction.reason.startswith("follows from ")


def test_an_open_slot_is_compensated_as_the_outline_is_offset():
    # shapely: the outline grown by the walls' offset, and the slot's own at its walls.
    found = upright(*CHANNEL)
    plan = meshcomp.plan(found, by_hand(wall_growth=-0.06, pocket_opening=0.06))
    made = meshcomp.compensate(found, plan)
    wanted = PlanePolygon(CHANNEL).buffer(-0.06, join_style="mitre")
    cut = made.part.mesh.to_trimesh().section(
        plane_origin=[0, 0, 6], plane_normal=[0, 0, 1]
    )
    (section,) = cut.discrete
    assert plane.outline_gap(wanted, [section[:-1, :2]]) < 1e-4


def test_a_distance_is_measured_in_the_written_file(tmp_path):
    part = replace(upright(*ANGLE).part, name="angle")
    rule = by_hand(wall_growth=-0.08, pocket_opening=0.05)
    record = meshcomp.compensate_part(part, tmp_path / "angle.stl", rule)
    sizes = {s.feature_id: s for s in record.verification.sizes}
    distances = of_kind(record.inspection, "distance")
    assert distances
    for distance in distances:
        proof = sizes[distance.id]
        assert proof.conforms
        assert proof.achieved == pytest.approx(distance.nominal_size - 0.16, abs=1e-3)


def test_a_kept_wall_takes_half_of_the_change_from_its_distance():
    found = upright(*ANGLE)
    (distance,) = [w for w in of_kind(found, "distance") if w.direction[0] > 0.5]
    owners = {name for name in distance.between if name.startswith("wall")}
    plan = meshcomp.plan(found, by_hand(wall_growth=0.1), keep=tuple(owners))
    others = sum(name not in owners for name in distance.between)
    assert others < 2
    assert plan.of(distance.id).mesh_size == pytest.approx(
        distance.nominal_size + 0.1 * others
    )


def test_a_distance_can_be_neither_kept_nor_set_nor_aimed_at():
    found = upright(*ANGLE)
    name = of_kind(found, "distance")[0].id
    words = f"{name} has no walls of its own: it follows from "
    with pytest.raises(OptionError, match=words):
        meshcomp.plan(found, by_hand(wall_growth=0.1), keep=(name,))
    with pytest.raises(OptionError, match=words):
        meshcomp.plan(found, by_hand(wall_growth=0.1), sizes={name: 5.1})
    model = meshcomp.read_calibration(invented_calibration_path()).model
    with pytest.raises(OptionError, match=words):
        meshcomp.plan(found, Calibrated(model=model, targets={name: 5.1}))


def test_a_calibration_foretells_a_distance_by_its_law():
    found = upright(*ANGLE)
    model = meshcomp.read_calibration(invented_calibration_path()).model
    plan = meshcomp.plan(found, Calibrated(model=model, undoes_axes=False))
    for distance in of_kind(found, "distance"):
        along_x = abs(distance.direction[0]) > 0.5
        law = model.law("outside x" if along_x else "outside y")
        correction = plan.of(distance.id)
        assert correction.outlook.predicted == pytest.approx(
            law.printed_size(correction.mesh_size)
        )
        assert correction.predicted_deviation == pytest.approx(
            law.deviation(distance.nominal_size)
        )
        assert bool(correction.flags) == (not law.covers(correction.mesh_size))
