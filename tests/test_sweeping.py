"""Walls that crossing faces hold back are brought to their places by solids.

Outside references: closed forms of areas and volumes; crossings counted by pymeshlab,
sections cut by trimesh; manifold3d makes the parts.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import manifold3d
import numpy as np
import pytest
import trimesh
from outside import crossings, plane

import meshcomp
from meshcomp.calibration.record import invented_calibration_path, read_calibration
from meshcomp.compensation.carving.checks import unsound_faces
from meshcomp.compensation.carving.outlines_kept import joined_or_parted
from meshcomp.compensation.limits import BROUGHT, is_of_crossing, mostly_bent
from meshcomp.compensation.refining import Refined
from meshcomp.meshes import Mesh, concatenate
from meshcomp.solids.cutting import cut_away_from
from meshcomp.solids.hulls import united_hulls

REAL = Path(__file__).parents[2] / "shared/data"


def part_of(mesh):
    spacer = meshcomp.demo_part("shaft_spacer")
    return replace(spacer, mesh=mesh, piece_of_face=np.zeros(len(mesh.faces), np.int64))


def made(part, **by_hand):
    found = meshcomp.inspect(part)
    plan = meshcomp.plan(found, meshcomp.ByHand(**by_hand))
    result = meshcomp.compensate(found, plan)
    return found, result, meshcomp.verify(found, result, result.part)


def scratched(depth, turned=1):
    """Return a plate 40 x 20 x 5 with a V scratched into one long side, or raised on it."""
    tip = 10 - turned * depth
    outline = [
        (-20, -10),
        (20, -10),
        (20, 10),
        (depth, 10),
        (0, tip),
        (-depth, 10),
        (-20, 10),
    ]
    return plane.prism([np.array(outline, dtype=float)], 0, 5)


@pytest.mark.parametrize("depth", [0.03, 0.07, 0.1])
def test_a_scratch_that_closes_leaves_the_wall_about_it_in_its_place(depth):
    _, result, proof = made(part_of(scratched(depth)), wall_growth=0.15)

    assert crossings.crossing_faces(result.part.mesh) == 0
    assert all(check.passed for check in proof.checks)
    assert all(size.conforms for size in proof.sizes)
    # The sides, at a right angle, meet 0.15 (sqrt 2 - 1) mm nearer the wall now.
    left = max(depth - 0.15 * (np.sqrt(2) - 1), 0.0)
    assert result.part.mesh.volume == pytest.approx(5 * (40.3 * 20.3 - left**2), abs=2e-3)
    assert {x.reason for x in result.limits} <= {BROUGHT}


def test_a_ridge_that_goes_leaves_the_wall_about_it_in_its_place():
    _, result, proof = made(part_of(scratched(0.05, -1)), wall_growth=-0.15)

    assert crossings.crossing_faces(result.part.mesh) == 0
    assert all(check.passed for check in proof.checks)
    assert all(size.conforms for size in proof.sizes)
    assert result.part.mesh.volume == pytest.approx(5 * 39.7 * 19.7, abs=2e-3)


@pytest.mark.parametrize(("went", "told"), [(0.096, []), (0.03, [(0.1, 0.03)])])
def test_a_wall_that_neighbours_drag_away_is_not_said_to_be_in_its_place(went, told):
    block = plane.prism([[(0, 0), (9, 0), (9, 9), (0, 9)]], 0, 5)
    found = meshcomp.inspect(part_of(block))
    plan = meshcomp.plan(found, meshcomp.ByHand(wall_growth=0.1))
    # The two sides across X go 0.1 mm, those across Y do not.
    outward = np.sign(found.part.mesh.vertices - [4.5, 4.5, 2.5])

    limits = mostly_bent(found, plan, outward * [0.1, went, 0], {"wall-01", "wall-02"})

    assert [f.id for f in found.features] == ["wall-01", "wall-02"]
    assert [(x.wanted, pytest.approx(x.used)) for x in limits] == told
    assert mostly_bent(found, plan, outward * [0.1, went, 0], set()) == ()


def test_a_slot_between_wide_walls_is_not_filled():
    outline = [
        (-20, -10),
        (20, -10),
        (20, 10),
        (0.03, 10),
        (0.02, 2),
        (-0.03, 2),
        (-0.03, 10),
    ]
    slot = plane.prism([np.array([*outline, (-20, 10)], dtype=float)], 0, 5)
    _, result, _ = made(part_of(slot), wall_growth=0.05)

    assert any(x.used < 0.03 for x in result.limits)
    shape = trimesh.Trimesh(result.part.mesh.vertices, result.part.mesh.faces)
    section = shape.section(plane_origin=(0, 6, 0), plane_normal=(0, 1, 0))
    assert len(section.discrete) == 2


@pytest.mark.parametrize("growth", [0.1, 0.15])
def test_a_gap_about_a_boss_is_not_closed_facet_by_facet(growth):
    # A boss stands 0.18 mm off a wall around it, of facets narrower than the slots above.
    turns = np.linspace(np.pi / 2, 0, 13)
    arc = 2 * np.column_stack([np.cos(turns), np.sin(turns)])
    outline = np.vstack([[(2, -6), (6, -6), (6, 6), (-6, 6), (-6, 2)], arc])
    wall = manifold3d.CrossSection([outline]).extrude(3.0).translate((0, 0, 2))
    boss = manifold3d.Manifold.cylinder(2.0, 1.82, 1.82, 64).translate((0, 0, 2))
    base = manifold3d.Manifold.cube((12.0, 12.0, 2.0)).translate((-6, -6, 0))
    solid = (base + wall + boss).to_mesh64()
    faces = np.asarray(solid.tri_verts).astype(np.int64)
    _, result, _ = made(
        part_of(Mesh(solid.vert_properties[:, :3], faces)), wall_growth=growth
    )

    shape = trimesh.Trimesh(result.part.mesh.vertices, result.part.mesh.faces)
    section = shape.section(plane_origin=(0, 0, 3.1), plane_normal=(0, 0, 1))
    assert len(section.discrete) == 2
    assert any(x.used < growth for x in result.limits)


@pytest.mark.parametrize(("radius", "facets"), [(0.5, 24), (3.0, 96)])
def test_a_boss_does_not_grow_together_with_a_flat_wall(radius, facets):
    # 0.18 mm apart, where each is to grow by 0.1 mm: bodies and holes would stay the same.
    wall = manifold3d.Manifold.cube((12.0, 4.0, 3.0)).translate((-6, 0, 2))
    base = manifold3d.Manifold.cube((12.0, 12.0, 2.0)).translate((-6, -8, 0))
    boss = manifold3d.Manifold.cylinder(2.0, radius, radius, facets)
    solid = (base + wall + boss.translate((0, -radius - 0.18, 2))).to_mesh64()
    faces = np.asarray(solid.tri_verts).astype(np.int64)
    _, result, _ = made(part_of(Mesh(solid.vert_properties[:, :3], faces)), wall_growth=0.1)

    shape = trimesh.Trimesh(result.part.mesh.vertices, result.part.mesh.faces)
    section = shape.section(plane_origin=(0, 0, 3.1), plane_normal=(0, 0, 1))
    assert len(section.discrete) == 2
    assert any(x.used < 0.1 for x in result.limits)


def test_outlines_that_join_or_part_are_seen_at_their_heights():
    cube = manifold3d.Manifold.cube((2.0, 2.0, 4.0))
    low = manifold3d.Manifold.cube((1.0, 2.0, 1.0)).translate((2, 0, 0))
    base = manifold3d.Manifold.cube((5.0, 2.0, 1.0)).translate((0, 0, -1))
    apart = base + cube + cube.translate((3, 0, 0))
    bridge = manifold3d.Manifold.cube((1.5, 1.0, 1.0)).translate((1.75, 0.5, 2))

    def meshed(solid):
        found = solid.to_mesh64()
        faces = np.asarray(found.tri_verts).astype(np.int64)
        return Mesh(found.vert_properties[:, :3], faces)

    # The lower tool lies within the base, where nothing changes.
    tools = [meshed(low.translate((0, 0, -1))), meshed(bridge)]
    joined = meshed(apart + bridge)
    assert joined_or_parted(meshed(apart), joined, tools).tolist() == [0, 1]
    assert joined_or_parted(joined, meshed(apart), tools).tolist() == [0, 1]
    assert joined_or_parted(joined, joined, tools).tolist() == [0, 0]
    # Across X the bridge is an outline of its own where the lower tool is.
    frame = np.array([(0.0, 1.0, 0.0), (0.0, 0.0, 1.0), (1.0, 0.0, 0.0)])
    heights = joined_or_parted(meshed(apart), joined, tools, frame)
    assert heights.tolist() == pytest.approx([1, 1])


def test_slopes_that_meet_a_little_higher_join_outlines_over_that_height():
    def grooved(bottom):
        block = manifold3d.Manifold.cube((4.0, 2.0, 2.0))
        half = np.array([(2.0, bottom), (3.5, 2.5), (0.5, 2.5)])
        groove = manifold3d.Manifold.extrude(manifold3d.CrossSection([half]), 3.0)
        found = (block - groove.rotate((90, 0, 0)).translate((0, 2.5, 0))).to_mesh64()
        faces = np.asarray(found.tri_verts).astype(np.int64)
        return Mesh(found.vert_properties[:, :3], faces)

    slab = manifold3d.Manifold.cube((4.0, 2.0, 0.16)).translate((0, 0, 1)).to_mesh64()
    tool = Mesh(slab.vert_properties[:, :3], np.asarray(slab.tri_verts).astype(np.int64))

    heights = joined_or_parted(grooved(1.0), grooved(1.1), [tool])
    assert heights == pytest.approx([0.16])


@pytest.mark.slow
@pytest.mark.skipif(not REAL.is_dir(), reason="the real meshes are not here")
def test_planes_that_a_held_corner_bends_are_brought_whole():
    part = meshcomp.repair(meshcomp.read(REAL / "solid/s05.stl"))
    found, result, proof = made(part, wall_growth=0.15, bore_opening=0.2)

    (wall,) = (f for f in found.features if f.id == "wall-32")
    assert len(wall.faces) > 40
    assert {x.reason for x in result.limits if x.feature_id == wall.id} == {BROUGHT}
    (size,) = (size for size in proof.sizes if size.feature_id == wall.id)
    assert size.conforms


def test_solids_are_added_to_the_body_of_their_owner_only():
    cube = manifold3d.Manifold.cube((1.0, 1.0, 1.0)).to_mesh64()
    corners = np.asarray(cube.vert_properties)[:, :3]
    one = Mesh(corners, np.asarray(cube.tri_verts).astype(np.int64))
    both = concatenate([one, one.moved(corners + [1.5, 0, 0])])
    # From 0.9 to 1.6 mm: it reaches into both, which are 0.5 mm apart.
    bar = united_hulls(np.array([corners * [0.7, 0.5, 0.5] + [0.9, 0.25, 0.25]]))

    for owner, volumes in ((0, [1 + 0.25 * 0.6, 1.0]), (12, [1.0, 1 + 0.25 * 0.6])):
        mesh, parents, cutter = cut_away_from(
            both, [bar], np.arange(24), owners=[owner], adds=True
        )
        bodies = trimesh.Trimesh(mesh.vertices, mesh.faces).split()
        by_place = sorted(bodies, key=lambda body: body.center_mass[0])
        assert [body.volume for body in by_place] == pytest.approx(volumes)
        assert set(parents[cutter < 0].tolist()) <= set(range(24))


@pytest.mark.slow
@pytest.mark.skipif(not REAL.is_dir(), reason="the real meshes are not here")
@pytest.mark.parametrize("name", ["s05", "s09"])
def test_features_of_real_parts_that_were_held_back_have_their_sizes(name):
    part = meshcomp.repair(meshcomp.read(REAL / f"solid/{name}.stl"))
    printer = read_calibration(invented_calibration_path())
    rule = meshcomp.Calibrated(model=printer.model, source="invented")
    found = meshcomp.inspect(part)
    result = meshcomp.compensate(found, meshcomp.plan(found, rule))
    proof = meshcomp.verify(found, result, result.part)

    assert any(x.reason == BROUGHT for x in result.limits)
    assert all(x.used == x.wanted for x in result.limits)
    assert all(size.conforms for size in proof.sizes)
    assert all(check.passed for check in proof.checks)
    assert crossings.crossing_faces(result.part.mesh) == 0


@pytest.mark.skipif(not REAL.is_dir(), reason="the real meshes are not here")
def test_walls_that_were_triangulated_anew_are_known_again():
    # Of a wall of 14,000 mm² one corner is held back, the rest is in its place already.
    part = meshcomp.repair(meshcomp.read(REAL / "solid/s32.stl"))
    found = meshcomp.inspect(part)
    rule = meshcomp.ByHand(wall_growth=-0.05, bore_opening=0.2)
    result = meshcomp.compensate(found, meshcomp.plan(found, rule))

    brought = {x.feature_id for x in result.limits if x.reason == BROUGHT}
    held = [x for x in result.limits if is_of_crossing(x) and x.used != x.wanted]
    assert len(brought) >= 10
    assert held == []
    assert all(check.passed for check in meshcomp.verify(found, result, result.part).checks)


def test_a_fold_in_a_plane_is_seen_though_nothing_crosses():
    # A square of four triangles about a point, which then passes the square's edge.
    corners = np.array(
        [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0), (0.5, 0.5, 0), (0, 0, 1)]
    )
    top = [(1, 0, 4), (2, 1, 4), (3, 2, 4), (0, 3, 4)]
    sides = [(0, 1, 5), (1, 2, 5), (2, 3, 5), (3, 0, 5)]
    flat = Mesh(corners.astype(float), np.array(top + sides))
    moved = corners.astype(float)
    moved[4] = (0.5, -0.2, 0)
    before, after = (
        Refined(
            mesh,
            np.full(8, -1),
            6,
            np.full(8, -1),
            np.zeros((0, 3)),
            np.zeros(0, np.int64),
            np.zeros(0, bool),
        )
        for mesh in (flat, flat.moved(moved))
    )

    assert flat.volume == pytest.approx(1 / 3)
    assert crossings.crossing_faces(after.mesh) == 0
    assert unsound_faces(before, before).tolist() == []
    assert 0 in unsound_faces(before, after)
