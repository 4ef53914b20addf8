"""Outlines of the demo parts: closed forms, published gear sizes, and rolling with shapely.

Gear sources: span W over k teeth W = m cos φ [π (k - ½) + z inv φ] + 2 x m sin φ, with
worked values from metric gear handbooks (m 3, z 24, x 0.4: 32.8266; m 2, z 20: 15.321;
over pins m 1, z 20, pin 1.7: 22.2941) and of the pair m 3, z 12/24 at 56.5 mm (root
diameters 32.100 and 66.660, base diameters 33.8289 and 67.6579). The rack is that of ISO
53, profile A. Values of the lobed disc R 40, Rr 4, E 1.5, N 12: the closed form of the
shortened epitrochoid's parallel curve, computed apart from this project.
"""

from __future__ import annotations

from math import cos, pi, radians, sin, sqrt, tan

import numpy as np
import pytest
import shapely
from shapely.affinity import rotate, translate

from meshcomp.errors import OptionError
from meshcomp.scenario.driving import PINION
from meshcomp.scenario.outlines import (
    area,
    circle,
    facets_for,
    keyed_bore,
    notched_circle,
    on_circle,
    rounded_rectangle,
    scalloped,
    slot,
)
from meshcomp.scenario.profiles import (
    Gear,
    LobedDisc,
    gear_outline,
    involute,
    lobed_outline,
)

DISC = LobedDisc(ring_radius=40.0, pin_radius=4.0, eccentricity=1.5, pins=12)
GEARS = [
    pytest.param(PINION, id="pinion"),
    pytest.param(Gear(module=1.0, teeth=10), id="strong-undercut"),
    pytest.param(Gear(module=1.0, teeth=20), id="z20"),
    pytest.param(Gear(module=3.0, teeth=24, shift=0.4), id="shifted"),
]


def _ngon(facets, radius):
    return facets / 2 * radius**2 * sin(2 * pi / facets)


@pytest.mark.parametrize(
    ("radius", "sagitta", "facets"),
    [(5.0, 0.01, 50), (10.0, 0.005, 100), (1.0, 0.1, 7), (20.0, 0.1, 32), (1.0, 9.0, 3)],
)
def test_facets_keep_to_the_sagitta(radius, sagitta, facets):
    # n = ⌈π / acos(1 - s / r)⌉; a triangle at least.
    assert facets_for(radius, sagitta) == facets


@pytest.mark.parametrize("facets", [24, 48, 97])
def test_a_circle_has_the_area_of_its_regular_polygon(facets):
    outline = circle(7.0, facets, centre=(1e4, -3.0))
    assert area(outline) == pytest.approx(_ngon(facets, 7.0), rel=1e-11)
    assert area(outline[::-1]) == pytest.approx(-_ngon(facets, 7.0), rel=1e-11)
    assert np.hypot(*(outline - (1e4, -3.0)).T) == pytest.approx(np.full(facets, 7.0))


def test_places_on_a_circle_begin_where_they_should():
    places = on_circle(3, 10.0, start=90.0)
    expected = [(0, 10), (-5 * sqrt(3), -5), (5 * sqrt(3), -5)]
    assert places == pytest.approx(np.array(expected), abs=1e-12)


def test_rectangles_and_slots_have_their_closed_forms():
    plate = rounded_rectangle(92.0, 70.0, radius=6.0, facets=24)
    assert area(plate) == pytest.approx(92 * 70 - 4 * 36 + _ngon(24, 6.0), rel=1e-12)
    assert (np.ptp(plate, axis=0) == (92.0, 70.0)).all()
    groove = slot(20.0, 6.0, facets=24, centre=(3.0, 4.0))
    assert area(groove) == pytest.approx(14 * 6 + _ngon(24, 3.0), rel=1e-12)
    assert np.ptp(groove, axis=0) == pytest.approx((20.0, 6.0), abs=1e-12)


def test_impossible_outlines_are_refused():
    with pytest.raises(OptionError, match=r"give a radius below 5\.0 mm"):
        rounded_rectangle(20.0, 10.0, radius=5.0, facets=24)
    with pytest.raises(OptionError, match=r"6\.0 mm by 6\.0 mm is not longer than wide"):
        slot(6.0, 6.0, facets=24)


def test_notches_are_right_angles_of_their_depth():
    rim = notched_circle(43.0, notches=5, depth=2.5, segments=30)
    radii = np.hypot(*rim.T)
    assert np.flatnonzero(radii < 42.9).tolist() == [0, 32, 64, 96, 128]
    assert radii[::32] == pytest.approx(np.full(5, 40.5), abs=1e-12)
    before, after = rim[-1] - rim[0], rim[1] - rim[0]
    assert before @ after == pytest.approx(0, abs=1e-12)
    assert after[0] == pytest.approx(after[1], abs=1e-12)


def test_a_keyway_has_its_width_and_reach():
    bore = keyed_bore(2.5, 48, width=2.0, reach=3.5)
    assert bore[-2:].tolist() == [[1.0, 3.5], [-1.0, 3.5]]
    assert bore[[0, -3], 0] == pytest.approx([-1.0, 1.0], abs=1e-12)
    assert np.hypot(*bore[:-2].T) == pytest.approx(np.full(49, 2.5), abs=1e-12)
    assert shapely.Polygon(bore).is_valid


def test_arcs_of_a_grip_join_smoothly_and_shift_in_parallel():
    steps = 24
    grip = scalloped(12, 14.0, tip_radius=3.0, valley_radius=3.0, segments=steps)
    inner = scalloped(12, 14.0, tip_radius=2.6, valley_radius=3.4, segments=steps)
    assert np.hypot(*grip.T).max() == pytest.approx(17.0, abs=1e-12)
    assert np.hypot(*(grip - inner).T) == pytest.approx(np.full(len(grip), 0.4), abs=1e-12)
    edges = np.roll(grip, -1, axis=0) - grip
    turns = np.angle(np.roll(edges @ [1, 1j], -1) / (edges @ [1, 1j]))
    # No corner turns more than one step of the lobes' arcs of 2 x 52.16 degrees.
    assert np.degrees(abs(turns)).max() == pytest.approx(2 * 52.16 / steps, abs=1e-3)


def test_a_lobed_disc_has_the_published_points():
    points = DISC.points([0.0, pi / 22, pi / 11])
    expected = [(34.5, 0), (35.96216817, -5.31349255), (35.98098651, -10.56497088)]
    assert points == pytest.approx(np.array(expected), abs=6e-9)
    assert (DISC.greatest_radius, DISC.least_radius) == (37.5, 34.5)
    assert DISC.undercut_radius == pytest.approx(13.1337, abs=5e-5)


def test_a_lobed_outline_has_its_area_and_perimeter():
    polygon = shapely.Polygon(lobed_outline(DISC, sagitta=1e-6))
    assert polygon.is_valid
    assert polygon.exterior.is_ccw
    # An inscribed polygon loses about two thirds of its sagitta all along the outline.
    assert polygon.area == pytest.approx(4104.75368, abs=239.1 * 1e-6)
    assert polygon.length == pytest.approx(239.08802, abs=1e-5)


@pytest.mark.parametrize("sagitta", [0.05, 0.005])
def test_a_lobed_outline_keeps_to_its_sagitta_and_lies_on_the_curve(sagitta):
    curve = shapely.LinearRing(DISC.points(np.linspace(0, 2 * pi, 200_001)[:-1]))
    coarse = lobed_outline(DISC, sagitta=sagitta)
    assert shapely.distance(curve, shapely.points(coarse)).max() < 1e-7
    middles = (coarse + np.roll(coarse, -1, axis=0)) / 2
    gaps = shapely.distance(curve, shapely.points(middles))
    assert gaps.max() == pytest.approx(sagitta, rel=0.1)
    assert gaps.max() <= 1.05 * sagitta


def test_a_lobed_outline_offsets_to_that_of_other_pins():
    # The parallel curve at a distance δ outward is the disc for pins thinner by δ.
    outline = lobed_outline(DISC, sagitta=1e-6)
    thinner = LobedDisc(ring_radius=40.0, pin_radius=3.9, eccentricity=1.5, pins=12)
    wider = shapely.LinearRing(lobed_outline(thinner, sagitta=1e-6))
    gaps = shapely.distance(wider, shapely.points(outline[::50]))
    assert gaps == pytest.approx(np.full(len(gaps), 0.1), abs=2e-6)


def test_pins_that_undercut_are_refused():
    thick = LobedDisc(ring_radius=40.0, pin_radius=13.2, eccentricity=1.5, pins=12)
    with pytest.raises(OptionError, match=r"bends as sharply as 13\.134 mm"):
        lobed_outline(thick, sagitta=0.01)


def test_an_involute_unrolls_its_base_circle():
    rolls = np.linspace(0.1, 1.2, 12)
    points = involute(10.0, rolls)
    # The string runs off the base circle at a right angle to the radius there, as long
    # as the arc that it covered.
    feet = 10.0 * np.column_stack([np.cos(rolls), np.sin(rolls)])
    assert np.hypot(*(points - feet).T) == pytest.approx(10.0 * rolls, rel=1e-12)
    assert np.einsum("ij,ij->i", points - feet, feet) == pytest.approx(0, abs=1e-11)


@pytest.mark.parametrize(
    ("gear", "over", "span"),
    [
        (Gear(module=3.0, teeth=24, shift=0.4), 4, 32.82662725),
        (Gear(module=2.0, teeth=20), 3, 15.32087876),
        # The pinion, by the formula: 1.25 cos 20° [1.5 π + 16 inv 20°].
        (PINION, 2, 1.25 * cos(radians(20)) * (1.5 * pi + 16 * 0.014904383867)),
    ],
)
def test_base_tangent_spans_are_those_of_the_formula(gear, over, span):
    outline = gear_outline(gear, flank=2000, fillet=4)
    # A space lies in the direction of X: turn the middle of `over` teeth there.
    turned = outline @ [1, 1j] * np.exp(-1j * pi * over / gear.teeth)
    flanks = turned[abs(turned) > 0.98 * gear.pitch_radius]  # both contacts lie there
    gripped = flanks[abs(np.angle(flanks)) < pi * over / gear.teeth]
    assert np.ptp(gripped.imag) == pytest.approx(span, abs=1e-6)


def test_a_gear_measures_over_pins_as_published():
    outline = shapely.LinearRing(
        gear_outline(Gear(module=1.0, teeth=20), flank=400, fillet=9)
    )
    middle = shapely.Point((22.2941 - 1.7) / 2, 0.0)  # a space lies in the direction of X
    assert outline.distance(middle) == pytest.approx(0.85, abs=2e-5)


@pytest.mark.parametrize(
    ("teeth", "shift", "root", "base"),
    [(12, 0.6, 32.100, 33.8289), (24, 0.36, 66.660, 67.6579)],
)
def test_a_gear_has_the_published_root_and_base(teeth, shift, root, base):
    gear = Gear(module=3.0, teeth=teeth, shift=shift)
    assert 2 * gear.root_radius == pytest.approx(root, abs=1e-9)
    assert 2 * gear.base_radius == pytest.approx(base, abs=5e-5)


def _rack(gear):
    """Tooth of the cutting rack of ISO 53, profile A, pointing along -X at y = 0."""
    m, angle = gear.module, radians(gear.pressure_angle)
    half = pi * m / 4
    body = [
        (-1.25 * m, half - 1.25 * m * tan(angle)),
        (1.5 * m, half + 1.5 * m * tan(angle)),
    ]
    sharp = shapely.Polygon([*body, *[(x, -y) for x, y in body[::-1]]])
    # Opening by the radius rounds the tips; what it rounds at the back lies outside.
    rounded = sharp.buffer(-0.38 * m, quad_segs=400).buffer(0.38 * m, quad_segs=400)
    whole = rounded.union(sharp.intersection(shapely.box(0, -9 * m, 9 * m, 9 * m)))
    return translate(whole, gear.pitch_radius + gear.shift * m, 0.0)


def _rolled(gear, tool, roll):
    """Put the rack's tooth where it is when the gear has turned by `roll`, seen from it."""
    moved = translate(tool, 0.0, roll * gear.pitch_radius)
    return rotate(moved, -roll, origin=(0, 0), use_radians=True)


@pytest.mark.parametrize("gear", GEARS)
def test_a_gear_is_what_the_rack_leaves(gear):
    m = gear.module
    wheel = shapely.Polygon(gear_outline(gear, flank=200, fillet=200))
    assert wheel.is_valid
    assert wheel.exterior.is_ccw
    tool = _rack(gear)
    cuts = [_rolled(gear, tool, roll) for roll in np.linspace(-0.9, 0.9, 4801)]
    # The land of a tooth is two chords, so the comparison ends just below it.
    tip = shapely.Polygon(circle(gear.tip_radius - 0.03 * m, 20_000))
    left = tip.intersection(_space(gear)).difference(shapely.union_all(cuts))
    own = wheel.intersection(tip).intersection(_space(gear))
    # Neither is anything of the gear cut further, nor is anything left outside it.
    assert own.difference(left).area < 2e-5 * m**2
    assert left.difference(own).area < 1e-4 * m**2


def _space(gear):
    """Sector from the middle of a tooth over the space along X to the next tooth's."""
    half, reach = pi / gear.teeth, 2 * gear.tip_radius
    far = [(reach * cos(half), -reach * sin(half)), (reach * cos(half), reach * sin(half))]
    return shapely.Polygon([(0, 0), *far])


def test_a_tooth_that_would_be_pointed_is_refused():
    with pytest.raises(OptionError, match=r"end in points below the tip circle"):
        gear_outline(Gear(module=1.0, teeth=8, shift=1.0), flank=9, fillet=5)
