"""Level faces against the layers, and moving them there.

What is compared with: arithmetic of the grid by hand (fractions); boxes and cylinders
whose level faces and volumes have closed form; pymeshlab for crossing faces
(tests/outside/crossings.py); numpy for reading the written file (tests/outside/measure.py).
That a layer is printed where its middle lies in the material is common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from outside import crossings, measure

import meshcomp
from meshcomp.errors import OptionError
from meshcomp.features import Cylinder
from meshcomp.layering import height_checks, layer_report, snapped
from meshcomp.layering.faces import levels_of
from meshcomp.layering.knots import Item, chosen_moves, items_of
from meshcomp.layers import LayerGrid, LayerWish, SnapWish
from meshcomp.meshes import Mesh
from meshcomp.parts import Part
from meshcomp.scenario.outlines import circle
from meshcomp.scenario.prisms import cut_away, laid, prism

SOLIDS = Path(__file__).parents[1].parent / "shared" / "data" / "solid"
GRID = LayerGrid(layer_height=0.2, first_layer=0.25)


def part_of(mesh: Mesh) -> Part:
    return replace(
        meshcomp.demo_part("knob"),
        mesh=mesh,
        piece_of_face=np.zeros(len(mesh.faces), np.int64),
    )


def box(x, y, z0, z1):
    return prism(
        np.array([(x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1])]), [], z0, z1
    )


def stepped_block() -> Mesh:
    """Return 20 x 10 x 5.1 with a step at 2.93 and a blind bore of 4 down to 3.31."""
    low = box((0, 20), (0, 10), 0.0, 2.93)
    high = box((0, 10), (0, 10), 0.0, 5.1)
    drill = prism(circle(2.0, 48, centre=(5.0, 5.0)), [], 3.31, 9.0)
    return cut_away([low, high], [drill])


# The grid


@given(st.integers(1, 400), st.integers(1, 60), st.integers(1, 60))
def test_a_face_prints_at_the_nearest_end_of_a_layer(height, layer, first):
    grid = LayerGrid(layer_height=layer / 100, first_layer=first / 100)
    ends = [Fraction(0)] + [Fraction(first + k * layer, 100) for k in range(410)]
    gaps = sorted(abs(Fraction(height, 100) - end) for end in ends)
    printed = grid.printed(height / 100)
    assert abs(Fraction(height, 100) - Fraction(str(printed))) == gaps[0]
    assert grid.is_midway(height / 100) == (gaps[0] == gaps[1])


def test_a_foot_thinner_than_half_the_first_layer_is_lost():
    assert LayerGrid(layer_height=0.2, first_layer=0.3).printed(0.14) == 0.0
    assert LayerGrid(layer_height=0.2, first_layer=0.3).printed(0.16) == 0.3


@pytest.mark.parametrize("value", [0.0, -0.2, 11.0, float("nan")])
def test_a_layer_height_that_cannot_be_is_refused(value):
    with pytest.raises(OptionError, match="set in the slicer"):
        LayerGrid(layer_height=value, first_layer=0.2)


# What is listed


def test_level_faces_have_their_heights_areas_and_ways():
    levels = levels_of(stepped_block())
    assert levels.heights.tolist() == pytest.approx([0.0, 2.93, 3.31, 5.1])
    # A circle of n corners has the area n r² sin(2 pi / n) / 2.
    floor = 48 * 4.0 * np.sin(2 * np.pi / 48) / 2
    up = [0.0, 100.0, floor, 100.0 - floor]
    assert levels.areas[:, 0] == pytest.approx(up, abs=1e-9)
    assert levels.areas[:, 1] == pytest.approx([200.0, 0.0, 0.0, 0.0], abs=1e-9)


def test_faces_and_depths_off_the_grid_are_listed_with_what_they_print_as():
    report = layer_report(meshcomp.inspect(part_of(stepped_block())), GRID)
    found = {round(f.height, 6): round(f.printed, 6) for f in report.off_grid}
    assert found == {2.93: 2.85, 3.31: 3.25, 5.1: 5.05}
    (depth,) = [d for d in report.off_distances if d.what == "blind depth"]
    assert depth.feature_ids == ("bore-01",)
    assert (depth.nominal, depth.printed) == pytest.approx((5.1 - 3.31, 5.05 - 3.25))
    steps = [d for d in report.distances if d.what == "step"]
    assert [round(d.off, 6) for d in steps] == [-0.08, 0.02, 0.01]


def test_a_part_on_the_grid_has_nothing_off():
    grid = LayerGrid(layer_height=0.01, first_layer=0.01)
    report = layer_report(meshcomp.inspect(part_of(stepped_block())), grid)
    assert (report.off_grid, report.off_distances) == ((), ())


def test_heights_count_from_the_bed_wherever_the_part_lies():
    mesh = stepped_block()
    away = mesh.moved(mesh.vertices + (0, 0, 40.125))
    report = layer_report(meshcomp.inspect(part_of(away)), GRID)
    assert sorted({round(f.height, 3) for f in report.faces}) == [0.0, 2.93, 3.31, 5.1]


# What is moved


def test_without_a_wish_no_coordinate_changes_by_a_bit(tmp_path):
    part = part_of(stepped_block())
    rule = meshcomp.ByHand(bore_opening=0.2)
    plain = meshcomp.compensate_part(part, tmp_path / "a.stl", rule)
    listed = meshcomp.compensate_part(
        part, tmp_path / "b.stl", rule, layers=LayerWish(grid=GRID)
    )
    assert plain.layers is None
    assert listed.layers.off_grid
    assert listed.layers.moves is None
    assert (tmp_path / "a.stl").read_bytes() == (tmp_path / "b.stl").read_bytes()


def test_snapped_faces_lie_on_layers_in_the_written_file(tmp_path):
    wish = LayerWish(grid=GRID, snap=SnapWish())
    rule = meshcomp.ByHand(wall_growth=0.05, bore_opening=0.2)
    record = meshcomp.compensate_part(
        part_of(stepped_block()), tmp_path / "out.stl", rule, layers=wish
    )
    assert record.conforms
    written = measure.read_mesh(tmp_path / "out.stl")
    z = written.vertices[written.faces, 2]
    level = np.unique(z[np.ptp(z, axis=1) == 0][:, 0])
    assert level.tolist() == [float(np.float32(x)) for x in (0.0, 2.85, 3.25, 5.05)]
    assert crossings.crossing_faces(tmp_path / "out.stl") == 0
    assert crossings.open_edges(tmp_path / "out.stl") == 0
    signed, whole = record.layers.sum_of_moves
    assert (signed, whole) == pytest.approx((-0.08 - 0.06 - 0.05, 0.19))


def test_the_volume_that_snapping_takes_is_area_times_move():
    found = meshcomp.inspect(part_of(stepped_block()))
    after, report = snapped(found, GRID, SnapWish())
    floor = 48 * 4.0 * np.sin(2 * np.pi / 48) / 2
    by_hand = -0.08 * 100 - 0.06 * floor - 0.05 * (100 - floor)
    assert report.moves.predicted_volume_change == pytest.approx(by_hand, abs=2e-3)
    assert measure.volume(after.part.mesh) - measure.volume(found.part.mesh) == (
        pytest.approx(by_hand, abs=2e-3)
    )


def test_only_the_height_asked_for_moves_and_the_others_keep_theirs_to_the_bit():
    found = meshcomp.inspect(part_of(stepped_block()))
    after, report = snapped(found, GRID, SnapWish(only=(2.93,)))
    moves = {round(f.height, 3): f.move for f in report.faces}
    assert [z for z, move in moves.items() if move] == [2.93]
    old, new = found.part.mesh.vertices, after.part.mesh.vertices
    others = old[:, 2] != old[np.abs(old[:, 2] - 2.93) < 1e-6, 2][0]
    assert (old[others] == new[others]).all()


def test_a_height_without_a_level_face_is_refused():
    found = meshcomp.inspect(part_of(stepped_block()))
    with pytest.raises(OptionError, match=r"no level face at 4 mm .* 2\.930"):
        snapped(found, GRID, SnapWish(only=(4.0,)))


def test_features_keep_their_ids_and_follow_their_ends():
    found = meshcomp.inspect(part_of(stepped_block()))
    after, _ = snapped(found, GRID, SnapWish())
    assert [f.id for f in after.features] == [f.id for f in found.features]
    again = meshcomp.inspect(after.part)
    for mine, seen in zip(after.features, again.features, strict=True):
        assert (mine.start, mine.end) == pytest.approx((seen.start, seen.end), abs=1e-6)
        # A wall's point lies anywhere amid its two planes, of which one may be higher.
        count = 3 if isinstance(mine, Cylinder) else 2
        assert mine.point[:count] == pytest.approx(seen.point[:count], abs=1e-6)


def block_with_lying_bore(facets: int = 64) -> Mesh:
    """Return a block to 9.13 with a step at 2.07 and a bore of 5 along X at height 5.5."""
    blank = [box((0, 30), (0, 12), 0, 9.13), box((0, 30), (0, 20), 0, 2.07)]
    drill = laid(prism(circle(2.5, facets, centre=(6.0, 5.5)), [], -1.0, 31.0), "X")
    return cut_away(blank, [drill])


def test_a_facet_of_a_lying_bore_is_no_level_face(tmp_path):
    # Of 30 facets the highest and the lowest are level, as the bore's walls, not as faces.
    part = part_of(block_with_lying_bore(30))
    assert {f.height for f in layer_report(meshcomp.inspect(part), GRID).faces} == {
        0.0, 2.07, 9.13,
    }  # fmt: skip
    record = meshcomp.compensate_part(
        part,
        tmp_path / "o.stl",
        meshcomp.ByHand(bore_opening=0.3),
        layers=LayerWish(grid=GRID, snap=SnapWish()),
    )
    assert record.conforms
    assert len(record.layers.faces) == 3


def test_a_lying_bore_stays_round_while_faces_about_it_move(tmp_path):
    wish = LayerWish(grid=GRID, snap=SnapWish())
    part = part_of(block_with_lying_bore())
    record = meshcomp.compensate_part(
        part, tmp_path / "o.stl", meshcomp.ByHand(bore_opening=0.1), layers=wish
    )
    assert record.conforms
    moved = {round(f.height, 3): round(f.move, 6) for f in record.layers.faces}
    assert moved == {0.0: 0.0, 2.07: -0.02, 9.13: -0.08}
    found = measure.bore_circle(
        measure.read_mesh(tmp_path / "o.stl"), (0, 6.0, 5.5), (1, 0, 0), 11.0
    )
    assert found.diameter == pytest.approx(5.1, abs=1e-4)
    assert found.residual < 1e-5
    assert found.centre[2] == pytest.approx(5.5, abs=1e-6)


def test_a_face_within_the_height_of_a_lying_bore_takes_the_bore_along():
    # The step at 5.13 is halfway up the bore: both move by -0.08 to 5.05.
    blank = [box((0, 30), (0, 12), 0, 9.05), box((0, 30), (0, 20), 0, 5.13)]
    drill = laid(prism(circle(2.5, 64, centre=(6.0, 5.5)), [], -1.0, 31.0), "X")
    found = meshcomp.inspect(part_of(cut_away(blank, [drill])))
    after, report = snapped(found, GRID, SnapWish())
    assert {round(f.height, 3): round(f.move, 6) for f in report.faces} == {
        0.0: 0.0, 5.13: -0.08, 9.05: 0.0,
    }  # fmt: skip
    circle_ = measure.bore_circle(after.part.mesh, (0, 6.0, 5.42), (1, 0, 0), 11.0)
    assert circle_.diameter == pytest.approx(5.0, abs=1e-5)
    assert circle_.residual < 1e-5
    assert circle_.centre[2] == pytest.approx(5.42, abs=1e-6)


def test_two_faces_beside_one_lying_bore_cannot_both_move_and_it_is_said():
    blank = [
        box((0, 30), (0, 12), 0, 9.05), box((0, 30), (0, 20), 0, 5.13),
        box((0, 30), (-9, 12), 0, 6.17),
    ]  # fmt: skip
    drill = laid(prism(circle(2.5, 64, centre=(6.0, 5.5)), [], -1.0, 31.0), "X")
    found = meshcomp.inspect(part_of(cut_away(blank, [drill])))
    _, report = snapped(found, GRID, SnapWish())
    told = {round(f.height, 3): (round(f.move, 6), f.reason) for f in report.faces}
    assert told[6.17] == (0.08, "")  # of the two, its face is the larger
    move, reason = told[5.13]
    assert move == 0.08
    assert reason == "it lies within the height of bore-01, which must stay round"


# Order


def heights_and_moves():
    return st.lists(
        st.tuples(st.integers(1, 2000), st.integers(1, 900)),
        min_size=1, max_size=12, unique_by=lambda pair: pair[0],
    )  # fmt: skip


@given(heights_and_moves(), st.lists(st.tuples(st.integers(0, 1800), st.integers(1, 400))))
def test_heights_never_change_their_order(levels, ranges):
    rows = [
        (z / 100, GRID.printed(z / 100) - z / 100, area / 10) for z, area in sorted(levels)
    ]
    blocks = [(z / 100, (z + size) / 100, f"bore-{z}") for z, size in ranges]
    items, _ = items_of([(0.0, 0.0, 1.0), *rows], blocks, 1e-4)
    knots = chosen_moves(items)
    z = np.unique(np.linspace(0, 25, 2001).tolist() + [r[0] for r in rows])
    z = z[np.diff(z, prepend=-1.0) > 1e-9]
    after = z + knots.moved(z)
    assert (np.diff(after) > 0).all()
    # Within a range that must stay rigid all move alike.
    for low, high, _ in blocks:
        inside = np.linspace(low, high, 7)
        assert np.ptp(knots.moved(inside)) < 1e-12


def test_of_two_faces_that_go_to_one_layer_the_larger_gets_it():
    items = [
        Item(low=z, high=z, wanted=move, area=area)
        for z, move, area in [(0.0, 0.0, 9.0), (5.0, 0.05, 1.0), (5.1, -0.05, 4.0)]
    ]
    knots = chosen_moves(items)
    assert [item.low for item in knots.items] == [0.0, 5.1]
    ((refused, reason),) = knots.refused
    assert refused.low == 5.0
    assert reason == "it would come too near the face at 5.100 mm"


def stepped_bar(diagonal: bool) -> Mesh:  # noqa: FBT001
    """Return a bar 6 long with a stepped end: 4 high, and 2.1 high for x below 5.2.

    With the diagonal, its ends have a thin triangle from the foot at the left over the
    step's corner to the top at the right, whose long side passes 0.02 below that corner.
    """
    outline = np.array([(0.0, 0.0), (10, 0), (10, 4), (5.2, 4), (5.2, 2.1), (0, 2.1)])
    if not diagonal:
        return laid(prism(outline[:, ::-1][::-1], [], 0.0, 6.0), "Y")
    front = np.column_stack([outline[:, 0], np.zeros(6), outline[:, 1]])
    points = np.concatenate([front, front + (0, 6, 0)])
    cap = np.array([(0, 1, 2), (0, 2, 4), (2, 3, 4), (0, 4, 5)])
    here = np.arange(6)
    there = np.roll(here, -1)
    sides = [
        np.column_stack([here, here + 6, there]),
        np.column_stack([there, here + 6, there + 6]),
    ]
    return Mesh(points, np.concatenate([cap, cap[:, ::-1] + 6, *sides]))


@pytest.mark.parametrize("diagonal", [False, True])
def test_triangles_are_split_where_moved_corners_would_turn_them_over(diagonal, tmp_path):
    # The step moves down by 0.1, the ends of the diagonal not at all.
    part = part_of(stepped_bar(diagonal))
    found = meshcomp.inspect(part)
    grid = LayerGrid(layer_height=0.5, first_layer=0.5)
    after, report = snapped(found, grid, SnapWish())
    assert (report.moves.split_faces > 0) == diagonal
    meshcomp.write(after.part, tmp_path / "out.stl")
    assert crossings.crossing_faces(tmp_path / "out.stl") == 0
    assert crossings.open_edges(tmp_path / "out.stl") == 0
    ends = after.part.mesh.area_vectors[np.abs(after.part.mesh.corners[..., 1]).max(1) == 0]
    assert (ends[:, 1] < 0).all()  # none turned over
    assert after.solid.volume == pytest.approx(6 * (10 * 4 - 5.2 * 2.0), rel=1e-6)


# The proof


def test_a_level_face_off_its_planned_height_is_named():
    wish = LayerWish(grid=GRID, snap=SnapWish())
    found = meshcomp.inspect(part_of(stepped_block()))
    after, report = snapped(found, GRID, wish.snap)
    (check,) = height_checks(report, after.part)
    assert check.passed
    vertices = after.part.mesh.vertices.copy()
    vertices[np.abs(vertices[:, 2] - 2.85) < 1e-5, 2] += 0.001
    (check,) = height_checks(
        report, replace(after.part, mesh=after.part.mesh.moved(vertices))
    )
    assert not check.passed
    vertices[np.abs(vertices[:, 2] - 2.851) < 1e-5, 2] += 0.1
    (check,) = height_checks(
        report, replace(after.part, mesh=after.part.mesh.moved(vertices))
    )
    assert "no face at 2.85" in check.figure


@pytest.mark.slow
@pytest.mark.skipif(not SOLIDS.is_dir(), reason="the real meshes are not here")
@pytest.mark.parametrize("name", ["s02", "s13", "s16", "s19", "s34", "s45", "s46"])
def test_real_parts_are_sound_and_proved_after_snapping(name, tmp_path):
    grid = LayerGrid(layer_height=0.2, first_layer=0.27)
    part = meshcomp.read(SOLIDS / f"{name}.stl", up="+Z")
    record = meshcomp.compensate_part(
        part,
        tmp_path / "out.stl",
        meshcomp.ByHand(bore_opening=0.2),
        layers=LayerWish(grid=grid, snap=SnapWish()),
    )
    assert record.layers.moves is not None
    assert [c for c in record.verification.checks if not c.passed] == []
    assert [s for s in record.verification.sizes if not s.conforms] == []
    before = crossings.crossing_faces(SOLIDS / f"{name}.stl")
    assert crossings.crossing_faces(tmp_path / "out.stl") <= before
    assert crossings.open_edges(tmp_path / "out.stl") == 0
    written = measure.read_mesh(tmp_path / "out.stl")
    z = written.vertices[written.faces, 2]
    level = np.unique(z[np.ptp(z, axis=1) == 0][:, 0])
    bed = float(part.mesh.bounds[0, 2])
    for face in record.layers.faces:
        if face.move and not face.reason:
            planned = grid.printed(face.height)
            assert np.abs(level - bed - planned).min() < 1e-5
