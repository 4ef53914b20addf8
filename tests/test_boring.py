"""Bores that crossing faces hold back are cut to size, and nothing else is.

Outside references: trimesh's sections and closed forms (the area of a regular polygon, the
volume of a drilled ball, 4/3 pi (R² - r²)^(3/2)); manifold3d makes the parts.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import manifold3d
import numpy as np
import pytest
import trimesh
from scipy.spatial.distance import pdist

import meshcomp
from meshcomp.compensation.carving.boring import cut_to_size
from meshcomp.compensation.carving.cutting import closed_up
from meshcomp.compensation.limits import CUT
from meshcomp.compensation.offsetting import offset_walls
from meshcomp.meshes import Mesh
from meshcomp.results import Limit

REAL = Path(__file__).parents[2] / "shared/data"


def part_of(solid):
    found = solid.to_mesh64()
    mesh = Mesh(found.vert_properties[:, :3], np.asarray(found.tri_verts, np.int64))
    spacer = meshcomp.demo_part("shaft_spacer")
    return replace(spacer, mesh=mesh, piece_of_face=np.zeros(len(mesh.faces), np.int64))


def drilled_ball(bottom):
    """Return a ball 8 mm across, of facets smaller than offsets, with a bore of 2 mm."""
    ball = manifold3d.Manifold.sphere(4.0, 300)
    bore = manifold3d.Manifold.cylinder(10.0, 1.0, 1.0, 64).translate((0, 0, bottom))
    return part_of(ball - bore)


def made(part, **by_hand):
    found = meshcomp.inspect(part)
    plan = meshcomp.plan(found, meshcomp.ByHand(**by_hand))
    result = meshcomp.compensate(found, plan)
    return found, result, meshcomp.verify(found, result, result.part)


def widths(mesh, height):
    """Largest distance across each ring of a section, by trimesh."""
    section = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).section(
        plane_origin=(0, 0, height), plane_normal=(0, 0, 1)
    )
    return sorted(float(pdist(np.asarray(ring)[:, :2]).max()) for ring in section.discrete)


def test_a_bore_among_facets_smaller_than_its_offset_gets_its_size():
    found, result, proof = made(drilled_ball(-5.0), bore_opening=0.2)
    (bore,) = found.cylinders

    assert [(x.feature_id, x.used, x.reason) for x in result.limits] == [
        (bore.id, pytest.approx(-0.1), CUT)
    ]
    for height in (-3.0, 0.4, 3.0):
        assert widths(result.part.mesh, height)[0] == pytest.approx(2.2, abs=2e-3)
    # A facet of the ball lies at most 4 (1 - cos(0.9 degrees)) = 0.5 um inside.
    drilled = 4 / 3 * np.pi * (16 - 1.1**2) ** 1.5
    assert result.part.mesh.volume == pytest.approx(drilled, rel=1e-3)
    assert proof.conforms
    assert any("a bore cut to size ends it" in check.figure for check in proof.checks)


def test_a_blind_bore_keeps_its_bottom_to_the_last_bit():
    found, result, proof = made(drilled_ball(0.5), bore_opening=0.2)
    (bore,) = found.cylinders

    assert [x.reason for x in result.limits] == [CUT]
    mesh = result.part.mesh
    wall = (np.hypot(*mesh.vertices[:, :2].T) < 1.2) & (mesh.vertices[:, 2] > -1)
    assert mesh.vertices[wall, 2].min() == 0.5
    assert widths(mesh, 0.51)[0] == pytest.approx(2.2, abs=2e-3)
    assert len(widths(mesh, 0.49)) == 1
    assert {s.feature_id for s in proof.sizes if s.conforms} == {bore.id}


def test_a_ledge_in_a_bore_stays_when_the_bore_is_cut():
    ball = manifold3d.Manifold.sphere(4.0, 300)
    ends = [
        manifold3d.Manifold.cylinder(5.0, 1.0, 1.0, 64).translate((0, 0, z))
        for z in (0.5, -5.5)
    ]
    through = manifold3d.Manifold.cylinder(2.0, 0.6, 0.6, 64).translate((0, 0, -1.0))
    # A hole from the side reaches both ends: they are one bore, interrupted.
    side = manifold3d.Manifold.cylinder(5.0, 0.7, 0.7, 64).rotate((0, 90, 0))
    part = part_of(ball - ends[0] - ends[1] - through - side)
    found, result, proof = made(part, bore_opening=0.2)

    assert sorted(round(bore.nominal_size, 3) for bore in found.cylinders) == [1.2, 1.4, 2]
    assert {x.reason for x in result.limits} == {CUT}
    for height, width in ((-2.0, 2.2), (2.0, 2.2)):
        assert widths(result.part.mesh, height)[0] == pytest.approx(width, abs=2e-3)
    shape = trimesh.Trimesh(result.part.mesh.vertices, result.part.mesh.faces)
    section = shape.section(plane_origin=(-1e-4, 0, 0), plane_normal=(1, 0, 0))
    ledge = np.vstack(section.discrete)
    ledge = ledge[np.abs(ledge[:, 2]) < 0.51]
    assert np.abs(ledge[:, 1]).min() == pytest.approx(0.7, abs=2e-3)
    assert all(check.passed for check in proof.checks)
    assert all(size.conforms for size in proof.sizes)


def test_short_edges_of_a_cut_are_closed_up_but_no_long_row_of_them():
    # A fan over a row of points, each new, 0.001 mm from the next.
    for count, faces, corners in ((4, 1, 3), (40, 40, 42)):
        row = [(0.001 * k, 0.0, 0.0) for k in range(count)]
        mesh = Mesh(
            [*row, (0.0, 1.0, 0.0), (1.0, 0.0, 0.0)],
            [(k, k + 1, count) for k in range(count - 1)] + [(count - 1, count + 1, count)],
        )
        new = np.arange(count + 2) < count - 1  # the last of the row was there before
        closed, kept = closed_up(mesh, new, 0.002)
        points = np.unique(closed.vertices[closed.faces].reshape(-1, 3), axis=0)
        assert len(kept) == faces
        assert len(points) == corners
        assert points[:, 0].tolist().count(row[-1][0]) == 1  # what was there has not moved


def test_bores_that_would_grow_into_each_other_stay_held():
    plate = manifold3d.Manifold.cube((20.0, 10.0, 4.0))
    hole = manifold3d.Manifold.cylinder(10.0, 2.0, 2.0, 64)
    # 0.15 mm of wall between them; both together would take 0.2.
    both = hole.translate((7.0, 5.0, -2.0)) + hole.translate((11.15, 5.0, -2.0))
    found, result, proof = made(part_of(plate - both), bore_opening=0.2)

    held = {x.feature_id: x for x in result.limits}
    assert set(held) == {bore.id for bore in found.cylinders}
    assert any(x.used != x.wanted for x in held.values())
    assert all(check.passed for check in proof.checks)
    assert proof.solid.genus == 2


@pytest.mark.parametrize("turned", [0, 90])
def test_a_blind_bore_does_not_open_into_the_side_of_its_part(turned):
    # Its wall is 0.09 mm thick where it is to be 0.1 mm wider: one body without holes,
    # before and then.
    block = manifold3d.Manifold.cube((12.0, 12.0, 10.0)).translate((-6, -6, 0))
    bore = manifold3d.Manifold.cylinder(9.0, 2.0, 2.0, 64).translate((0, 3.91, 4))
    part = part_of((block - bore).rotate((turned, 0, 0)))
    _, result, _ = made(part, bore_opening=0.2)

    (limit,) = result.limits
    assert abs(limit.used) < 0.1
    along = np.array([0, -np.sin(np.radians(turned)), np.cos(np.radians(turned))])
    shape = trimesh.Trimesh(result.part.mesh.vertices, result.part.mesh.faces)
    section = shape.section(plane_origin=8 * along, plane_normal=along)
    assert len(section.discrete) == 2


def test_what_is_held_for_another_reason_is_not_cut():
    part = drilled_ball(-5.0)
    found = meshcomp.inspect(part)
    plan = meshcomp.plan(found, meshcomp.ByHand(bore_opening=0.2))
    result, limits, _, _ = offset_walls(found, plan)
    other = tuple(replace(x, reason="another body lies against it") for x in limits)

    assert limits[0].used != limits[0].wanted
    after, told = cut_to_size(found, plan, result, other)
    assert after is result
    assert told == other
    after, told = cut_to_size(found, plan, result, limits)
    assert after.mesh.volume < result.mesh.volume
    assert isinstance(told[0], Limit)
    assert told[0].used == told[0].wanted
    # New faces go on from those of the wall, whose number the page and the proof know.
    radii = np.hypot(*after.mesh.vertices[:, :2].T)[after.mesh.faces]
    long = np.ptp(after.mesh.corners[..., 2], axis=1) > 1.0
    new = (np.abs(radii - 1.1) < 1e-3).all(axis=1) & long
    assert new.any()
    assert np.isin(after.parents[new], found.cylinders[0].faces).all()


@pytest.mark.slow
@pytest.mark.skipif(not REAL.is_dir(), reason="the real meshes are not here")
@pytest.mark.parametrize(
    ("name", "growth", "bores"),
    [("k02", 0.05, 4), ("k02", 0.15, 4), ("k03", 0.15, 1), ("k06", 0.15, 2)],
)
def test_bores_of_real_parts_that_were_held_back_have_their_sizes(name, growth, bores):
    part = meshcomp.repair(meshcomp.read(REAL / "kit" / f"{name}.stl"))
    _, result, proof = made(part, wall_growth=growth, bore_opening=0.2)

    cut = {x.feature_id for x in result.limits if x.reason == CUT}
    assert len(cut) == bores
    assert all(size.conforms for size in proof.sizes if size.feature_id in cut)
    assert all(check.passed for check in proof.checks)
