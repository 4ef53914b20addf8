"""False friends: what is easily taken for a bore is none, and says what it is.

Outside reference: the shapes of tests/outside/friends.py, built by the B-rep kernel at
sizes that are true by construction, each at three tessellations.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from build123d import Box, Pos, RegularPolygon, Rotation, extrude
from outside import brep
from outside.friends import FRIENDS
from outside.solids import tessellated
from remade import inspected, shuffled, turned
from scipy.spatial.transform import Rotation as Turn

import meshcomp
from meshcomp.features import Wall
from meshcomp.inspections import Inspection

COARSE, USUAL, FINE = (0.05, 0.5), (0.01, 0.25), (0.002, 0.1)
FINENESS = [COARSE, USUAL, FINE]

# Name of the shape and its measures; None where a shape has no measure to compare.
SHAPES = {
    "slot": ("slot", {"width": 6, "length": 16}),
    "short_slot": ("slot", {"width": 8, "length": 9}),
    "hexagon": ("hexagon", {"across flats": 8}),
    "octagon": ("octagon", {"across flats": 8}),
    "rectangle": ("rectangle", {"width": 9, "length": 12}),
    "fillets": ("rectangle", {"width": 14, "length": 14, "corner radius": 4}),
    "d_shape": ("D", {"diameter": 10, "flat to round": 8}),
    "double_d": ("double D", {"diameter": 10, "across flats": 8}),
    "ellipse": ("ellipse", {"major axis": 12, "minor axis": 11.6}),
    "cone": (
        "cone",
        {"angle": 2 * math.degrees(math.atan(1.5 / 8)), "from": 9, "to": 12},
    ),
    "slender_cone": ("cone", {"angle": 1.0}),
    "lobes": ("3 lobes", {"inscribed circle": 11.7, "circumscribed circle": 12.3}),
    "three_sided": ("3 lobes", {"inscribed circle": 2.6, "circumscribed circle": 3}),
    "many_lobes": ("9 lobes", {"inscribed circle": 11.4, "circumscribed circle": 12.6}),
    "toothed": ("12 teeth", {"circumscribed circle": 15}),
    "involute_teeth": ("16 teeth", {"circumscribed circle": 18}),
    "knurl": ("40 ridges", {"circumscribed circle": 12.5}),
    "letters": ("text", {}),
    "thread": ("thread", {}),
}


@cache
def found(name: str, fineness=USUAL) -> Inspection:
    return inspected(tessellated(FRIENDS[name](), *fineness))


def pockets(inspection: Inspection) -> list[Wall]:
    return [w for w in inspection.walls if w.is_internal]


@pytest.mark.slow
@pytest.mark.parametrize("fineness", FINENESS)
@pytest.mark.parametrize("name", sorted(FRIENDS))
def test_false_friends_are_no_cylinders(name, fineness):
    cylinders = found(name, fineness).cylinders
    # The octagon's part has one round bore of 8, for comparison.
    true = [("bore", 8.0)] if name == "octagon" else []
    assert [(c.kind, round(c.nominal_size, 3)) for c in cylinders] == true


@pytest.mark.slow
@pytest.mark.parametrize("turn", [(0, 90, 0), (90, 0, 0), (17, -40, 29)])
@pytest.mark.parametrize("name", sorted(FRIENDS))
def test_false_friends_that_lie_or_slant_are_no_cylinders(name, turn):
    rotation = Turn.from_euler("xyz", turn, degrees=True).as_matrix()
    found = inspected(turned(tessellated(FRIENDS[name](), *USUAL), rotation))
    true = [("bore", 8.0)] if name == "octagon" else []
    assert [(c.kind, round(c.nominal_size, 3)) for c in found.cylinders] == true


@pytest.mark.slow
@pytest.mark.parametrize("fineness", FINENESS)
@pytest.mark.parametrize("name", sorted(SHAPES))
def test_what_is_no_bore_says_what_it_is(name, fineness):
    what, measures = SHAPES[name]
    walls = pockets(found(name, fineness))
    assert walls
    assert {wall.shape.name for wall in walls} == {what}
    told = dict(walls[0].shape.measures)
    # Corners lie on the true curve; its extremes may lie between two of them.
    limit = 0.02 if "lobes" in what or what == "ellipse" else 0.002
    for measure, value in measures.items():
        assert told[measure] == pytest.approx(value, abs=limit), measure


LYING = sorted(set(SHAPES) - {"cone", "slender_cone", "letters", "thread"})
ALONG = {"X": [[0, 0, 1], [1, 0, 0], [0, 1, 0]], "Y": [[0, 1, 0], [0, 0, 1], [1, 0, 0]]}


@pytest.mark.slow
@pytest.mark.parametrize("axis", sorted(ALONG))
@pytest.mark.parametrize("name", sorted(set(LYING) - {"rectangle", "fillets"}))
def test_a_pocket_that_lies_has_the_same_shape(name, axis):
    mesh = turned(tessellated(FRIENDS[name](), *USUAL), ALONG[axis])
    what, measures = SHAPES[name]
    (wall,) = [w for w in inspected(mesh).walls if w.is_internal]
    assert (wall.kind, wall.shape.name, wall.is_through) == ("profile", what, False)
    assert abs(wall.direction["XYZ".index(axis)]) == 1
    # It was cut 6 mm deep into a plate of 8.
    assert wall.end - wall.start == pytest.approx(6, abs=1e-4)
    limit = 0.02 if "lobes" in what or what == "ellipse" else 0.002
    told = dict(wall.shape.measures)
    for measure, value in measures.items():
        assert told[measure] == pytest.approx(value, abs=limit), measure


@pytest.mark.parametrize("axis", sorted(ALONG))
def test_a_pocket_that_lies_is_left_alone_and_says_why(axis):
    part = inspected(turned(tessellated(FRIENDS["hexagon"](), *USUAL), ALONG[axis]))
    (wall,) = pockets(part)
    plan = meshcomp.plan(part, meshcomp.ByHand(wall_growth=-0.05, pocket_opening=0.05))
    correction = plan.of(wall.id)
    assert correction.is_left_alone
    assert correction.reason.startswith("lying, hexagon: ")
    made = meshcomp.compensate(part, plan)
    # It stays where it was; mouth and floor are moved with the plate's outside, both.
    (after,) = pockets(inspected(made.part.mesh))
    assert dict(after.shape.measures) == pytest.approx({"across flats": 8}, abs=1e-4)
    went = after.point - wall.point
    assert went @ wall.direction == pytest.approx(-0.05, abs=1e-4)
    assert np.linalg.norm(np.cross(went, wall.direction)) < 1e-4
    assert after.end - after.start == pytest.approx(6, abs=1e-4)


def test_a_lying_hexagon_through_a_bar_goes_through():
    bar = Pos(0, 0, 10) * Box(30, 12, 20)
    cut = Pos(0, 0, 10) * Rotation(90, 0, 0) * extrude(RegularPolygon(4, 6), 40, both=True)
    (wall,) = pockets(inspected(tessellated(bar - cut, *USUAL)))
    assert (wall.shape.name, wall.is_through) == ("hexagon", True)
    assert wall.end - wall.start == pytest.approx(12, abs=1e-6)


@pytest.mark.parametrize("name", ["toothed", "involute_teeth", "knurl", "lobes"])
def test_what_repeats_around_is_one_profile_with_its_length(name):
    inspection = found(name)
    (wall,) = pockets(inspection)
    assert (wall.kind, wall.nominal_size) == ("profile", None)
    around = math.pi * dict(wall.shape.measures)["inscribed circle"]
    assert around < wall.curve_length < 3 * around


def test_the_length_of_a_toothed_outline_is_that_of_its_sides():
    # Closed form: twelve teeth of straight lines between corners on two circles.
    corners = []
    for radius, turn in ((6.0, -0.3), (6.0, -0.1), (7.5, 0.1), (7.5, 0.3), (6.0, 0.7)):
        angle = 2 * math.pi * (turn + 0.5) / 12
        corners.append((radius * math.cos(angle), radius * math.sin(angle)))
    period = np.linalg.norm(np.diff(corners, axis=0), axis=1).sum()
    (wall,) = pockets(found("toothed"))
    assert wall.curve_length == pytest.approx(12 * period, abs=1e-6)


def test_a_drafted_shape_has_no_measures_since_they_change_with_the_height():
    walls = inspected(brep.tessellate(brep.PARTS["housing"](), 0.004, 0.15)).walls
    assert {w.shape.name for w in walls} == {"rectangle, drafted"}
    assert all(w.shape.measures == () for w in walls)


@pytest.mark.parametrize("name", ["hexagon", "slot", "rectangle"])
def test_walls_of_one_pocket_are_a_group(name):
    inspection = found(name)
    (pocket,) = [g for g in inspection.groups if g.id.startswith("pocket")]
    assert pocket.kind == name
    assert set(pocket.members) == {w.id for w in pockets(inspection)}


def test_polygons_say_why_they_are_no_coarse_bores():
    for wall in pockets(found("hexagon")):
        # ISO 4032: a nut M5 is 8 across flats and at most 4.7 high; the pocket is 6 deep.
        (note,) = wall.notes
        assert note == (
            "6 sides: may be meant as a coarse bore; taken for a polygon, since a nut M5 "
            "(ISO 4032) goes into it"
        )
    for wall in pockets(found("octagon")):
        assert "8 sides" in wall.notes[0]
        assert "circles of a like size have" in wall.notes[0]


def test_threads_are_left_alone_with_the_reason():
    inspection = found("thread")
    wanted = meshcomp.plan(inspection, meshcomp.ByHand(pocket_opening=0.1))
    for wall in pockets(inspection):
        correction = wanted.of(wall.id)
        assert correction.is_left_alone
        assert "thread" in correction.reason


@pytest.mark.parametrize("name", sorted(SHAPES))
def test_another_order_of_triangles_gives_the_same_ids_and_shapes(name, rng):
    mesh = tessellated(FRIENDS[name](), *USUAL)
    again = inspected(shuffled(mesh, rng))
    first = [(f.id, f.kind, shape_name(f)) for f in found(name).features]
    assert [(f.id, f.kind, shape_name(f)) for f in again.features] == first


@pytest.mark.parametrize("name", sorted(set(SHAPES) - {"letters", "thread"}))
def test_ids_survive_a_change_of_triangulation(name):
    told = [
        [(f.id, f.kind, shape_name(f)) for f in found(name, fineness).features]
        for fineness in FINENESS
    ]
    assert told[0] == told[1] == told[2]


def shape_name(feature) -> str | None:
    shape = getattr(feature, "shape", None)
    return None if shape is None else shape.name


@pytest.fixture
def rng():
    return np.random.default_rng(20240711)
