"""The proof accepts what is right, names what is wrong, and agrees with other measures.

Outside reference for sizes: numpy, shapely and scipy (tests/outside/measure.py).
"""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from outside import measure, plane

import meshcomp
from meshcomp.meshes import Mesh, concatenate
from meshcomp.results import Verification
from meshcomp.scenario import demo_parts
from meshcomp.workflow import compensate_part

RULE = meshcomp.ByHand(
    wall_growth=0.05, pocket_opening=0.04, bore_opening=0.2, boss_growth=0.12
)

SOLIDS = Path(__file__).parents[1] / ".." / "shared" / "data" / "solid"


@cache
def job(name="bearing_plate"):
    found = meshcomp.inspect(meshcomp.demo_part(name))
    return found, meshcomp.compensate(found, meshcomp.plan(found, RULE))


def proof_of(mesh: Mesh, name="bearing_plate") -> Verification:
    """Verify another mesh in place of the one that was made."""
    found, made = job(name)
    return meshcomp.verify(found, made, replace(made.part, mesh=mesh))


def failed_checks(proof: Verification) -> list[str]:
    return [check.name for check in proof.checks if not check.passed]


def failed_sizes(proof: Verification) -> list[str]:
    return [size.feature_id for size in proof.sizes if not size.conforms]


def circle(diameter, centre=(0, 0), facets=96):
    turns = 2 * np.pi * np.arange(facets) / facets
    return diameter / 2 * np.column_stack([np.cos(turns), np.sin(turns)]) + centre


@pytest.mark.parametrize("name", sorted(demo_parts()))
def test_what_was_made_conforms(name):
    found, made = job(name)
    proof = meshcomp.verify(found, made, made.part)
    assert (failed_checks(proof), failed_sizes(proof)) == ([], [])
    assert proof.conforms


@pytest.mark.parametrize("name", sorted(demo_parts()))
def test_achieved_diameters_are_those_of_another_measure(name):
    found, made = job(name)
    proof = meshcomp.verify(found, made, made.part)
    achieved = {size.feature_id: size.achieved for size in proof.sizes}
    for feature in found.cylinders:
        at = feature.start + 0.37 * (feature.end - feature.start)
        if feature.span < 359:  # the section about it has no ring of its own
            continue
        other = measure.bore_circle(
            made.part.mesh,
            feature.point,
            feature.direction,
            at,
            internal=feature.is_internal,
        )
        assert achieved[feature.id] == pytest.approx(other.diameter, abs=1e-4)


def test_a_part_that_was_not_compensated_does_not_conform():
    found, _ = job()
    proof = proof_of(found.part.mesh)
    sized = [f.id for f in found.features if f.nominal_size is not None]
    assert failed_sizes(proof) == sized
    assert "volume change as predicted" in failed_checks(proof)
    assert not proof.conforms


@pytest.mark.parametrize("error", [0.003, -0.003, 0.02])
def test_one_bore_too_wide_or_too_narrow_is_named(error):
    found, made = job()
    mesh = made.part.mesh
    bore = max(found.cylinders, key=lambda c: c.nominal_size)
    away = mesh.vertices[:, :2] - bore.point[:2]
    distance = np.hypot(*away.T)
    own = np.abs(distance - made.plan.of(bore.id).mesh_size / 2) < 0.01
    vertices = mesh.vertices.copy()
    vertices[own, :2] += away[own] / distance[own, None] * error / 2
    proof = proof_of(mesh.moved(vertices))
    assert failed_sizes(proof) == [bore.id]


@pytest.mark.parametrize("error", [0.002, -0.002])
def test_one_wall_off_its_place_is_named(error):
    found, made = job()
    mesh = made.part.mesh
    wall = next(f for f in found.walls if f.kind == "wall" and f.direction[0] > 0.9)
    vertices = mesh.vertices.copy()
    vertices[vertices[:, 0] > mesh.bounds[1, 0] - 1e-4, 0] += error
    assert failed_sizes(proof_of(mesh.moved(vertices))) == [wall.id]


@pytest.mark.parametrize("dust", [5.2e-15, 3e-12])
def test_rounding_errors_about_zero_are_no_change_of_height(dust, tmp_path):
    knob = meshcomp.demo_part("knob")
    vertices = np.array(knob.mesh.vertices)
    vertices[vertices[:, 2] == 0, 2] = dust  # as some CAD programs write zero
    part = replace(knob, mesh=Mesh(vertices, knob.mesh.faces))
    record = compensate_part(part, tmp_path / "out.stl", RULE)
    assert failed_checks(record.verification) == []


def test_a_change_of_height_by_one_bit_is_found():
    _, made = job()
    mesh = made.part.mesh
    vertices = mesh.vertices.copy()
    top = vertices[:, 2] == vertices[:, 2].max()
    vertices[top, 2] = np.nextafter(vertices[top, 2], np.inf)
    assert failed_checks(proof_of(mesh.moved(vertices))) == ["height unchanged"]


def test_an_open_mesh_is_found_and_not_measured():
    _, made = job()
    mesh = made.part.mesh
    proof = proof_of(Mesh(mesh.vertices, mesh.faces[:-1]))
    assert "closed solid" in failed_checks(proof)
    assert proof.sizes == ()


def test_a_body_too_many_is_found():
    _, made = job()
    mesh = made.part.mesh
    cube = plane.prism([[(0, 0), (1, 0), (1, 1), (0, 1)]], 0, 1)
    apart = cube.moved(cube.vertices + (200, 0, 2))
    assert "bodies and holes" in failed_checks(proof_of(concatenate([mesh, apart])))


def test_faces_that_cross_are_found():
    _, made = job()
    mesh = made.part.mesh
    cube = plane.prism([[(0, 0), (1, 0), (1, 1), (0, 1)]], 0, 1)
    through_the_top = cube.moved(cube.vertices + (30.3, 10.2, 5.4))
    proof = proof_of(concatenate([mesh, through_the_top]))
    assert "no new crossing faces" in failed_checks(proof)


def test_volume_off_by_more_than_its_limit_is_found():
    # Every wall 0.05 mm out of place changes no size of a wall by itself: shift the plate.
    found, made = job()
    scaled = made.part.mesh.vertices * (1.0005, 1.0005, 1.0)
    proof = proof_of(made.part.mesh.moved(scaled))
    assert "volume change as predicted" in failed_checks(proof)
    assert proof.volume_change == pytest.approx(
        proof.solid.volume - found.solid.volume, rel=1e-12
    )


def test_a_feature_that_is_left_alone_conforms_as_it_is():
    found = meshcomp.inspect(meshcomp.demo_part("bearing_plate"))
    made = meshcomp.compensate(found, meshcomp.plan(found, meshcomp.ByHand()))
    assert meshcomp.verify(found, made, made.part).conforms


def tabs_with_bores() -> Mesh:
    """Return two tabs 4 thick, 30 apart, each with a lying bore of 6 on one axis."""
    outline = np.array([(0, 0), (20, 0), (20, 20), (0, 20)], dtype=float)
    tab = plane.prism([outline, circle(6.0, (10, 10))[::-1]], 0.0, 4.0)
    far = tab.moved(tab.vertices + (0, 0, 34))
    both = concatenate([tab, far])
    # Z becomes Y: the bores lie.
    return both.moved(both.vertices[:, [1, 2, 0]])


def record_of(mesh: Mesh, folder, rule, source="part.obj", out="out.stl"):
    lines = [f"v {x!r} {y!r} {z!r}\n" for x, y, z in mesh.vertices.tolist()]
    lines += [f"f {a + 1} {b + 1} {c + 1}\n" for a, b, c in mesh.faces.tolist()]
    (folder / source).write_text("".join(lines), encoding="utf-8")
    part = meshcomp.read(folder / source, up="+Z")
    return meshcomp.compensate_part(part, folder / out, rule)


def test_a_bore_in_two_pieces_is_measured_where_it_is(tmp_path):
    record = record_of(tabs_with_bores(), tmp_path, meshcomp.ByHand(bore_opening=0.2))
    assert [size.how for size in record.verification.sizes if not size.conforms] == []


def test_a_small_step_beside_a_wall_does_not_count_as_that_wall(tmp_path):
    # A wall at x = 20 for 0 < y < 12, and one 0.04 further in for the rest.
    steps = [(0, 0), (20, 0), (20, 12), (19.96, 12), (19.96, 18), (0, 18)]
    mesh = plane.prism([np.array(steps)], 0.0, 5.0)
    record = record_of(mesh, tmp_path, meshcomp.ByHand(wall_growth=0.05))
    written = measure.read_mesh(tmp_path / "out.stl")
    width = measure.width_between(written, (1, 0, 0), (10, 6, 2.2))
    assert width == pytest.approx(20.1, abs=1e-5)
    assert [s for s in record.verification.sizes if not s.conforms] == []


@pytest.mark.parametrize("ending", ["obj", "ply", "stl", "3mf"])
def test_heights_of_a_text_file_are_unchanged_in_every_format(ending, tmp_path):
    outline = np.array([(0, 0), (30, 0), (30, 20), (0, 20)], dtype=float)
    mesh = plane.prism([outline, circle(6.0, (10, 10))[::-1]], 0.0, 12.7)
    rule = meshcomp.ByHand(wall_growth=0.05, bore_opening=0.2)
    record = record_of(mesh, tmp_path, rule, out=f"out.{ending}")
    assert failed_checks(record.verification) == []


@pytest.mark.parametrize("ending", ["obj", "ply", "stl", "3mf"])
@pytest.mark.parametrize("unit", ["mm", "inch", "cm"])
def test_heights_are_unchanged_in_every_unit(unit, ending, tmp_path):
    # Heights that no unit but their own holds to the last bit.
    outline = np.array([(0, 0), (30, 0), (30, 20), (0, 20)], dtype=float) / 2.54
    mesh = plane.prism([outline], 0.1, 0.7)
    lines = [f"v {x!r} {y!r} {z!r}\n" for x, y, z in mesh.vertices.tolist()]
    lines += [f"f {a + 1} {b + 1} {c + 1}\n" for a, b, c in mesh.faces.tolist()]
    (tmp_path / "part.obj").write_text("".join(lines), encoding="utf-8")
    part = meshcomp.read(tmp_path / "part.obj", up="+Z", unit=unit)
    rule = meshcomp.ByHand(wall_growth=0.02)
    record = meshcomp.compensate_part(part, tmp_path / f"out.{ending}", rule)
    assert failed_checks(record.verification) == []


def test_a_change_of_height_that_32_bits_can_hold_is_found(tmp_path):
    found, made = job()
    low = np.float32(made.part.mesh.bounds[0, 2])
    by_one_step = float(np.nextafter(low, np.float32(-np.inf))) - float(low)
    vertices = made.part.mesh.vertices.copy()
    vertices[vertices[:, 2] == low, 2] += by_one_step
    meshcomp.write(
        made.part.with_mesh(
            made.part.mesh.moved(vertices), np.arange(len(made.part.mesh.faces))
        ),
        tmp_path / "out.stl",
    )
    proof = meshcomp.verify(found, made, meshcomp.read(tmp_path / "out.stl", up="+Z"))
    assert failed_checks(proof) == ["height unchanged"]


def test_bodies_and_holes_are_counted_in_words():
    _, made = job()
    figures = {check.name: check.figure for check in proof_of(made.part.mesh).checks}
    holes = made.part.mesh  # counted by Euler's formula V - E + F = 2 - 2 genus
    used = len(np.unique(holes.faces))
    genus = (2 - (used - len(holes.faces) // 2)) // 2
    words = f"1 body and {genus} through holes"
    assert figures["bodies and holes"] == f"{words}, as before"


def crossing_bodies() -> Mesh:
    """Return a plate with a bore, and a bar that runs through its wall: 3 + 3 mm deep."""
    outline = np.array([(0, 0), (30, 0), (30, 20), (0, 20)], dtype=float)
    plate = plane.prism([outline, circle(6.0, (10, 10), facets=24)[::-1]], 0.0, 5.0)
    bar = plane.prism([[(-3, 9.1), (8.1, 9.1), (8.1, 11.3), (-3, 11.3)]], 1.3, 3.7)
    return concatenate([plate, bar])


def test_bodies_that_cross_from_the_start_are_no_new_crossing(tmp_path):
    # The bore's coarse facets would be split into more, and more faces cross than before.
    record = record_of(crossing_bodies(), tmp_path, meshcomp.ByHand(bore_opening=0.2))
    check = next(c for c in record.verification.checks if "crossing" in c.name)
    now, before = map(int, re.match(r"(\d+) faces .*, before (\d+)", check.figure).groups())
    assert check.passed
    assert 0 < now <= before
    # The place named is where the bar meets the plate's outside, x = 0, or the bore's wall.
    x, y, z = map(float, re.search(r"near \((.*)\) mm", check.figure)[1].split(", "))
    at_wall = abs(x) < 0.5 or abs(np.hypot(x - 10, y - 10) - 3) < 1.0
    assert at_wall
    assert 9.1 - 1.5 < y < 11.3 + 1.5
    assert 1.3 - 1.5 < z < 3.7 + 1.5


def test_bodies_moved_into_each_other_are_a_new_crossing(tmp_path):
    # The same, but the bar reaches to the far wall as well: faces that never crossed do.
    lines = crossing_bodies()
    (tmp_path / "p.obj").write_text(
        "".join(f"v {x!r} {y!r} {z!r}\n" for x, y, z in lines.vertices.tolist())
        + "".join(f"f {a + 1} {b + 1} {c + 1}\n" for a, b, c in lines.faces.tolist()),
        encoding="utf-8",
    )
    found = meshcomp.inspect(meshcomp.read(tmp_path / "p.obj", up="+Z"))
    made = meshcomp.compensate(
        found, meshcomp.plan(found, meshcomp.ByHand(bore_opening=0.2))
    )
    vertices = made.part.mesh.vertices.copy()
    tip = (vertices[:, 0] > 8) & (vertices[:, 0] < 8.2)
    vertices[tip, 0] = 14.0
    moved = made.part.mesh.moved(vertices)
    proof = meshcomp.verify(found, made, replace(made.part, mesh=moved))
    assert "no new crossing faces" in failed_checks(proof)


@pytest.mark.slow
@pytest.mark.skipif(not SOLIDS.is_dir(), reason="the real meshes are not here")
@pytest.mark.parametrize("growth", [-0.15, 0.15])
def test_a_distance_is_seen_where_only_one_of_its_walls_moves(growth, tmp_path):
    # A square tube of 33 with walls of 4: the outside moves, the inside does not.
    part = meshcomp.read(SOLIDS / "s33.stl", up="+Z")
    rule = meshcomp.ByHand(wall_growth=growth)
    record = meshcomp.compensate_part(part, tmp_path / "out.stl", rule)
    bars = [s for s in record.verification.sizes if s.feature_id.startswith("distance")]
    assert len(bars) > 0
    assert [bar.achieved for bar in bars] == pytest.approx([4 + growth] * len(bars))
    assert all(bar.conforms for bar in bars)
    written = measure.read_mesh(tmp_path / "out.stl")
    middle = (written.bounds[0] + written.bounds[1]) / 2
    low = written.bounds[0, 0]
    width = measure.width_between(written, (1, 0, 0), (low + 2, *middle[1:]))
    assert width == pytest.approx(4 + growth, abs=1e-4)
