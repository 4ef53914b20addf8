"""Plane offsets, closed forms of profiles and Minkowski sums are right and agree."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from outside import brep, minkowski, plane, profiles
from outside.measure import z_bounds
from outside.solids import exact_part, frustum

OUTLINE_L = [(0, 0), (60, 0), (60, 20), (20, 20), (20, 50), (0, 50)]
SQUARE_HOLE = [(5, 5), (5, 11), (15, 11), (15, 5)]
DISC = profiles.LobedDisc(pins=12, ring_radius=40, pin_radius=4, eccentricity=1.5)


def gear(**changes: float) -> profiles.Gear:
    """Return a gear of module 2 and 48 teeth, root above its base circle."""
    size = {"teeth": 48, "module": 2.0, "root_radius": 45.6, "tip_radius": 50.0}
    return profiles.Gear(**{**size, **changes})  # type: ignore[arg-type]


@pytest.mark.parametrize("by", [0.15, -0.15])
def test_outline_with_a_concave_corner_moves_by_mitres(by: float) -> None:
    found = plane.offset_outline([OUTLINE_L], by, 0.0)
    foot = (60 + 2 * by) * (20 + 2 * by)
    assert found.area == pytest.approx(foot + (20 + 2 * by) * 30, abs=1e-9)
    corners = {(round(x, 9), round(y, 9)) for x, y in found.exterior.coords}
    expected = [(-by, -by), (60 + by, -by), (60 + by, 20 + by), (20 + by, 20 + by)]
    expected += [(20 + by, 50 + by), (-by, 50 + by)]
    assert corners == {(round(x, 9), round(y, 9)) for x, y in expected}


def test_holes_move_by_their_own_distance() -> None:
    found = plane.offset_outline([OUTLINE_L, SQUARE_HOLE], 0.0, 0.25)
    assert found.area == pytest.approx(1800 - 10.5 * 6.5, abs=1e-9)
    assert plane.areas([OUTLINE_L, SQUARE_HOLE]) == (1800.0, 60.0)


def test_several_outlines_move_together() -> None:
    other = [(100, 0), (110, 0), (110, 10), (100, 10)]
    found = plane.offset_outline([OUTLINE_L, other], 0.5, 0.0)
    assert len(found.geoms) == 2
    assert found.area == pytest.approx(61 * 21 + 21 * 30 + 121, abs=1e-9)


@pytest.mark.parametrize("corners", [3, 6, 40])
def test_mitred_offset_of_a_regular_polygon_keeps_its_shape(corners: int) -> None:
    ring = minkowski.disc(10.0, corners)
    apothem = 10 * np.cos(np.pi / corners)
    found = plane.offset_outline([ring], 0.3, 0.0)
    scale = (apothem + 0.3) / apothem
    assert plane.outline_gap(found, [ring * scale]) < 1e-9


def test_outline_gap_is_the_largest_distance() -> None:
    outline = plane.offset_outline([[(0, 0), (4, 0), (4, 4), (0, 4)]], 0.0, 0.0)
    bent = [(0, 0), (4, 0), (4, 4), (2, 4.3), (0, 4)]
    assert plane.outline_gap(outline, [bent]) == pytest.approx(0.3, abs=1e-12)


def test_prism_with_a_hole_is_a_solid_of_the_outlines_points() -> None:
    mesh = plane.prism([OUTLINE_L, SQUARE_HOLE], 1.0, 4.0)
    assert mesh.to_trimesh().is_volume
    assert mesh.volume == pytest.approx(3 * 1740, rel=1e-12)
    points = {tuple(point) for point in mesh.vertices[:, :2].tolist()}
    assert points == {(float(x), float(y)) for x, y in OUTLINE_L + SQUARE_HOLE}
    assert z_bounds(mesh) == (1.0, 4.0)


@pytest.mark.parametrize(
    ("facets", "loss"), [(6, 1.33975), (12, 0.34074), (24, 0.08555), (128, 0.00301)]
)
def test_sagitta_is_half_the_loss_across_flats(facets: int, loss: float) -> None:
    # Plane geometry; values computed independently of this code, to five digits.
    assert 2 * profiles.sagitta(5.0, facets) == pytest.approx(loss, abs=5e-6)
    corners = minkowski.disc(5.0, facets)
    middle = np.linalg.norm((corners[0] + corners[1]) / 2)
    assert profiles.sagitta(5.0, facets) == pytest.approx(5 - middle, abs=1e-12)


@pytest.mark.parametrize(("radius", "limit"), [(5, 0.01), (10, 0.005), (1, 0.1), (20, 0.1)])
def test_facets_for_is_the_least_number(radius: float, limit: float) -> None:
    facets = profiles.facets_for(radius, limit)
    assert profiles.sagitta(radius, facets) <= limit < profiles.sagitta(radius, facets - 1)


def test_lobed_disc_has_its_known_points() -> None:
    # Computed independently of this code for pins 12, ring 40, pin 4, eccentricity 1.5.
    points = DISC.points([0, np.pi / 22, np.pi / 11])
    known = [(34.5, 0), (35.96216817, -5.31349255), (35.98098651, -10.56497088)]
    assert np.abs(points - known).max() < 1e-8
    radii = np.linalg.norm(DISC.outline(4400), axis=1)
    assert (radii.min(), radii.max()) == pytest.approx((34.5, 37.5), abs=1e-9)


@pytest.mark.parametrize("by", [0.0, 0.1, -0.2])
def test_offset_lobed_disc_has_the_area_of_a_parallel_curve(by: float) -> None:
    # Steiner: a smooth closed curve of area A and length L has A + L δ + π δ² inside its
    # parallel curve. A and L computed independently of this code.
    area = plane.areas([DISC.outline(20_000, by)])[0]
    assert area == pytest.approx(4104.75368 + 239.08802 * by + np.pi * by**2, abs=2e-4)


@pytest.mark.parametrize("by", [0.1, -0.2])
def test_offset_lobed_disc_is_parallel_to_the_disc(by: float) -> None:
    t = np.linspace(0, 2 * np.pi, 997)
    step = 1e-5
    tangent = DISC.points(t + step) - DISC.points(t - step)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    moved = DISC.points(t, by) - DISC.points(t)
    outward = np.column_stack([-tangent[:, 1], tangent[:, 0]])  # it runs clockwise
    assert np.abs(moved - by * outward).max() < 1e-8
    assert np.abs(DISC.offsets(DISC.points(t, by)) - by).max() < 1e-12
    ring = DISC.outline(2000, by)
    assert shapely.LinearRing(ring).is_ccw


def test_offset_lobed_disc_agrees_with_the_buffer_within_its_dents() -> None:
    found = plane.offset_outline([DISC.outline(4000)], 0.1, 0.0)
    assert plane.outline_gap(found, [DISC.outline(4000, 0.1)]) < 0.0015


@pytest.mark.parametrize("by", [0.05, -0.3])
def test_parallel_curve_of_an_involute_is_the_involute_turned(by: float) -> None:
    roll = np.linspace(0.5, 1.5, 400)
    base = profiles.involute(roll, 20.0)
    normal = np.column_stack([np.sin(roll), -np.cos(roll)])
    turn = profiles.involute_turn(by, 20.0)
    turned = profiles.involute(roll + turn, 20.0, -turn)
    assert np.abs(base + by * normal - turned).max() < 1e-13
    # The normal is one: it is at right angles to the curve's own chords.
    chord = profiles.involute(roll + 1e-5, 20.0) - profiles.involute(roll - 1e-5, 20.0)
    assert np.abs((chord * normal).sum(axis=1)).max() < 1e-10


@pytest.mark.parametrize(
    ("module", "teeth", "shift", "spanned", "span"),
    [
        # Metric gear handbooks, table of span measurement of spur gears.
        (3.0, 24, 0.4, 4, 32.8266),
        (2.0, 20, 0.0, 3, 15.3209),
    ],
)
def test_base_tangent_span_is_the_handbooks(
    module: float, teeth: int, shift: float, spanned: int, span: float
) -> None:
    size = gear(teeth=teeth, module=module, profile_shift=shift)
    assert size.span(spanned) == pytest.approx(span, abs=5e-5)
    # Moved by δ, every span is 2 δ longer.
    assert size.span(spanned, -0.05) == pytest.approx(size.span(spanned) - 0.1, abs=1e-12)


def test_gear_tooth_is_half_a_pitch_thick_at_the_pitch_circle() -> None:
    assert 2 * gear().half_angle(48.0) == pytest.approx(np.pi / 48, abs=1e-14)
    # Moved by δ it is 2 δ / cos 20° thicker there, along the arc.
    more = 2 * 48 * (gear().half_angle(48.0, 0.05) - gear().half_angle(48.0))
    assert more == pytest.approx(0.1 / np.cos(np.pi / 9), abs=1e-12)


@pytest.mark.parametrize("by", [0.0, 0.08, -0.08])
def test_offset_gear_outline_is_parallel_to_the_gear(by: float) -> None:
    ring = gear().outline(offset=by)
    radii = np.linalg.norm(ring, axis=1)
    flanks = (radii > 45.6 + by + 1e-6) & (radii < 50 + by - 1e-6)
    assert flanks.sum() == 48 * 2 * 10
    assert np.abs(gear().flank_offsets(ring[flanks]) - by).max() < 1e-12
    assert (radii.min(), radii.max()) == pytest.approx((45.6 + by, 50 + by), abs=1e-12)
    closed = shapely.LinearRing(ring)
    assert closed.is_simple
    assert closed.is_ccw


def test_offset_gear_agrees_with_the_buffer() -> None:
    # Fine flanks; the mitred buffer of chords lies at most the chords' sagitta off, and
    # in the concave roots as far as the buffer drops dents: 1 % of the distance.
    found = plane.offset_outline([gear().outline(60)], 0.08, 0.0)
    assert plane.outline_gap(found, [gear().outline(60, 0.08)]) < 0.002


def test_gear_whose_flanks_begin_below_the_base_circle_is_refused() -> None:
    with pytest.raises(ValueError, match=r"root 44.0 mm is below the base circle 45.1"):
        gear(root_radius=44.0).outline()


@pytest.mark.parametrize("height", [1e-6, 1e-3])
def test_minkowski_sum_of_a_block_and_a_square_is_a_block(height: float) -> None:
    block = plane.prism([[(0, 0), (40, 0), (40, 30), (0, 30)]], 0, 20)
    grown = minkowski.minkowski_growth(block, minkowski.square(0.15), height)
    assert grown.volume == pytest.approx(40.3 * 30.3 * (20 + height), rel=1e-12)
    assert z_bounds(grown) == pytest.approx((0, 20 + height), abs=1e-12)


def test_minkowski_sum_of_a_block_and_a_disc_has_round_corners() -> None:
    block = plane.prism([[(0, 0), (40, 0), (40, 30), (0, 30)]], 0, 20)
    grown = minkowski.minkowski_growth(block, minkowski.disc(0.15), 1e-6)
    corners = 0.5 * 64 * 0.15**2 * np.sin(2 * np.pi / 64)
    area = 1200 + 140 * 0.15 + corners  # Steiner, with the area of the 64-gon
    assert grown.volume == pytest.approx(area * (20 + 1e-6), rel=1e-9)


def test_minkowski_sum_agrees_with_the_kernel_on_a_drafted_block() -> None:
    nominal = exact_part("drafted", frustum((70, 50), (68, 48), 0, 30))
    exact = exact_part("drafted", frustum((70.2, 50.2), (68.2, 48.2), 0, 30))
    mesh = brep.tessellate(nominal, 0.01, 0.1)
    grown = minkowski.minkowski_growth(mesh, minkowski.square(0.1))
    assert brep.distance_to_surface(exact, grown.vertices).max() < 2e-6
    assert grown.volume == pytest.approx(exact.volume, rel=1e-7)


def test_minkowski_sum_of_a_part_that_is_not_convex_is_refused() -> None:
    with pytest.raises(ValueError, match="the part is not convex"):
        minkowski.minkowski_growth(plane.prism([OUTLINE_L], 0, 6), minkowski.disc(0.1))


def test_minkowski_sum_of_an_open_mesh_is_refused() -> None:
    block = plane.prism([[(0, 0), (4, 0), (4, 3), (0, 3)]], 0, 2)
    opened = type(block)(block.vertices, block.faces[1:])
    with pytest.raises(ValueError, match=r"no solid: Error\.NotManifold"):
        minkowski.minkowski_growth(opened, minkowski.disc(0.1))
