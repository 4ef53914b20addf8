"""Seats for the seam: shape, place, size beside them, and where they end.

What is compared with: closed forms of plane geometry (a V in a circle: the sector less two
triangles; a chamfer of 45 degrees); shapely for areas of sections; numpy for reading and
cutting the written file (tests/outside/measure.py); pymeshlab for crossing faces.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from outside import crossings, measure
from typer.testing import CliRunner

import meshcomp
from meshcomp.cli import app
from meshcomp.errors import OptionError
from meshcomp.grooving import groove_checks, grooved
from meshcomp.grooving.surfaces import surface_of
from meshcomp.meshes import Mesh
from meshcomp.parts import Part
from meshcomp.plans import Foot
from meshcomp.printer_axes import PrinterAxes
from meshcomp.reports import record_html, record_json, record_text
from meshcomp.reports._seams import SEAM_LINE
from meshcomp.scenario.outlines import circle
from meshcomp.scenario.prisms import cut_away, hole, laid, outside, prism, solid
from meshcomp.seams import SeamWish

SOLIDS = Path(__file__).parents[1].parent / "shared" / "data" / "solid"
WIDTH, DEPTH = 0.45, 0.15
UP = (0.0, 0.0, 1.0)


def part_of(mesh: Mesh) -> Part:
    none = np.zeros(len(mesh.faces), np.int64)
    return replace(meshcomp.demo_part("knob"), mesh=mesh, piece_of_face=none)


def wish(*features, **shape) -> SeamWish:
    shape = {"width": WIDTH, "depth": DEPTH} | shape
    return SeamWish(features=features, everywhere=not features, **shape)


def made(mesh: Mesh, tmp_path: Path, seams: SeamWish, rule=None):
    rule = rule or meshcomp.ByHand(bore_opening=0.1, boss_growth=0.1)
    return meshcomp.compensate_part(part_of(mesh), tmp_path / "out.stl", rule, seams=seams)


def groove_of(record, feature_id):
    return next(g for g in record.seams.grooves if g.feature_id == feature_id)


def area_at(mesh: Mesh, z: float) -> float:
    """Area of a section: rings of material less rings of holes, by shapely."""
    rings = measure.section(mesh, UP, z)
    polygons = [shapely.Polygon(ring[:, :2]) for ring in rings]
    # A ring within another is a hole's.
    within = [
        sum(
            p is not q and q.contains(shapely.Point(p.exterior.coords[0])) for q in polygons
        )
        for p in polygons
    ]
    return sum(p.area * (-1) ** d for p, d in zip(polygons, within, strict=True))


def v_in_circle(radius: float, width: float, depth: float, *, internal: bool) -> float:
    """Area of a V of some width at the tangent and depth, cut into a boss or a bore.

    With the apex at the distance a from the centre and a side that meets the circle at the
    angle p, it is the sector r² p less (or added to) two triangles a r sin(p) / 2.
    """
    apex = radius + depth if internal else radius - depth
    way = np.array([-depth if internal else depth, width / 2])
    way /= np.linalg.norm(way)
    # |apex + s way| = radius
    b = apex * way[0]
    root = np.sqrt(b * b - apex * apex + radius * radius)
    s = -b - root if internal else -b + root
    angle = np.arctan2(s * way[1], apex + s * way[0])
    sector, triangles = radius**2 * angle, apex * radius * np.sin(angle)
    return triangles - sector if internal else sector - triangles


def disc(diameter=16.0, height=6.0, bore=7.0) -> Mesh:
    return prism(circle(diameter / 2, 96), [circle(bore / 2, 96)], 0.0, height)


# Shape and place


@pytest.mark.parametrize("kind", ["boss", "bore"])
@pytest.mark.parametrize("shape", [(0.45, 0.15), (0.6, 0.1), (0.4, 0.3)])
def test_area_and_volume_are_those_of_a_v_in_a_circle(kind, shape, tmp_path):
    width, depth = shape
    feature = f"{kind}-01"
    seams = wish((feature, 30.0), width=width, depth=depth)
    record = made(disc(), tmp_path, seams)
    plain = made(disc(), tmp_path / "..", None)
    assert record.conforms
    radius = record.plan.of(feature).mesh_size / 2
    exact = v_in_circle(radius, width, depth, internal=kind == "bore")
    groove = groove_of(record, feature)
    # Facets lie up to 0.001 inside the circle all over the mouth.
    assert groove.area == pytest.approx(exact, abs=0.0012 * width)
    written = measure.read_mesh(tmp_path / "out.stl")
    before = measure.read_mesh(tmp_path / ".." / "out.stl")
    for z in (0.7, 3.1, 5.6):
        taken = area_at(before, z) - area_at(written, z)
        assert taken == pytest.approx(groove.area, abs=2e-5)
    assert measure.volume(before) - measure.volume(written) == pytest.approx(
        6.0 * groove.area, abs=2e-4
    )
    assert plain.verification.volume_change - record.verification.volume_change == (
        pytest.approx(6.0 * groove.area, abs=2e-4)
    )
    predicted = record.verification.predicted_volume_change
    assert predicted == pytest.approx(
        plain.verification.predicted_volume_change - 6.0 * groove.area, abs=2e-4
    )


@pytest.mark.parametrize("bearing", [0.0, 37.0, 90.0, 211.5])
def test_the_apex_is_at_its_depth_and_bearing_in_the_written_file(bearing, tmp_path):
    record = made(disc(), tmp_path, wish(("boss-01", bearing), ("bore-01", bearing)))
    written = measure.read_mesh(tmp_path / "out.stl")
    turn = np.radians(bearing)
    for name, sign in (("boss-01", -1), ("bore-01", 1)):
        radius = record.plan.of(name).mesh_size / 2
        facet = radius * (1 - np.cos(np.pi / 96))
        rings = np.concatenate(measure.section(written, UP, 2.7))[:, :2]
        apex = (radius + sign * DEPTH) * np.array([np.cos(turn), np.sin(turn)])
        away = np.linalg.norm(rings - apex, axis=1).min()
        # The seat lies on a facet, at most its sagitta (now 0.001) off the circle.
        assert away <= min(facet, 0.001) + 1e-5


def test_what_is_not_cut_keeps_its_points_to_the_bit():
    found = meshcomp.inspect(part_of(disc()))
    plain = meshcomp.compensate(found, meshcomp.plan(found, meshcomp.ByHand()))
    cut = grooved(found, plain, wish(("boss-01", 10.0)))
    old = {tuple(v) for v in plain.part.mesh.vertices.tolist()}
    new = {tuple(v) for v in cut.part.mesh.vertices.tolist()}
    lost = np.array(sorted(old - new)).reshape(-1, 3)
    # Only points of the rim within the mouth are gone.
    away = np.linalg.norm(
        lost[:, :2] - 8.0 * np.array([np.cos(np.radians(10)), np.sin(np.radians(10))]),
        axis=1,
    )
    assert (away < WIDTH).all()
    assert (new - old) != set()
    assert grooved(found, plain, None) is plain


def test_sizes_beside_a_groove_conform(tmp_path):
    record = made(disc(), tmp_path, wish())
    assert [g.feature_id for g in record.seams.grooves] == ["bore-01", "boss-01"]
    assert all(size.conforms for size in record.verification.sizes)
    written = measure.read_mesh(tmp_path / "out.stl")
    corners = written.vertices[np.abs(written.vertices[:, 2] - 6.0) < 1e-6, :2]
    radii = np.hypot(*corners.T)
    seat = np.radians(groove_of(record, "boss-01").bearing)
    beside = np.abs(np.arctan2(corners[:, 1], corners[:, 0]) - seat) > 0.1
    # Outside measure: every corner of the rims beside the grooves lies on its circle.
    off = np.minimum(np.abs(radii - 16.1 / 2), np.abs(radii - 7.1 / 2))
    assert off[beside].max() < 2e-6


# Where grooves end


def chamfered(chamfer: float) -> Mesh:
    """Return a boss of 12, 8 high, with a chamfer of 45 degrees, on a plate of 30."""
    return solid([
        outside(circle(15.0, 96), 0.0, 3.0),
        outside(circle(6.0, 96), 3.0, 11.0 - chamfer),
        outside(circle(6.0, 96), 11.0 - chamfer, 11.0, upper=circle(6.0 - chamfer, 96)),
    ])  # fmt: skip


def test_a_groove_runs_out_where_a_chamfer_is_as_deep_as_it_is(tmp_path):
    record = made(chamfered(0.6), tmp_path, wish(("boss-02", 90.0)))
    assert record.conforms
    groove = groove_of(record, "boss-02")
    ((low, high),) = groove.reach
    assert low == pytest.approx(3.0, abs=1e-6)  # on the plate, flush with it
    # 45 degrees: the chamfer has receded by the depth that far above its beginning.
    assert high == pytest.approx(10.4 + DEPTH, abs=0.002)
    radius = record.plan.of("boss-02").mesh_size / 2
    below = v_in_circle(radius, WIDTH, DEPTH, internal=False) * 7.4
    steps = (np.arange(400) + 0.5) / 400 * DEPTH
    above = (
        sum(v_of_apex(radius - z, radius - DEPTH, WIDTH / 2 / DEPTH) for z in steps)
        * DEPTH
        / 400
    )
    assert groove.volume == pytest.approx(below + above, abs=0.0012 * WIDTH * 7.5)
    written = measure.read_mesh(tmp_path / "out.stl")
    top = written.vertices[np.abs(written.vertices[:, 2] - 11.0) < 1e-6, :2]
    assert np.ptp(np.hypot(*top.T)) < 1e-5  # the rim above has no groove


def v_of_apex(radius: float, apex: float, slope: float) -> float:
    """Area between a circle and a V from an apex inside it, its sides at a slope."""
    way = np.array([1.0, slope]) / np.hypot(1.0, slope)
    b = apex * way[0]
    s = -b + np.sqrt(b * b - apex**2 + radius**2)
    angle = np.arctan2(s * way[1], apex + s * way[0])
    return radius**2 * angle - apex * radius * np.sin(angle)


def test_a_groove_goes_through_a_chamfer_that_is_shallower_than_it(tmp_path):
    record = made(chamfered(0.1), tmp_path, wish(("boss-02", 90.0)))
    assert record.conforms
    ((_, high),) = groove_of(record, "boss-02").reach
    assert high == pytest.approx(11.0, abs=1e-6)
    written = measure.read_mesh(tmp_path / "out.stl")
    top = written.vertices[np.abs(written.vertices[:, 2] - 11.0) < 1e-6]
    radius = record.plan.of("boss-02").mesh_size / 2
    assert top[:, 1].max() < radius - 0.1 + 1e-5
    apex = np.linalg.norm(top[:, :2] - (0.0, radius - DEPTH), axis=1).min()
    assert apex < 0.0011


def test_a_groove_runs_out_in_a_countersink(tmp_path):
    mesh = solid([
        outside(circle(12.0, 96), 0.0, 6.0),
        hole(circle(4.0, 96), 0.0, 4.5),
        hole(circle(4.0, 96), 4.5, 6.0, upper=circle(5.5, 96)),
    ])  # fmt: skip
    record = made(mesh, tmp_path, wish(("bore-01", 0.0)))
    assert record.conforms
    ((low, high),) = groove_of(record, "bore-01").reach
    assert low == 0.0
    assert high == pytest.approx(4.5 + DEPTH, abs=0.002)
    written = measure.read_mesh(tmp_path / "out.stl")
    rim = written.vertices[np.abs(written.vertices[:, 2] - 6.0) < 1e-6, :2]
    radii = np.hypot(*rim.T)
    assert np.ptp(radii[radii < 8]) < 1e-5  # the countersink's own rim is whole


def test_a_groove_in_a_blind_bore_ends_at_its_floor(tmp_path):
    blank = prism(circle(10.0, 96), [], 0.0, 9.0)
    drill = prism(circle(3.0, 96), [], 2.5, 20.0)
    record = made(cut_away([blank], [drill]), tmp_path, wish(("bore-01", 45.0)))
    assert record.conforms
    assert groove_of(record, "bore-01").reach == ((2.5, 9.0),)
    written = measure.read_mesh(tmp_path / "out.stl")
    assert area_at(written, 2.4) == pytest.approx(area_at(written, 1.0), abs=1e-6)


def test_a_feature_in_two_pieces_gets_a_groove_in_each_and_none_in_what_parts_them(
    tmp_path,
):
    flanged = solid([
        outside(circle(6.0, 96), 0.0, 4.0),
        outside(circle(11.0, 96), 4.0, 7.0),
        outside(circle(6.0, 96), 7.0, 12.0),
    ])  # fmt: skip
    record = made(flanged, tmp_path, wish())
    assert record.conforms
    whole = [g for g in record.seams.grooves if abs(g.seat[1] - 6.05) < 0.01]
    reach = sorted(r for g in whole for r in g.reach)
    assert np.array(reach) == pytest.approx(np.array([(0.0, 4.0), (7.0, 12.0)]))
    written = measure.read_mesh(tmp_path / "out.stl")
    assert len(measure.section(written, UP, 5.5)) == 1  # no hollow within the flange


# Choosing


def test_grooves_line_up_and_follow_the_one_that_was_asked_for(tmp_path):
    record = made(disc(), tmp_path, replace(wish(), features=(("bore-01", 200.0),)))
    assert {g.feature_id: g.bearing for g in record.seams.grooves} == {
        "bore-01": 200.0, "boss-01": 200.0,
    }  # fmt: skip
    reasons = {g.feature_id: g.reason for g in record.seams.grooves}
    assert reasons == {"bore-01": "asked for", "boss-01": "in line with the others"}


def test_without_any_reason_the_back_is_taken(tmp_path):
    record = made(disc(), tmp_path, wish())
    assert {g.bearing for g in record.seams.grooves} == {90.0}


def test_a_groove_stays_away_from_a_flat(tmp_path):
    # A shaft with a flat towards +X, which mates with that of a bore.
    d_shape = np.array([p for p in circle(9.0, 192) if p[0] < 6.3])
    mesh = prism(d_shape, [], 0.0, 8.0)
    record = made(mesh, tmp_path, wish(("boss-01", None)))
    groove = groove_of(record, "boss-01")
    assert groove.bearing == pytest.approx(180.0, abs=2.0)
    assert groove.reason == "away from what interrupts it"


def test_a_groove_goes_beside_a_keyway(tmp_path):
    key = np.array([(3.0, -1.0), (6.0, -1.0), (6.0, 1.0), (3.0, 1.0)])
    blank = prism(circle(11.0, 96), [circle(4.0, 192)], 0.0, 5.0)
    mesh = cut_away([blank], [prism(key, [], -1.0, 9.0)])
    record = made(mesh, tmp_path, wish(("bore-01", None)))
    groove = groove_of(record, "bore-01")
    assert groove.reason == "beside a keyway"
    edge = np.degrees(np.arcsin(1.0 / 4.05))
    away = abs((groove.bearing + 180) % 360 - 180) - edge
    arc = np.radians(away) * 4.05
    assert WIDTH < arc < 2.5 * WIDTH


def test_a_groove_goes_into_a_trough_of_lobes(tmp_path):
    turns = 2 * np.pi * np.arange(720) / 720
    radii = 12.0 + 0.8 * np.cos(5 * turns)  # troughs at 36, 108 ... degrees
    lobes = radii[:, None] * np.column_stack([np.cos(turns), np.sin(turns)])
    mesh = prism(lobes, [circle(3.0, 96)], 0.0, 5.0)
    record = made(mesh, tmp_path, wish(), meshcomp.ByHand())
    profile, bore = (groove_of(record, n) for n in ("profile-01", "bore-01"))
    assert profile.reason == "in a trough of its outline"
    assert (profile.bearing - 36.0) % 72.0 == pytest.approx(0.0, abs=1e-6)
    assert bore.bearing == profile.bearing  # lined up
    assert record.conforms


@pytest.mark.parametrize(
    ("mesh", "feature", "reason"),
    [
        (disc(bore=1.2), "bore-01", "too small: 1.200 mm is less than 4 widths"),
        (laid(disc(), "X"), "bore-01", "does not stand"),
        (
            prism(np.array([(0, 0), (20, 0), (20, 9), (0, 9.0)]), [], 0.0, 5.0),
            "wall-01",
            "a wall has no seam of its own",
        ),
        (disc(diameter=7.6), "boss-01", "thinner than a groove and one line"),
    ],
)
def test_a_feature_that_can_have_no_groove_is_refused_with_the_reason(
    mesh, feature, reason, tmp_path
):
    with pytest.raises(OptionError, match=f"{feature} can have no groove .*{reason}"):
        made(mesh, tmp_path, wish((feature, None)), meshcomp.ByHand())
    assert not (tmp_path / "out.stl").exists()


def lobes_of_two_heights() -> Mesh:
    """Return a lobed disc 4 high whose half towards +Y is 10 high, as one outline."""
    turns = 2 * np.pi * np.arange(360) / 360
    radii = 12.0 + 0.8 * np.cos(5 * turns)
    lobes = radii[:, None] * np.column_stack([np.cos(turns), np.sin(turns)])
    away = np.array([(-20.0, -20.0), (20.0, -20.0), (20.0, 0.0), (-20.0, 0.0)])
    return cut_away([prism(lobes, [], 0.0, 10.0)], [prism(away, [], 4.0, 20.0)])


def test_walls_of_two_heights_have_two_outlines_to_look_at():
    part = part_of(lobes_of_two_heights())
    found = meshcomp.inspect(part)
    profile = max(found.features, key=lambda f: len(f.faces))
    same = np.arange(len(part.mesh.faces))
    looks = [surface_of(profile, part.mesh, same, WIDTH, look) for look in range(3)]
    assert 0 < looks[0].height < 4 < looks[1].height < 10
    assert looks[2] == "it has no other outline"
    # All of it below; above, the half that ends in the plane y = 0.
    assert looks[0].centre == pytest.approx((0.0, 0.0), abs=0.3)
    (away,) = looks[1].radii(np.array([270.0]))
    assert looks[1].centre[1] == pytest.approx(away, abs=1e-6)
    assert away > 4.0


def test_the_tall_walls_are_taken_before_the_low_ones(tmp_path):
    record = made(lobes_of_two_heights(), tmp_path, wish(), meshcomp.ByHand())
    (groove,) = (g for g in record.seams.grooves if "trough" in g.reason)
    assert 0 < groove.bearing < 180
    assert groove.reach == ((0.0, 10.0),)
    assert record.conforms


def test_all_leaves_such_features_out_and_says_so(tmp_path):
    record = made(disc(bore=1.2), tmp_path, wish(), meshcomp.ByHand())
    assert [g.feature_id for g in record.seams.grooves] == ["boss-01"]
    ((name, reason),) = record.seams.left_out
    assert name == "bore-01"
    assert "too small" in reason


def test_a_bearing_at_which_the_surface_is_interrupted_is_refused(tmp_path):
    d_shape = np.array([p for p in circle(9.0, 192) if p[0] < 6.3])
    mesh = prism(d_shape, [], 0.0, 8.0)
    with pytest.raises(OptionError, match="no room at 0 degrees"):
        made(mesh, tmp_path, wish(("boss-01", 0.0)))


@pytest.mark.parametrize(
    "shape", [{"width": 0.05}, {"width": 9.0}, {"depth": 0.001}, {"depth": 0.5}]
)
def test_a_groove_that_cannot_be_is_refused(shape):
    with pytest.raises(OptionError, match="a groove"):
        wish(**shape)


# Together with other changes


def test_a_groove_and_a_foot_drawn_in(tmp_path):
    # Below the foot's height the wall leans in by less than the groove is deep.
    rule = meshcomp.ByHand(foot=Foot(growth=0.1, height=0.4, opens_bores=False))
    record = made(disc(), tmp_path, wish(("boss-01", 90.0)), rule)
    assert record.conforms
    groove = groove_of(record, "boss-01")
    assert groove.stretches[0][0] == pytest.approx(0.4, abs=0.02)
    assert groove.reach[0][0] == pytest.approx(0.0)
    assert crossings.crossing_faces(tmp_path / "out.stl") == 0


def test_a_groove_and_skewed_axes(tmp_path):
    rule = meshcomp.ByHand(
        bore_opening=0.1, axes=PrinterAxes(scale=(1.002, 0.999, 1.0), skew=0.003)
    )
    record = made(disc(), tmp_path, wish(), rule)
    assert record.conforms
    assert len(record.seams.grooves) == 2


# The proof and the reports


def test_the_proof_names_a_groove_that_is_missing_or_shifted():
    found = meshcomp.inspect(part_of(disc()))
    plain = meshcomp.compensate(found, meshcomp.plan(found, meshcomp.ByHand()))
    cut = grooved(found, plain, wish(("boss-01", 90.0)))
    (check,) = groove_checks(cut.seams, cut.part.mesh)
    assert check.passed
    (check,) = groove_checks(cut.seams, plain.part.mesh)
    assert not check.passed
    assert check.figure.endswith("not so: boss-01")
    apex = np.array(cut.seams.grooves[0].apex)
    for shift in ((0.004, 0.0, 0.0), (0.0, 0.004, 0.0)):
        vertices = cut.part.mesh.vertices.copy()
        at = np.linalg.norm(vertices[:, :2] - apex, axis=1) < 1e-4
        vertices[at] += shift
        (check,) = groove_checks(cut.seams, cut.part.mesh.moved(vertices))
        assert not check.passed


def kinked(outline, heights, leans) -> Mesh:
    """Two prisms on each other whose rings stand out by so much at their heights."""
    low, high = (prism(outline, [], *heights[k : k + 2]) for k in (0, 1))
    corners = np.concatenate([low.corners, high.corners])
    corners = corners[(np.abs(corners[..., 2] - heights[1]) > 1e-9).any(axis=1)]
    flat = corners[..., :2]
    out = np.interp(corners[..., 2], heights, leans)[..., None]
    corners[..., :2] += flat / np.linalg.norm(flat, axis=-1, keepdims=True) * out
    vertices, faces = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    return Mesh(vertices, faces.reshape(-1, 3))


@pytest.mark.parametrize("lean", [0.0028, -0.0028])
def test_a_groove_is_proved_in_a_surface_that_wavers_as_far_as_it_may(lean, tmp_path):
    # Where the V leaves such a surface changes with the height, and the V does not.
    angles = np.arange(300) * 2 * np.pi / 300
    radii = 10 + 0.6 * np.cos(5 * angles)
    outline = np.column_stack([radii * np.cos(angles), radii * np.sin(angles)])
    leaning = kinked(outline, (0.0, 2.0, 6.0), (0.0, 0.0, lean))
    record = made(leaning, tmp_path, wish(), meshcomp.ByHand())
    (groove,) = record.seams.grooves
    (check,) = (c for c in record.verification.checks if "grooves" in c.name)
    assert check.passed, check.figure
    # By shapely: the V is deeper where its surface stands out, its area by the square.
    written = measure.read_mesh(tmp_path / "out.stl")
    low, amid, high = (area_at(leaning, z) - area_at(written, z) for z in (1.0, 4.0, 5.9))
    for area, deeper in ((low, -lean / 2), (amid, 0.0), (high, lean * 1.9 / 4)):
        assert area == pytest.approx(groove.area * (1 + deeper / DEPTH) ** 2, rel=2e-3)


def test_reports_tell_of_the_grooves_and_warn(tmp_path):
    record = made(disc(bore=1.2), tmp_path, wish())
    text, page = record_text(record), record_html(record)
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "1 seat for the seam was cut." in text
    assert " ".join(SEAM_LINE.split()) in " ".join(text.split())
    assert SEAM_LINE in page
    told = json.loads(json.dumps(record_json(record)))["seams"]
    groove = record.seams.grooves[0]
    assert told["grooves"][0]["area"] == groove.area
    assert told["grooves"][0]["apex"][0][:2] == list(groove.apex)
    assert told["left_out"][0]["id"] == "bore-01"


def test_a_dry_run_plans_the_same_grooves(tmp_path):
    record = made(disc(), tmp_path, wish(), meshcomp.ByHand(bore_opening=0.1))
    plan = meshcomp.plan_part(
        part_of(disc()), meshcomp.ByHand(bore_opening=0.1), seams=wish()
    )
    assert [(g.feature_id, g.bearing) for g in plan.seams.grooves] == [
        (g.feature_id, g.bearing) for g in record.seams.grooves
    ]
    assert "2 seats for the seam would be cut." in record_text(plan)


def run(*words: str):
    return CliRunner().invoke(app, ["compensate", *words])


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--seam-groove", "boss-01@east"], "give ID, ID@DEGREES"),
        (["--seam-groove", "@90"], "give ID, ID@DEGREES"),
        (["--seam-groove", "boss-77"], "no feature 'boss-77'"),
        (["--groove-depth", "0.1"], "need --seam-groove"),
    ],
)
def test_wrong_options_are_refused(words, message, tmp_path):
    meshcomp.write(part_of(disc()), tmp_path / "disc.stl")
    done = run(str(tmp_path / "disc.stl"), *words, "-o", str(tmp_path / "o.stl"))
    assert isinstance(done.exception, OptionError)
    assert message in str(done.exception)


def test_the_command_cuts_at_the_bearing_asked_for(tmp_path):
    meshcomp.write(part_of(disc()), tmp_path / "disc.stl")
    out = tmp_path / "o.stl"
    words = ["--seam-groove", "boss-01@-45", "--groove-width", "0.5", "--json"]
    done = run(str(tmp_path / "disc.stl"), *words, "-o", str(out))
    assert done.exit_code == 0, done.output
    told = json.loads(done.output)["seams"]
    assert told["grooves"][0]["bearing"] == 315.0
    assert told["depth"] == pytest.approx(0.5 / 3)
    assert crossings.crossing_faces(out) == crossings.open_edges(out) == 0


# Real parts


@pytest.mark.slow
@pytest.mark.skipif(not SOLIDS.is_dir(), reason="the real meshes are not here")
@pytest.mark.parametrize(
    "name", ["s03", "s11", "s16", "s35", "s36", "s39", "s41", "s43", "s48"]
)
def test_real_parts_are_sound_and_proved_with_grooves(name, tmp_path):
    source = SOLIDS / f"{name}.stl"
    record = meshcomp.compensate_part(
        meshcomp.read(source, up="+Z"),
        tmp_path / "out.stl",
        meshcomp.ByHand(bore_opening=0.2),
        seams=wish(),
    )
    assert record.seams.grooves
    assert [c for c in record.verification.checks if not c.passed] == []
    assert [s for s in record.verification.sizes if not s.conforms] == []
    before = crossings.crossing_faces(source)
    assert crossings.crossing_faces(tmp_path / "out.stl") <= before
    assert crossings.open_edges(tmp_path / "out.stl") == 0


def test_a_groove_that_would_spoil_the_mesh_is_left_out_or_refused(monkeypatch):
    from meshcomp.errors import UnsoundResultError
    from meshcomp.grooving import cutting

    found = meshcomp.inspect(part_of(disc()))
    plain = meshcomp.compensate(found, meshcomp.plan(found, meshcomp.ByHand()))
    cut = cutting._cut  # noqa: SLF001

    def spoils_the_bore(before, planned):
        bores = [
            np.array([*g.seat, 1.0]) for g, _, _ in planned if g.feature_id == "bore-01"
        ]
        return (*cut(before, planned)[:2], bores[0] if len(planned) == 2 else None)

    monkeypatch.setattr(cutting, "_cut", spoils_the_bore)
    made_ = grooved(found, plain, wish())
    assert [g.feature_id for g in made_.seams.grooves] == ["boss-01"]
    assert made_.seams.left_out == (("bore-01", "the cut would leave no clean mesh"),)
    with pytest.raises(UnsoundResultError, match="the groove of bore-01 leaves no clean"):
        grooved(found, plain, wish(("bore-01", None), ("boss-01", None)))
