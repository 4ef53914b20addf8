"""The exact parts are right by closed forms, and their meshes lie on them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import trimesh
from build123d import Shell, Solid
from numpy.typing import NDArray
from outside import brep, crossings, measure
from outside.solids import exact_part, frustum
from outside.truths import Change, Changes
from scipy.integrate import quad

from meshcomp.meshes import Mesh

NOMINAL: Changes = {}
CHANGED: Changes = {
    "growth": 0.11,
    "opening": lambda d: 0.12 + 0.45 / d,
    "pocket_opening": 0.07,
    "boss_growth": -0.06,
}
BOTH = pytest.mark.parametrize("by", [NOMINAL, CHANGED], ids=["nominal", "changed"])
EVERY = pytest.mark.parametrize("name", brep.PARTS)
DEFLECTION = 0.004


@cache
def part_of(name: str, is_changed: bool) -> brep.ExactPart:  # noqa: FBT001
    return brep.PARTS[name](**(CHANGED if is_changed else NOMINAL))


@cache
def mesh_of(name: str, is_changed: bool) -> Mesh:  # noqa: FBT001
    return brep.tessellate(part_of(name, is_changed), DEFLECTION, 0.3)


def disc(diameter: float) -> float:
    return math.pi / 4 * diameter**2


def cone(low: float, high: float, height: float) -> float:
    return math.pi / 3 * height * (low**2 + low * high + high**2)


def plate_volume(c: Change) -> float:
    through = 8 * sum(disc(c.bore(d)) for d in brep.BORE_SIZES)
    counterbored = 4 * disc(c.bore(4.5)) + 4 * disc(c.bore(8))
    r = c.bore(4) / 2
    holes = through + 5 * disc(c.bore(6)) + counterbored + 6 * disc(2 * r)
    return 8 * (80 + 2 * c.growth) * (60 + 2 * c.growth) - holes - cone(r, r + 2, 2)


def block_volume(c: Change) -> float:
    width, depth = 60 + 2 * c.growth, 40 + 2 * c.growth
    lying = width * disc(c.bore(6)) + depth * disc(c.bore(22))
    return 50 * width * depth - lying - 50 * disc(c.bore(5))


def boss_volume(c: Change) -> float:
    steps = 10 * disc(c.boss(40)) + 12 * disc(c.boss(28)) + 13 * disc(c.boss(16))
    r = c.boss(16) / 2
    return steps + cone(r, r - 1, 1) - 36 * disc(c.bore(8))


def drafted(width: float, depth: float, height: float) -> float:
    """Rectangle drafted 2° inward over a height, by the prismatoid formula."""
    s = 2 * height * math.tan(math.radians(2))
    middle = (width - s / 2) * (depth - s / 2)
    return height / 6 * (width * depth + 4 * middle + (width - s) * (depth - s))


def housing_volume(c: Change) -> float:
    outside = drafted(70 + 2 * c.growth, 50 + 2 * c.growth, 30)
    pocket = drafted(56 + 2 * c.pocket_opening, 36 + 2 * c.pocket_opening, 26)
    return outside - pocket + 4 * (20 * disc(c.boss(8)) - 14 * disc(c.bore(3.2)))


def pocket_plate_volume(c: Change) -> float:
    g, p = c.growth, c.pocket_opening
    outline = (80 + 2 * g) * (50 + 2 * g) - (4 - math.pi) * (8 + g) ** 2
    slot = 18 * (6 + 2 * p) + disc(6 + 2 * p)
    r, flat = 6 + p, 4.5 + p
    cut_off = r * r * math.acos(flat / r) - flat * math.sqrt(r * r - flat * flat)
    hexagon = math.sqrt(3) / 2 * (8 + 2 * p) ** 2
    area = outline - slot - (disc(2 * r) - cut_off) - 2 * disc(c.bore(4))
    return 10 * area - 5 * hexagon - 5 * disc(c.bore(5.3))


def bracket_volume(c: Change) -> float:
    g = c.growth
    foot = (60 + 2 * g) * (20 + 2 * g) + (20 + 2 * g) * 30
    upright = 30 * (60 + 2 * g) * (6 + 2 * g) - (6 + 2 * g) * disc(c.bore(10))
    return 6 * (foot - disc(c.bore(5)) - disc(c.bore(4.3))) + upright


def common(a: float, b: float, apart: float) -> float:
    """Volume shared by two cylinders at right angles, diameters a >= b, axes apart."""
    r, s = a / 2, b / 2

    def slab(turn: float) -> float:
        y = s * math.sin(turn)
        return 4 * math.sqrt(r * r - (y - apart) ** 2) * (s * math.cos(turn)) ** 2

    return float(quad(slab, -math.pi / 2, math.pi / 2, epsabs=1e-11)[0])


def crossed_volume(c: Change) -> float:
    width, depth = 60 + 2 * c.growth, 40 + 2 * c.growth
    four, six, eight, ten = (c.bore(d) for d in (4, 6, 8, 10))
    bores = 20 * (disc(ten) + disc(eight)) + width * disc(six) + depth * disc(four)
    shared = common(ten, six, 0) + common(eight, six, 0.5) + common(six, four, 0)
    return 20 * width * depth - bores + shared


def edged_volume(c: Change) -> float:
    width, depth, corner = 70 + 2 * c.growth, 45 + 2 * c.growth, 6 + c.growth

    def area(inset: float) -> float:
        sides = (width - 2 * inset) * (depth - 2 * inset)
        return sides - (4 - math.pi) * (corner - inset) ** 2

    def arc(radius: float, z: float) -> float:
        return radius - math.sqrt(radius**2 - z**2)

    foot = quad(lambda z: area(arc(2, z)), 0, 2, epsabs=1e-10)[0]
    body = foot + 8.5 * area(0) + quad(area, 0, 1.5)[0]
    r, q = c.bore(10) / 2, c.bore(8) / 2
    rim = quad(lambda z: math.pi * (q + arc(1.5, z)) ** 2, 0, 1.5, epsabs=1e-11)[0]
    cut = 10 * disc(2 * r) + 2 * cone(r, r + 1, 1)
    return float(body - cut - 10.5 * disc(2 * q) - rim)


VOLUMES: dict[str, Callable[[Change], float]] = {
    "plate": plate_volume,
    "bearing_block": block_volume,
    "stepped_boss": boss_volume,
    "housing": housing_volume,
    "pocket_plate": pocket_plate_volume,
    "bracket": bracket_volume,
    "crossed_plate": crossed_volume,
    "edged_plate": edged_volume,
}
SIDES = {  # along X, along Y, height
    "plate": (80, 60, 8),
    "bearing_block": (60, 40, 50),
    "housing": (70, 50, 30),
    "pocket_plate": (80, 50, 10),
    "crossed_plate": (60, 40, 20),
    "edged_plate": (70, 45, 12),
}


@EVERY
@BOTH
def test_exact_volume_is_the_closed_form(name: str, by: Changes) -> None:
    volume = VOLUMES[name](Change(**by))
    assert part_of(name, by is CHANGED).volume == pytest.approx(volume, rel=2e-9, abs=0)


@pytest.mark.parametrize("name", SIDES)
@BOTH
def test_exact_bounds_grow_sideways_only(name: str, by: Changes) -> None:
    width, depth, height = SIDES[name]
    growth = by.get("growth", 0.0)
    half = np.array([width / 2 + growth, depth / 2 + growth])
    expected = [[*-half, 0], [*half, height]]
    assert np.abs(part_of(name, by is CHANGED).bounds - expected).max() < 1e-9


def test_exact_bounds_of_parts_not_about_the_origin() -> None:
    bracket = part_of("bracket", is_changed=True).bounds
    assert np.abs(bracket - [[-0.11, -0.11, 0], [60.11, 50.11, 36]]).max() < 1e-9
    boss = part_of("stepped_boss", is_changed=True).bounds
    assert np.abs(boss - [[-19.97, -19.97, 0], [19.97, 19.97, 36]]).max() < 1e-9


def test_bosses_grow_by_twice_the_wall_growth_unless_told() -> None:
    sizes = [f.diameter for f in brep.stepped_boss(growth=0.1).features if not f.internal]
    assert sizes == pytest.approx([40.2, 28.2, 16.2], abs=1e-12)


def test_plate_takes_the_bore_sizes_asked_for() -> None:
    part = brep.plate(bore_sizes=(1.0, 30.0, 40.0), opening=0.2)
    assert [f.diameter for f in part.features[:3]] == pytest.approx([1.2, 30.2, 40.2])
    assert part.bounds[1, 0] == pytest.approx((71 + 24) / 2, abs=1e-9)


def about(axis: brep.TrueFeature, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Distances of points from a feature's axis."""
    across = np.cross(points - axis.point, axis.direction)
    return np.asarray(np.linalg.norm(across, axis=1))


@EVERY
@BOTH
def test_cylinders_end_where_the_truth_says(name: str, by: Changes) -> None:
    vertices = mesh_of(name, by is CHANGED).vertices
    for feature in part_of(name, by is CHANGED).features:
        on_it = np.abs(about(feature, vertices) - feature.diameter / 2) < 1e-9
        positions = vertices[on_it] @ feature.direction
        assert positions.min() == pytest.approx(feature.start, abs=1e-9)
        assert positions.max() == pytest.approx(feature.end, abs=1e-9)


@EVERY
@BOTH
def test_mesh_lies_on_the_exact_part(name: str, by: Changes) -> None:
    part, mesh = part_of(name, by is CHANGED), mesh_of(name, by is CHANGED)
    assert brep.distance_to_surface(part, mesh.vertices[::3]).max() < 1e-10
    middles = mesh.corners.mean(axis=1)[::3]
    assert brep.distance_to_surface(part, middles).max() < 1.1 * DEFLECTION
    assert mesh.volume == pytest.approx(part.volume, rel=3e-4)
    assert np.abs(mesh.bounds[:, 2] - part.bounds[:, 2]).max() == 0.0


@EVERY
@BOTH
def test_mesh_is_a_sound_solid(name: str, by: Changes) -> None:
    mesh = mesh_of(name, by is CHANGED)
    assert mesh.to_trimesh().is_volume  # trimesh: closed, oriented, outside out
    assert crossings.crossing_faces(mesh) == 0
    assert crossings.non_manifold_edges(mesh) == 0
    assert crossings.open_edges(mesh) == 0


@EVERY
@BOTH
def test_sizes_measured_in_the_written_file_are_true(
    name: str, by: Changes, tmp_path: Path
) -> None:
    part = part_of(name, by is CHANGED)
    brep.write_stl(mesh_of(name, by is CHANGED), tmp_path / "part.stl")
    mesh = measure.read_mesh(tmp_path / "part.stl")
    for f in part.features:
        at = f.start + 0.15 * (f.end - f.start)  # clear of the crossings
        circle = measure.bore_circle(mesh, f.point, f.direction, at, internal=f.internal)
        assert circle.diameter == pytest.approx(f.diameter, abs=2e-6)
        assert about(f, circle.centre[None]).max() < 2e-6
        assert circle.residual < 5e-6
        assert 0 < f.diameter - circle.flats < 2.2 * DEFLECTION
    for w in part.walls:
        width = measure.width_between(mesh, w.direction, w.point)
        assert width == pytest.approx(w.size, abs=1e-5)
    low, high = measure.z_bounds(mesh)
    assert (low, high) == tuple(part.bounds[:, 2])
    assert measure.volume(mesh) == pytest.approx(part.volume, rel=3e-4)


def test_drafted_walls_move_horizontally() -> None:
    vertices = mesh_of("housing", is_changed=False).vertices
    outer = vertices[np.abs(vertices[:, 0]) > 33]  # the eight outside corners
    assert len(outer) == 8
    moved = outer + np.sign(outer) * [0.11, 0.11, 0]
    assert (
        brep.distance_to_surface(part_of("housing", is_changed=True), moved).max() < 1e-10
    )


def test_outside_chamfers_and_fillets_move_horizontally() -> None:
    vertices = mesh_of("edged_plate", is_changed=False).vertices
    core = np.clip(vertices[:, :2], [-29, -16.5], [29, 16.5])
    out = vertices[:, :2] - core
    reach = np.linalg.norm(out, axis=1)
    outside = reach > 3.9
    moved = vertices[outside].copy()
    moved[:, :2] += 0.11 * (out / np.maximum(reach, 1e-9)[:, None])[outside]
    changed = part_of("edged_plate", is_changed=True)
    assert outside.sum() > 100
    assert brep.distance_to_surface(changed, moved).max() < 1e-10


@pytest.mark.parametrize(
    ("name", "nominal", "widest"),
    [("edged_plate", 10, 6), ("edged_plate", 8, 5.5), ("plate", 4, 4)],
)
def test_rims_move_as_far_as_their_bore(name: str, nominal: float, widest: float) -> None:
    vertices = mesh_of(name, is_changed=False).vertices
    features = part_of(name, is_changed=False).features
    bore = next(f for f in features if f.nominal_size == nominal)
    rim = vertices[about(bore, vertices) < widest + 1e-6]
    flat = (rim - bore.point) * [1, 1, 0]
    opening = 0.12 + 0.45 / nominal
    moved = rim + opening / 2 * flat / np.linalg.norm(flat, axis=1, keepdims=True)
    assert len(rim) > 60
    assert brep.distance_to_surface(part_of(name, is_changed=True), moved).max() < 1e-10


@pytest.mark.parametrize("facets", [12, 24, 36])
def test_angular_deflection_sets_the_facets_of_a_circle(facets: int) -> None:
    mesh = brep.tessellate(brep.stepped_boss(), 5.0, 4 * math.pi / facets * 1.0000001)
    foot = mesh.vertices[mesh.vertices[:, 2] == 0]
    assert (np.abs(np.linalg.norm(foot, axis=1) - 20) < 1e-9).sum() == facets


def test_distance_to_a_block_is_the_closed_form() -> None:
    block = exact_part("block", frustum((20, 10), (20, 10), 0, 30))
    points = [(0, 0, 15), (13, 9, 15), (13, 9, 42), (10, 5, 30), (0, 4, 29)]
    distances = brep.distance_to_surface(block, points)
    assert distances == pytest.approx([5, 5, 13, 0, 1], abs=1e-12)


def test_distance_from_a_bores_axis_is_its_radius() -> None:
    block = part_of("bearing_block", is_changed=False)
    axis = [(-12, y, 30) for y in (-5, 0, 5)]
    assert brep.distance_to_surface(block, axis) == pytest.approx([11] * 3, abs=1e-10)


def test_solid_with_a_face_missing_is_refused() -> None:
    lidless = Solid(Shell(frustum((4, 4), (4, 4), 0, 1).faces()[:5]))
    with pytest.raises(ValueError, match="bad: the kernel finds the solid invalid"):
        exact_part("bad", lidless)
    part = replace(part_of("plate", is_changed=False), solid=lidless)
    with pytest.raises(ValueError, match="the kernel's triangles do not close"):
        brep.tessellate(part, 0.1, 0.1)


def test_solid_inside_out_is_refused() -> None:
    turned = Solid(frustum((4, 4), (4, 4), 0, 1).wrapped.Reversed())
    part = replace(part_of("plate", is_changed=False), solid=turned)
    with pytest.raises(ValueError, match="the kernel's triangles are inside out"):
        brep.tessellate(part, 0.1, 0.1)


def test_stl_holds_the_mesh_rounded_to_32_bits(tmp_path: Path) -> None:
    mesh = mesh_of("housing", is_changed=True)
    brep.write_stl(mesh, tmp_path / "part.stl")
    assert (tmp_path / "part.stl").stat().st_size == 84 + 50 * len(mesh.faces)
    read = measure.read_mesh(tmp_path / "part.stl")
    assert np.array_equal(read.corners, mesh.corners.astype(np.float32).astype(float))
    assert len(read.vertices) == len(mesh.vertices)
    other = trimesh.load_mesh(tmp_path / "part.stl")  # trimesh's own reader
    assert other.is_volume
    assert other.volume == pytest.approx(mesh.volume, rel=1e-6)
