"""What holds of every compensation: nothing asked, there and back, any place, any stand.

The properties are mathematics; sizes are measured by tests/outside/measure.py, and the
plates are built by tests/outside/plane.py, neither of which is the product.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from outside import measure, plane

import meshcomp
from meshcomp.meshes import Mesh
from meshcomp.parts import Part
from meshcomp.scenario import demo_parts
from meshcomp.stands import STANDS, stand

NAMES = sorted(demo_parts())
FEW = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
BORE_LIMIT, WALL_LIMIT = 0.002, 0.001  # mm
EVERYTHING = meshcomp.ByHand(
    wall_growth=-0.06, bore_opening=0.18, pocket_opening=0.05, boss_growth=-0.09
)


def part_of(mesh: Mesh, up: str = "+Z") -> Part:
    """Return a part as if its mesh, given as it stands on the bed, had been read."""
    corners = mesh.vertices.astype(np.float32).astype(np.float64)
    spacer = meshcomp.demo_part("shaft_spacer")
    one_piece = np.zeros(len(mesh.faces), dtype=np.int64)
    return replace(
        spacer, mesh=mesh.moved(corners), stand=stand(up), piece_of_face=one_piece
    )


def compensated(part: Part, rule: meshcomp.ByHand, **overrides: object) -> Part:
    found = meshcomp.inspect(part)
    made = meshcomp.compensate(found, meshcomp.plan(found, rule, **overrides))
    assert made.limits == ()
    return made.part


def sizes(part: Part) -> dict[str, float]:
    features = meshcomp.inspect(part).features
    return {f.id: f.nominal_size for f in features if f.nominal_size is not None}


def circle(diameter: float, facets: int, centre: tuple[float, float]) -> NDArray:
    turns = 2 * np.pi * np.arange(facets) / facets
    return diameter / 2 * np.column_stack([np.cos(turns), np.sin(turns)]) + centre


def bored_plate(diameter: float, facets: int, turn: float = 0.0) -> Mesh:
    """Return a plate 40 x 30 x 6 with a bore at (4, -2), turned about the origin."""
    outline = np.array([(-20, -15), (20, -15), (20, 15), (-20, 15)], dtype=float)
    plate = plane.prism([outline, circle(diameter, facets, (4, -2))[::-1]], 0.0, 6.0)
    return plate.moved(plate.vertices @ rotation(turn).T)


def rotation(turn: float) -> NDArray:
    c, s = np.cos(turn), np.sin(turn)
    return np.array([(c, -s, 0), (s, c, 0), (0, 0, 1)])


def rows(vertices: NDArray) -> set[bytes]:
    """Coordinates to the last bit, one entry a vertex."""
    return {row.tobytes() for row in np.ascontiguousarray(vertices + 0.0)}


@pytest.mark.parametrize("name", NAMES)
def test_a_plan_of_nothing_leaves_every_triangle_to_the_last_bit(name, tmp_path):
    source, path = tmp_path / f"{name}.stl", tmp_path / "out.stl"
    meshcomp.write(meshcomp.demo_part(name), source)
    meshcomp.compensate_part(meshcomp.read(source, up="+Z"), path, meshcomp.ByHand())
    records = np.dtype([("n", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    before, after = (np.frombuffer(p.read_bytes(), records, -1, 84) for p in (source, path))
    assert after["corners"].tobytes() == before["corners"].tobytes()


@pytest.mark.parametrize("name", NAMES)
def test_keeping_every_feature_leaves_every_triangle(name):
    part = meshcomp.demo_part(name)
    ids = tuple(feature.id for feature in meshcomp.inspect(part).features)
    after = compensated(part, EVERYTHING, keep=ids)
    assert after.mesh.vertices.tobytes() == part.mesh.vertices.tobytes()
    assert after.mesh.faces.tobytes() == part.mesh.faces.tobytes()


@pytest.mark.parametrize("name", ["bearing_plate", "indexing_wheel", "lobed_disc", "knob"])
def test_one_changed_bore_moves_none_but_its_own_corners(name):
    part = meshcomp.demo_part(name)
    found = meshcomp.inspect(part)
    bore = next(c for c in found.cylinders if c.is_internal)
    sizes_asked = {bore.id: bore.nominal_size + 0.3}
    after = compensated(part, meshcomp.ByHand(), sizes=sizes_asked)
    own = np.unique(part.mesh.faces[np.concatenate([bore.faces, bore.entry_faces])])
    others = np.setdiff1d(np.unique(part.mesh.faces), own)
    assert rows(part.mesh.vertices[others]) <= rows(after.mesh.vertices)
    fresh = rows(after.mesh.vertices) - rows(part.mesh.vertices)
    corners = np.array([np.frombuffer(row) for row in fresh])
    away = np.hypot(*(corners - bore.point)[:, :2].T)
    assert away == pytest.approx(bore.nominal_size / 2 + 0.15, abs=1e-5)


@pytest.mark.parametrize("name", [n for n in NAMES if n != "stepper_bracket"])
def test_no_corner_changes_its_height_where_all_bores_stand(name):
    part = part_of(meshcomp.demo_part(name).mesh)  # heights as a file of 32 bits has them
    found = meshcomp.inspect(part)
    made = meshcomp.compensate(found, meshcomp.plan(found, EVERYTHING))
    before = part.mesh.corners[made.parents, :, 2]
    after = made.part.mesh.corners[:, :, 2]
    # Facets that were split have corners between those of the facet; no other is new.
    assert (after.min(axis=1) >= before.min(axis=1)).all()
    assert (after.max(axis=1) <= before.max(axis=1)).all()
    assert set(part.mesh.vertices[:, 2]) <= set(made.part.mesh.vertices[:, 2])


def test_heights_that_32_bits_cannot_hold_are_kept_too():
    part = meshcomp.demo_part("shaft_spacer")  # as from OBJ or PLY: 13.4 in 64 bits
    after = compensated(part, EVERYTHING)
    assert set(part.mesh.vertices[:, 2]) <= set(after.mesh.vertices[:, 2])


@pytest.mark.parametrize("name", NAMES)
def test_there_and_back_restores_every_size(name):
    part = meshcomp.demo_part(name)
    there = compensated(
        part, meshcomp.ByHand(wall_growth=0.05, bore_opening=0.2, pocket_opening=0.04)
    )
    back = compensated(
        there, meshcomp.ByHand(wall_growth=-0.05, bore_opening=-0.2, pocket_opening=-0.04)
    )
    before, after = sizes(part), sizes(back)
    assert after == pytest.approx(before, abs=5e-5)
    assert sizes(there) != pytest.approx(before, abs=0.03)
    assert back.mesh.bounds[:, 2].tolist() == part.mesh.bounds[:, 2].tolist()
    # Rims that were coarse are round now: they reach as far as their facets' corners.
    assert back.mesh.bounds == pytest.approx(part.mesh.bounds, abs=0.01)


@pytest.mark.parametrize("up", STANDS)
@pytest.mark.parametrize("name", ["stepper_bracket", "bearing_plate"])
def test_a_part_that_stands_another_way_in_its_file_comes_out_alike(name, up, tmp_path):
    part = meshcomp.demo_part(name)
    wanted = compensated(part, EVERYTHING)
    turned = part.mesh.moved(stand(up).to_file(part.mesh.vertices))
    source, path = tmp_path / "turned.stl", tmp_path / "out.stl"
    meshcomp.write(part_of(turned), source)
    record = meshcomp.compensate_part(meshcomp.read(source, up=up), path, EVERYTHING)
    assert record.conforms
    written = measure.read_mesh(path)
    on_bed = stand(up).to_bed(written.vertices)
    # The order of vertices differs from file to file, so last bits may.
    assert measure.volume(written) == pytest.approx(wanted.mesh.volume, rel=1e-7)
    assert on_bed.min(axis=0) == pytest.approx(wanted.mesh.bounds[0], abs=1e-5)
    assert on_bed.max(axis=0) == pytest.approx(wanted.mesh.bounds[1], abs=1e-5)
    achieved = {s.feature_id: s.achieved for s in record.verification.sizes}
    assert achieved == pytest.approx(sizes(wanted), abs=1e-4)


@FEW
@given(
    diameter=st.floats(1.0, 24.0),
    facets=st.integers(9, 160),
    opening=st.floats(-0.3, 0.4),
    growth=st.floats(-0.2, 0.2),
)
def test_any_bore_gets_its_planned_diameter(diameter, facets, opening, growth):
    rule = meshcomp.ByHand(bore_opening=opening, wall_growth=growth)
    after = compensated(part_of(bored_plate(diameter, facets)), rule).mesh
    found = measure.bore_circle(after, (4, -2, 0), (0, 0, 1), 2.5)
    assert found.diameter == pytest.approx(diameter + opening, abs=BORE_LIMIT)
    assert found.centre == pytest.approx([4, -2, 2.5], abs=BORE_LIMIT / 2)
    width = measure.width_between(after, (0, 1, 0), (-15, 0, 3))
    assert width == pytest.approx(30 + 2 * growth, abs=WALL_LIMIT)


@FEW
@given(x=st.floats(-1000, 1000), y=st.floats(-1000, 1000), facets=st.integers(12, 96))
def test_far_from_the_origin_sizes_come_out_alike(x, y, facets):
    plate = bored_plate(8.0, facets)
    rule = meshcomp.ByHand(bore_opening=0.2, wall_growth=0.05)
    after = compensated(part_of(plate.moved(plate.vertices + (x, y, 0))), rule).mesh
    size = measure.bore_diameter(after, (x + 4, y - 2, 0), (0, 0, 1), 2.5)
    assert size == pytest.approx(8.2, abs=BORE_LIMIT)
    width = measure.width_between(after, (0, 1, 0), (x - 15, y, 3))
    assert width == pytest.approx(30.1, abs=WALL_LIMIT)
    assert measure.z_bounds(after) == (0.0, 6.0)


@FEW
@given(turn=st.floats(-np.pi, np.pi), facets=st.integers(12, 96))
def test_turned_about_the_build_direction_sizes_come_out_alike(turn, facets):
    rule = meshcomp.ByHand(bore_opening=0.2, wall_growth=0.05)
    after = compensated(part_of(bored_plate(8.0, facets, turn)), rule).mesh
    axis = rotation(turn) @ (4, -2, 0)
    size = measure.bore_diameter(after, axis, (0, 0, 1), 2.5)
    assert size == pytest.approx(8.2, abs=BORE_LIMIT)
    across, at = rotation(turn) @ (0, 1, 0), rotation(turn) @ (-15, 0, 3)
    assert measure.width_between(after, across, at) == pytest.approx(30.1, abs=WALL_LIMIT)


@pytest.mark.parametrize("diameter", [2e4, 5e4])
def test_what_no_printer_makes_gets_no_endless_number_of_facets(diameter):
    # A sagitta of 0.001 mm would take pi * sqrt(d / 0.004) facets, here up to 11,000.
    rings = [circle(s * diameter, 24, (0, 0)) for s in (2, 1)]
    ring = plane.prism([rings[0], rings[1][::-1]], 0.0, diameter / 4)
    made = compensated(part_of(ring), meshcomp.ByHand(bore_opening=diameter / 100))
    outline = made.mesh.vertices[made.mesh.vertices[:, 2] == 0]
    bore = outline[np.hypot(*outline[:, :2].T) < 0.75 * diameter]
    assert 4096 <= len(bore) <= 4200
    assert np.hypot(*bore[:, :2].T) == pytest.approx(0.505 * diameter, rel=1e-6)
