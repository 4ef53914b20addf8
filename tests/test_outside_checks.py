"""What counts crossing faces and measures written meshes is right on known meshes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from outside import brep, crossings, measure
from outside.plane import prism
from outside.profiles import sagitta
from outside.solids import tessellate, write_stl
from scipy.spatial.transform import Rotation

from meshcomp.meshes import Mesh, concatenate

X, Y, Z = (1, 0, 0), (0, 1, 0), (0, 0, 1)


def cube(size: float, corner: tuple[float, float, float] = (0, 0, 0)) -> Mesh:
    """Return a cube with its lowest corner at a place."""
    mesh = prism([[(0, 0), (size, 0), (size, size), (0, size)]], 0, size)
    return mesh.moved(mesh.vertices + corner)


def faces_of(
    corners: Sequence[tuple[float, ...]], faces: Sequence[tuple[int, ...]]
) -> Mesh:
    """Return a mesh of a few faces."""
    return Mesh(np.array(corners, dtype=float), np.array(faces))


def ring(diameter: float, facets: int, centre: tuple[float, float] = (0, 0)) -> np.ndarray:
    """Return corners on a circle, counter-clockwise."""
    turn = 2 * np.pi * np.arange(facets) / facets
    return diameter / 2 * np.column_stack([np.cos(turn), np.sin(turn)]) + centre


def bored_block(diameter: float, facets: int) -> Mesh:
    """Return a block 20 x 20 x 10 with an upright faceted bore at (3, -2)."""
    outline = np.array([(-10, -10), (10, -10), (10, 10), (-10, 10)], dtype=float)
    return prism([outline, ring(diameter, facets, (3, -2))[::-1]], 0, 10)


def turned(mesh: Mesh) -> tuple[Mesh, np.ndarray]:
    """Turn a mesh about a slanted axis; also return the rotation."""
    rotation = Rotation.from_rotvec(np.array([1, 2, 3]) / np.sqrt(14)).as_matrix()
    return mesh.moved(mesh.vertices @ rotation.T), rotation


def test_spike_through_a_face_crosses_it_with_its_three_sides() -> None:
    # The spike's tip comes 1 mm through the cube's lid, 0.4 mm from either diagonal or
    # more, so inside one of its triangles whichever way the lid is split.
    tip, foot = (2.8, 0.6, 3.0), [(2.5, 0.2, 9.0), (3.1, 0.2, 9.0), (2.8, 1.0, 9.0)]
    spike = faces_of([tip, *foot], [(0, 2, 1), (0, 3, 2), (0, 1, 3), (1, 2, 3)])
    assert crossings.crossing_faces(concatenate([cube(4), spike])) == 4
    lifted = spike.moved(spike.vertices + (0, 0, 1.001))
    assert crossings.crossing_faces(concatenate([cube(4), lifted])) == 0


def test_count_of_crossings_does_not_hang_on_the_order_of_faces() -> None:
    # Coplanar faces that stray by the last bit, where one order of pairs is not enough.
    mesh = tessellate(brep.edged_plate(), 0.01, 0.3)
    strayed = mesh.vertices.copy()
    top = np.flatnonzero(strayed[:, 2] == 12)
    strayed[top, 2] += np.random.default_rng(1).choice([-1, 0, 1], len(top)) * 1.8e-15
    order = np.random.default_rng(2).permutation(len(mesh.faces))
    counts = [
        crossings.crossing_faces(Mesh(strayed, faces))
        for faces in (mesh.faces, mesh.faces[::-1], mesh.faces[order])
    ]
    assert counts[0] > 0
    assert counts == [counts[0]] * 3


def test_cubes_apart_and_cube_in_cube_do_not_cross() -> None:
    assert crossings.crossing_faces(concatenate([cube(4), cube(4, (5, 0, 0))])) == 0
    assert crossings.crossing_faces(concatenate([cube(4), cube(2, (1, 1, 1))])) == 0


@pytest.mark.parametrize(("tip", "count"), [(1e-9, 0), (-1e-9, 2), (-1.0, 2)])
def test_crossing_is_found_to_a_nanometre_part(tip: float, count: int) -> None:
    corners = [(0, 0, 0), (10, 0, 0), (0, 10, 0), (2, 2, tip), (3, 2, 5), (2, 3, 5)]
    assert crossings.crossing_faces(faces_of(corners, [(0, 1, 2), (3, 4, 5)])) == count


def test_faces_that_share_a_corner_are_tested() -> None:
    corners = [(0, 0, 0), (9, 0, 0), (0, 9, 0), (4, 4, -1), (4, 3, 1)]
    assert crossings.crossing_faces(faces_of(corners, [(0, 1, 2), (0, 3, 4)])) == 2


def test_faces_folded_onto_their_neighbour_are_not_counted() -> None:
    corners = [(0, 0, 0), (9, 0, 0), (0, 9, 0), (1, 8, 0)]
    assert crossings.crossing_faces(faces_of(corners, [(0, 1, 2), (1, 0, 3)])) == 0


@pytest.mark.parametrize("ending", [".stl", ".ply", ".obj"])
def test_crossings_are_counted_in_files(ending: str, tmp_path: Path) -> None:
    path = tmp_path / f"part{ending}"
    corners = [(0, 0, 0), (9, 0, 0), (0, 9, 0), (2, 2, -1), (3, 2, 1), (2, 3, 1)]
    mesh = concatenate([cube(4, (20, 0, 0)), faces_of(corners, [(0, 1, 2), (3, 4, 5)])])
    if ending == ".stl":
        write_stl(mesh, path)
    else:
        mesh.to_trimesh().export(path)
    assert crossings.crossing_faces(path) == 2
    assert crossings.open_edges(path) == 6
    assert crossings.non_manifold_edges(path) == 0


def test_edges_of_a_missing_face_are_open() -> None:
    whole = cube(4)
    assert crossings.open_edges(whole) == 0
    assert crossings.open_edges(Mesh(whole.vertices, whole.faces[1:])) == 3


def test_edge_of_two_cubes_that_touch_is_non_manifold(tmp_path: Path) -> None:
    write_stl(concatenate([cube(4), cube(4, (4, 4, 0))]), tmp_path / "part.stl")
    mesh = measure.read_mesh(tmp_path / "part.stl")  # welds the edge they touch in
    assert len(mesh.vertices) == 14
    assert crossings.non_manifold_edges(mesh) == 1
    assert crossings.non_manifold_edges(cube(4)) == 0


@pytest.mark.parametrize(("faces", "count"), [(2, 0), (3, 1), (4, 1)])
def test_edge_is_non_manifold_from_three_faces_on(faces: int, count: int) -> None:
    turn = 2 * np.pi * np.arange(faces) / faces
    tips = [(float(np.cos(a)), float(np.sin(a)), 0.5) for a in turn]
    fan = faces_of([(0, 0, 0), (0, 0, 1), *tips], [(0, 1, k + 2) for k in range(faces)])
    assert crossings.non_manifold_edges(fan) == count
    assert crossings.open_edges(fan) == 2 * faces


@pytest.mark.parametrize("facets", [7, 24, 96])
@pytest.mark.parametrize("at", [0.01, 3.3, 5.0])
def test_bore_has_the_diameter_of_its_corners(facets: int, at: float) -> None:
    circle = measure.bore_circle(bored_block(10, facets), (3, -2, 0), Z, at)
    assert circle.diameter == pytest.approx(10, abs=1e-10)
    assert np.abs(circle.centre - (3, -2, at)).max() < 1e-10
    assert circle.residual < 1e-10
    # The chord formula: facets lie r (1 - cos(π / n)) inside the circle.
    assert circle.flats == pytest.approx(10 - 2 * sagitta(5, facets), abs=1e-10)


def test_bore_diameter_is_found_whatever_the_direction() -> None:
    mesh, rotation = turned(bored_block(10, 24))
    axis, point = rotation @ Z, rotation @ (3, -2, 7)
    assert measure.bore_diameter(mesh, point, axis, 4.0) == pytest.approx(10, abs=1e-10)
    assert measure.bore_diameter(mesh, point, -axis, -4.0) == pytest.approx(10, abs=1e-10)


def test_circle_of_scattered_corners_is_the_least_squares_one() -> None:
    radii = np.tile([4.9, 5.1], 12)  # alternating about 5: least squares gives the mean
    outline = ring(2.0, 24)[::-1] * radii[:, None]
    mesh = prism([[(-9, -9), (9, -9), (9, 9), (-9, 9)], outline], 0, 4)
    circle = measure.bore_circle(mesh, (0, 0, 0), Z, 2.0)
    assert circle.diameter == pytest.approx(10, abs=1e-9)
    assert circle.residual == pytest.approx(0.1, abs=1e-8)


def test_boss_and_bore_about_one_axis_are_told_apart() -> None:
    tube = prism([ring(12, 48), ring(6, 24)[::-1]], 0, 5)
    bore = measure.bore_circle(tube, (0, 0, 0), Z, 2.0)
    boss = measure.bore_circle(tube, (0, 0, 0), Z, 2.0, internal=False)
    assert (bore.diameter, boss.diameter) == pytest.approx((6, 12), abs=1e-10)


def test_absent_bore_or_boss_is_an_error() -> None:
    rod = prism([ring(12, 48)], 0, 5)
    assert measure.bore_circle(rod, (0, 0, 0), Z, 2, internal=False).flats < 12
    with pytest.raises(ValueError, match=r"no bore about \(0, 0, 0\) along .* at 2 mm"):
        measure.bore_circle(rod, (0, 0, 0), Z, 2)
    with pytest.raises(ValueError, match=r"no boss about \(9, 0, 0\) along .* at 2 mm"):
        measure.bore_circle(rod, (9, 0, 0), Z, 2, internal=False)


def test_section_of_a_tube_is_its_two_rings() -> None:
    outer, inner = ring(12, 48), ring(6, 24)
    rings = measure.section(prism([outer, inner[::-1]], 0, 5), Z, 2.5)
    spans = sorted(float(np.linalg.norm(each, axis=1).max()) for each in rings)
    assert len(rings) == 2
    assert all(np.abs(each[:, 2] - 2.5).max() < 1e-12 for each in rings)
    assert spans == pytest.approx([np.hypot(3, 2.5), np.hypot(6, 2.5)], abs=1e-12)


def test_widths_of_wall_and_bore_are_the_gaps_along_the_line() -> None:
    mesh = bored_block(10, 24)
    assert measure.width_between(mesh, X, (0, 8, 5)) == pytest.approx(20, abs=1e-12)
    assert measure.width_between(mesh, X, (-5, -2, 5)) == pytest.approx(8, abs=1e-12)
    assert measure.width_between(mesh, X, (3, -2, 5)) == pytest.approx(10, abs=1e-12)
    assert measure.width_between(mesh, Z, (-8, 8, 5)) == pytest.approx(10, abs=1e-12)


def test_width_is_found_whatever_the_direction() -> None:
    mesh, rotation = turned(bored_block(10, 24))
    width = measure.width_between(mesh, rotation @ X, rotation @ (-5, -2, 5))
    assert width == pytest.approx(8, abs=1e-12)


def test_width_outside_the_part_is_an_error() -> None:
    with pytest.raises(ValueError, match="no surface on one side of"):
        measure.width_between(cube(4), X, (5, 1, 1))


def test_wall_position_is_the_range_of_its_corners() -> None:
    mesh = bored_block(10, 24)
    assert measure.wall_position(mesh, X, 10) == (10.0, 10.0)
    assert measure.wall_position(mesh, (-1, 0, 0), 10) == (10.0, 10.0)
    dented = mesh.vertices.copy()
    corner = np.flatnonzero((dented == (10, 10, 10)).all(axis=1))
    dented[corner, 0] -= 0.01
    low, high = measure.wall_position(mesh.moved(dented), X, 10)
    assert (low, high) == pytest.approx((9.99, 10), abs=1e-12)
    with pytest.raises(ValueError, match=r"no face towards .* within 0.5 mm of 12 mm"):
        measure.wall_position(mesh, X, 12)


def test_volume_and_heights_are_the_closed_form() -> None:
    mesh = bored_block(10, 24)
    bore = 0.5 * 24 * 25 * np.sin(2 * np.pi / 24) * 10
    assert measure.volume(mesh) == pytest.approx(4000 - bore, rel=1e-12)
    far = mesh.moved(mesh.vertices + (1000, 1000, -2))
    assert measure.volume(far) == pytest.approx(4000 - bore, rel=1e-9)
    assert measure.z_bounds(far) == (-2.0, 8.0)


def test_truncated_stl_is_an_error(tmp_path: Path) -> None:
    path = tmp_path / "part.stl"
    write_stl(cube(4), path)
    path.write_bytes(path.read_bytes()[:-1])
    with pytest.raises(ValueError, match="683 bytes are no binary STL file of 12"):
        measure.read_mesh(path)


@pytest.mark.parametrize("ending", [".ply", ".obj"])
def test_other_files_are_read_too(ending: str, tmp_path: Path) -> None:
    cube(4).to_trimesh().export(tmp_path / f"part{ending}")
    mesh = measure.read_mesh(tmp_path / f"part{ending}")
    assert (len(mesh.vertices), len(mesh.faces)) == (8, 12)
    assert measure.volume(mesh) == pytest.approx(64, rel=1e-12)
