"""Walls of any profile move by their offset: outlines, lobes, teeth, drafted walls.

Outside references, each named beside its check: shapely's mitred buffer, manifold3d's
Minkowski sum, and the closed forms of tests/outside/profiles.py.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from outside import crossings, measure, minkowski, plane
from outside.profiles import Gear, LobedDisc, involute_turn
from outside.solids import exact_part, frustum, tessellate, write_stl

import meshcomp
from meshcomp.meshes import Mesh

MODELS = Path(__file__).parents[1] / "models"
HEIGHT = 5.0

Outline = list[list[tuple[float, float]]]

# Rings counter-clockwise round material, clockwise round holes; mm.
OUTLINES: dict[str, Outline] = {
    "L": [[(0, 0), (40, 0), (40, 12), (15, 12), (15, 30), (0, 30)]],
    "notched": [
        [(0, 0), (50, 0), (50, 20), (30, 20), (27, 14), (22, 14), (20, 20), (0, 24)],
    ],
    "with holes": [
        [(-30, -20), (30, -20), (34, 0), (30, 20), (-30, 20)],
        [(-20, -8), (-20, 8), (-6, 8), (-6, -8)],
        [(8, -9), (12, 9), (22, 4)],
    ],
}
CHANGES = [(0.05, 0.0), (-0.1, 0.07), (0.12, -0.04)]  # outside, holes


def compensated(source: Path, rule: meshcomp.ByHand) -> Mesh:
    """Compensate a file and read the written one."""
    path = source.with_name("out.stl")
    record = meshcomp.compensate_part(meshcomp.read(source, up="+Z"), path, rule)
    assert record.limits == ()
    assert crossings.crossing_faces(path) == 0
    return measure.read_mesh(path)


def prism_file(rings: list[NDArray[np.float64]], folder: Path) -> Path:
    source = folder / "prism.stl"
    write_stl(plane.prism(rings, 0.0, HEIGHT), source)
    return source


def outline_of(mesh: Mesh, at: float = HEIGHT / 2) -> list[NDArray[np.float64]]:
    """Rings of a level section, (n, 2) each."""
    return [ring[:, :2] for ring in measure.section(mesh, (0, 0, 1), at)]


@pytest.mark.parametrize("name", OUTLINES)
@pytest.mark.parametrize(("growth", "opening"), CHANGES)
def test_straight_outlines_move_as_a_mitred_buffer(
    name: str, growth: float, opening: float, tmp_path: Path
) -> None:
    # Outside reference: GEOS `buffer` with mitred joins, through shapely.
    rings = [np.array(ring, dtype=float) for ring in OUTLINES[name]]
    rule = meshcomp.ByHand(wall_growth=growth, pocket_opening=opening)
    after = compensated(prism_file(rings, tmp_path), rule)
    wanted = plane.offset_outline(rings, growth, opening)
    assert plane.outline_gap(wanted, outline_of(after)) < 1e-5
    assert measure.volume(after) == pytest.approx(wanted.area * HEIGHT, rel=1e-6)
    assert measure.z_bounds(after) == (0.0, HEIGHT)


def test_drafted_block_grows_as_its_minkowski_sum_with_a_thin_square(
    tmp_path: Path,
) -> None:
    # Outside reference: manifold3d's Minkowski sum, exact for convex bodies.
    block = tessellate(
        exact_part("block", frustum((40, 30), (36, 26), 0.0, 20.0)), 0.01, 0.1
    )
    source = tmp_path / "block.stl"
    write_stl(block, source)
    after = compensated(source, meshcomp.ByHand(wall_growth=0.08))
    wanted = minkowski.minkowski_growth(block, minkowski.square(0.08))
    # The plate of the sum is 1e-6 mm thick, the file has 32 bits.
    for vertices, others in ((after, wanted), (wanted, after)):
        gaps = np.linalg.norm(vertices.vertices[:, None] - others.vertices, axis=2)
        assert gaps.min(axis=1).max() < 1e-5
    assert measure.volume(after) == pytest.approx(wanted.volume, rel=1e-6)


def test_convex_prism_grows_as_its_minkowski_sum_with_a_thin_disc(tmp_path: Path) -> None:
    # Outside reference: manifold3d's Minkowski sum. A disc of 60 corners has one in the
    # direction of every wall; corners differ, for the disc rounds them.
    turns = np.radians([0, 60, 120, 180, 240, 300])
    hexagon = 15 * np.column_stack([np.cos(turns), np.sin(turns)])
    source = prism_file([hexagon], tmp_path)
    after = compensated(source, meshcomp.ByHand(wall_growth=0.06))
    wanted = minkowski.minkowski_growth(
        measure.read_mesh(source), minkowski.disc(0.06, sides=60)
    )
    normals = turns + np.pi / 6
    across = np.column_stack([np.cos(normals), np.sin(normals), np.zeros(6)])
    reach, expected = ((mesh.vertices @ across.T).max(axis=0) for mesh in (after, wanted))
    assert reach == pytest.approx(expected, abs=2e-6)
    assert expected == pytest.approx(15 * np.cos(np.pi / 6) + 0.06, abs=2e-6)
    # A mitre of 120° adds tan(30°) - π/6 of the squared offset at each corner.
    extra = 6 * (np.tan(np.pi / 6) - np.pi / 6) * 0.06**2 * HEIGHT
    assert measure.volume(after) - wanted.volume == pytest.approx(extra, abs=0.002)


@pytest.mark.parametrize("growth", [0.05, -0.1])
@pytest.mark.parametrize("source", ["model", "closed form"])
def test_lobed_disc_grows_to_its_parallel_curve(
    source: str, growth: float, tmp_path: Path
) -> None:
    # Outside reference: the parallel curve of a shortened epitrochoid, in closed form.
    disc = LobedDisc(pins=11, ring_radius=30, pin_radius=3, eccentricity=1)
    if source == "model":
        path = tmp_path / "lobed_disc.stl"
        path.write_bytes((MODELS / "lobed_disc.stl").read_bytes())
    else:
        path = prism_file([disc.outline(720)], tmp_path)
    before = measure.read_mesh(path)
    after = compensated(path, meshcomp.ByHand(wall_growth=growth))
    for mesh, offset in ((before, 0.0), (after, growth)):
        rim = mesh.vertices[np.hypot(*mesh.vertices[:, :2].T) > 24, :2]
        assert len(rim) > 500
        assert disc.offsets(rim) == pytest.approx(offset, abs=5e-4)


def test_lobed_demo_part_is_the_model(tmp_path: Path) -> None:
    path = tmp_path / "disc.stl"
    meshcomp.write(meshcomp.demo_part("lobed_disc"), path)
    demo, model = (measure.read_mesh(p) for p in (path, MODELS / "lobed_disc.stl"))
    assert (demo.vertices == model.vertices).all()


GEAR = Gear(teeth=50, module=1.0, root_radius=23.7, tip_radius=26.0)


@pytest.mark.parametrize("growth", [0.05, -0.1])
def test_involute_flanks_become_the_same_involutes_turned(
    growth: float, tmp_path: Path
) -> None:
    # Mathematics: the parallel curve of an involute at δ is it turned by δ / r_b.
    source = prism_file([GEAR.outline(per_flank=16)], tmp_path)
    after = compensated(source, meshcomp.ByHand(wall_growth=growth))
    radius = np.hypot(*after.vertices[:, :2].T)
    flank = (radius > 23.95) & (radius < 25.8)
    assert flank.sum() > 2 * 50 * 2 * 10
    turn = GEAR.flank_offsets(after.vertices[flank, :2]) / GEAR.base_radius
    wanted = involute_turn(growth, GEAR.base_radius)
    assert turn == pytest.approx(wanted, abs=0.0005 / GEAR.base_radius)


@pytest.mark.parametrize("growth", [0.05, -0.1])
def test_pinion_of_the_demo_has_turned_flanks(growth: float, tmp_path: Path) -> None:
    # Mathematics, as above; the model's first space lies along X, not its first tooth.
    path = tmp_path / "pinion.stl"
    path.write_bytes((MODELS / "pinion.stl").read_bytes())
    gear = Gear(teeth=16, module=1.25, root_radius=9.4, tip_radius=11.25)
    half = np.pi / 16
    turn = np.array([[np.cos(half), -np.sin(half)], [np.sin(half), np.cos(half)]])
    before = measure.read_mesh(path)
    after = compensated(path, meshcomp.ByHand(wall_growth=growth))
    for mesh, offset in ((before, 0.0), (after, growth)):
        radius = np.hypot(*mesh.vertices[:, :2].T)
        flank = (radius > 9.6) & (radius < 11.05)
        assert flank.sum() > 200
        offsets = gear.flank_offsets(mesh.vertices[flank, :2] @ turn)
        assert offsets == pytest.approx(offset, abs=5e-4)


@pytest.mark.parametrize("growth", [0.05, -0.1])
def test_base_tangent_span_changes_by_two_offsets(growth: float, tmp_path: Path) -> None:
    # Mathematics: ΔW = 2 δ (the formula of the span in metric gear handbooks). The span
    # is measured between parallels that touch flanks; facets lose up to 0.0004 a side.
    source = prism_file([GEAR.outline(per_flank=16)], tmp_path)
    after = compensated(source, meshcomp.ByHand(wall_growth=growth))
    (ring,) = outline_of(after)
    turns = 2 * np.pi * (6 - 1) / (2 * GEAR.teeth)  # midway over six teeth
    normal = np.array([-np.sin(turns), np.cos(turns)])
    teeth = ring[np.abs(np.arctan2(ring[:, 1], ring[:, 0]) - turns) < 6 * np.pi / 50]
    radius = np.hypot(*teeth.T)
    flanks = teeth[(radius > 24.3) & (radius < 25.7)]  # no roots: they reach further
    span = float(np.ptp(flanks @ normal))
    assert span == pytest.approx(GEAR.span(6, growth), abs=0.002)
