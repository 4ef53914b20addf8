"""Which cylinders belong together, and how bores end.

Outside references: holes of the B-rep kernel, true by construction (tests/outside/holes);
closed forms for the places of patterns and for the angle that a keyway leaves.
"""

from __future__ import annotations

import math
from functools import cache
from itertools import product

import numpy as np
import pytest
from build123d import Box, Cylinder, Pos, RegularPolygon, extrude
from outside import plane
from outside.holes import BROKEN, STEPPED
from outside.solids import tessellated
from remade import inspected, shuffled, turned
from scipy.spatial.transform import Rotation

from meshcomp.detection.lattices import best_lattice
from meshcomp.inspections import Inspection

COARSE, USUAL, FINE = (0.05, 0.5), (0.01, 0.25), (0.002, 0.1)
OBLIQUE = Rotation.random(random_state=5).as_matrix()


@cache
def found(name: str, fineness=USUAL) -> Inspection:
    return inspected(tessellated(STEPPED[name](), *fineness))


def told(inspection: Inspection) -> list[tuple]:
    """Kind, sizes from end to end, and whether through, of each group."""
    sizes = {c.id: round(c.nominal_size, 3) for c in inspection.cylinders}
    return [
        (g.kind, tuple(sizes[m] for m in g.members), g.is_through)
        for g in inspection.groups
        if g.members[0] in sizes
    ]


GROUPS = {
    "drilled": [],
    "flat_ended": [],
    "ball_ended": [],
    "counterbored": [("counterbored", (5.0, 10.0), True)],
    "counterbored_blind": [("counterbored", (3.0, 10.0), False)],
    "countersunk": [("countersunk", (5.0,), True)],
    "stepped": [("stepped", (4.0, 8.0, 14.0), True)],
    "stepped_by_a_cone": [("stepped", (6.0, 10.0), True)],
    "grooved": [("grooved", (10.0, 12.0), True)],
    "fork": [("coaxial", (6.0, 6.0), True)],
    "bored_boss": [("coaxial", (5.0, 20.0), True)],
}


@pytest.mark.parametrize("fineness", [COARSE, USUAL, FINE])
@pytest.mark.parametrize("name", sorted(STEPPED))
def test_steps_of_one_hole_are_a_group(name, fineness):
    assert told(found(name, fineness)) == GROUPS[name]


@pytest.mark.parametrize("name", sorted(STEPPED))
def test_groups_do_not_depend_on_where_a_part_stands_or_on_the_order(name):
    mesh = tessellated(STEPPED[name](), *USUAL)
    moved = turned(shuffled(mesh, np.random.default_rng(1)), OBLIQUE, (7, -30, 4))
    groups = told(inspected(moved))
    # Sizes from end to end: which end is first may change with the frame.
    assert [(k, min(s, s[::-1]), t) for k, s, t in groups] == [
        (k, min(s, s[::-1]), t) for k, s, t in GROUPS[name]
    ]


@pytest.mark.parametrize(
    ("name", "endings"),
    [
        ("drilled", ["drill point"]),
        ("flat_ended", ["flat"]),
        ("ball_ended", ["round end"]),
        ("counterbored", ["step", "through"]),
        ("counterbored_blind", ["flat", "step"]),
        ("stepped", ["step", "step", "through"]),
        ("grooved", ["step", "through"]),
    ],
)
def test_each_bore_says_how_it_ends(name, endings):
    assert sorted(c.ending for c in found(name).cylinders) == endings


@pytest.mark.parametrize("fineness", [COARSE, USUAL, FINE])
def test_cones_have_their_angle_and_width(fineness):
    (sunk,) = found("countersunk", fineness).cylinders
    (flare,) = sunk.flares
    assert (flare.kind, flare.start, flare.end) == ("countersink", 9.0, 12.0)
    assert flare.angle == pytest.approx(90.0, abs=0.05)
    assert flare.size == pytest.approx(11.0, abs=1e-5)
    (drilled,) = found("drilled", fineness).cylinders
    (flare,) = drilled.flares
    assert flare.kind == "drill point"
    assert flare.angle == pytest.approx(118.0, abs=0.05)


@pytest.mark.parametrize("fineness", [COARSE, USUAL, FINE])
@pytest.mark.parametrize("name", sorted(BROKEN))
def test_what_interrupts_a_bore_leaves_its_size_and_is_told_as_an_angle(name, fineness):
    build, span = BROKEN[name]
    inspection = inspected(tessellated(build(), *fineness))
    size = 8.0 if name == "crossed" else 10.0
    (bore,) = [c for c in inspection.cylinders if abs(c.nominal_size - size) < 0.5]
    assert bore.nominal_size == pytest.approx(size, abs=1e-4)
    assert bore.span == pytest.approx(span, abs=0.2)
    assert any("interrupted" in note for note in bore.notes) == (span < 359)


def circle(diameter, centre, facets=24):
    turns = 2 * np.pi * np.arange(facets) / facets
    return diameter / 2 * np.column_stack([np.cos(turns), np.sin(turns)]) + centre


def plate(places, sizes=None) -> Inspection:
    outline = np.array([(-60, -60), (60, -60), (60, 60), (-60, 60)], dtype=float)
    sizes = [4.0] * len(places) if sizes is None else sizes
    rings = [circle(s, p)[::-1] for s, p in zip(sizes, places, strict=True)]
    return inspected(plane.prism([outline, *rings], 0, 5))


def around(count, radius, start=0.1):
    turns = start + 2 * np.pi * np.arange(count) / count
    return radius * np.column_stack([np.cos(turns), np.sin(turns)]) + (3, -2)


@pytest.mark.parametrize("count", [3, 5, 6, 8, 12])
def test_bores_evenly_on_a_circle_are_a_bolt_circle(count):
    (pattern,) = plate(around(count, 30)).patterns
    assert (pattern.kind, pattern.counts) == ("circle", (count,))
    assert pattern.circle_size == pytest.approx(60.0, abs=1e-3)
    # Mathematics: the chord between neighbours.
    chord = 60 * math.sin(math.pi / count)
    assert pattern.pitch == pytest.approx((chord,), abs=1e-3)


def test_a_square_is_a_bolt_circle_only_about_something():
    corners = around(4, 30)
    (alone,) = plate(corners).patterns
    assert (alone.kind, alone.counts) == ("grid", (2, 2))
    (about,) = plate([*corners, (3, -2)], [4.0] * 4 + [22.0]).patterns
    assert about.kind == "circle"


def test_rows_and_columns_are_a_grid_with_two_pitches():
    places = [(-40 + 12.5 * i, -30 + 20 * j) for i, j in product(range(5), range(3))]
    (pattern,) = plate(places).patterns
    assert (pattern.kind, pattern.counts) == ("grid", (5, 3))
    assert pattern.pitch == pytest.approx((12.5, 20.0), abs=1e-6)
    assert len(pattern.members) == 15


def test_three_in_a_line_are_a_row_and_two_are_nothing():
    (pattern,) = plate([(-20, 5), (0, 5), (20, 5)]).patterns
    assert (pattern.kind, pattern.counts, pattern.pitch) == ("row", (3,), (20.0,))
    assert plate([(-20, 5), (0, 5)]).patterns == ()


@pytest.mark.parametrize("pitch", [0.0, 0.002, 0.02])
def test_places_too_near_to_be_told_apart_are_no_row(pitch):
    # A step that is no longer than places may be off leads back to where it began.
    places = np.array([(0.001, k // 2 * pitch) for k in range(6)])
    assert best_lattice(places, np.ones(6, dtype=bool), 0.03) is None


def test_uneven_pitch_and_other_sizes_are_no_pattern():
    assert plate([(-20, 5), (0, 5), (20.5, 5)]).patterns == ()
    assert plate([(-20, 5), (0, 5), (20, 5)], [4.0, 4.0, 4.2]).patterns == ()


def test_two_patterns_of_one_size_are_told_apart():
    places = [*around(6, 20), (-50, -50), (-50, 50), (50, 50), (50, -50)]
    kinds = [(p.kind, len(p.members)) for p in plate(places).patterns]
    assert kinds == [("circle", 6), ("grid", 4)]


@pytest.mark.parametrize(("count", "missing"), [(5, 0), (6, 2), (8, 7), (12, 5)])
def test_a_bolt_circle_with_an_empty_place_says_where_it_is(count, missing):
    places = around(count, 30)
    (pattern,) = plate(np.delete(places, missing, axis=0)).patterns
    assert (pattern.kind, pattern.counts) == ("circle", (count,))
    assert len(pattern.members) == count - 1
    # Mathematics: the chord of the whole circle, and the place that was left out.
    chord = 60 * math.sin(math.pi / count)
    assert pattern.pitch == pytest.approx((chord,), abs=1e-3)
    ((x, y, z),) = pattern.empty
    assert (x, y) == pytest.approx(tuple(places[missing]), abs=1e-3)
    assert z == pytest.approx(2.5, abs=1e-6)


def test_three_of_a_square_are_a_bolt_circle_only_about_something():
    corners = around(4, 30)[:3]
    assert plate(corners).patterns == ()
    (pattern,) = plate([*corners, (3, -2)], [4.0] * 3 + [22.0]).patterns
    assert (pattern.kind, pattern.counts) == ("circle", (4,))
    assert pattern.empty[0][:2] == pytest.approx(tuple(around(4, 30)[3]), abs=1e-3)


@pytest.mark.parametrize("missing", [0, 1, 4, 7, 11])
def test_a_grid_with_an_empty_place_says_where_it_is(missing):
    places = np.array(
        [(-40 + 12.5 * i, -30 + 20 * j) for i, j in product(range(4), range(3))]
    )
    (pattern,) = plate(np.delete(places, missing, axis=0)).patterns
    assert (pattern.kind, pattern.counts) == ("grid", (4, 3))
    assert pattern.pitch == pytest.approx((12.5, 20.0), abs=1e-6)
    assert len(pattern.members) == 11
    assert pattern.empty[0][:2] == pytest.approx(tuple(places[missing]), abs=1e-6)


def test_a_grid_with_two_empty_places_is_told_without_them():
    places = np.array([(12.5 * i, 20.0 * j) for i, j in product(range(4), range(3))])
    found = plate(np.delete(places, [0, 11], axis=0) - (20, 20)).patterns
    assert all(p.empty == () for p in found)
    assert ("row", (4,)) in [(p.kind, p.counts) for p in found]


def test_the_empty_place_of_a_part_that_lies_is_in_its_own_frame():
    outline = np.array([(-60, -60), (60, -60), (60, 60), (-60, 60)], dtype=float)
    places = around(6, 30)
    rings = [circle(4, p)[::-1] for p in places[1:]]
    shift = np.array([7.0, -30.0, 4.0])
    (pattern,) = inspected(
        turned(plane.prism([outline, *rings], 0, 5), OBLIQUE, shift)
    ).patterns
    wanted = OBLIQUE @ [*places[0], 2.5] + shift
    assert pattern.empty[0] == pytest.approx(tuple(wanted), abs=1e-3)


@pytest.mark.parametrize(
    ("is_through", "has_bore"), [(True, False), (False, False), (False, True)]
)
def test_a_pocket_says_whether_it_goes_through(is_through, has_bore):
    block = Pos(0, 0, 5) * Box(40, 40, 10)
    prism = extrude(RegularPolygon(5, 6), 20)
    solid = block - (Pos(0, 0, -5 if is_through else 6) * prism)
    if has_bore:
        # A bore amid its floor makes a hole of the pocket, and leaves it a floor.
        solid = solid - (Pos(0, 0, 5) * Cylinder(2, 10))
    (pocket,) = inspected(tessellated(solid, *USUAL)).groups
    assert (pocket.id, pocket.kind, pocket.is_through) == (
        "pocket-01",
        "hexagon",
        is_through,
    )


def test_a_pattern_is_found_whichever_way_a_part_lies():
    outline = np.array([(-60, -60), (60, -60), (60, 60), (-60, 60)], dtype=float)
    mesh = plane.prism([outline, *(circle(4, p)[::-1] for p in around(6, 30))], 0, 5)
    (pattern,) = inspected(turned(mesh, OBLIQUE)).patterns
    assert (pattern.kind, pattern.counts) == ("circle", (6,))
    assert pattern.circle_size == pytest.approx(60.0, abs=1e-3)


def test_a_large_grid_is_found_fast_enough_to_be_used():
    places = [(-57 + 6 * i, -57 + 6 * j) for i, j in product(range(20), range(20))]
    (pattern,) = plate(places, [3.0] * 400).patterns
    assert pattern.counts == (20, 20)
