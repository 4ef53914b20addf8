"""Lying bores: width and height apart, and roofs, against elementary geometry.

Sources: two tangents of a circle of radius r at 45 degrees meet at r sqrt(2) above its
centre; cut level with its top they leave a width of 2 r (sqrt(2) - 1) (elementary
geometry). The written files are measured by tests/outside/measure.py and numpy.
"""

from __future__ import annotations

from math import pi, radians, sin, sqrt

import build123d as bd
import numpy as np
import pytest
from outside import exact, measure
from outside.crossings import crossing_faces, crossing_marks, open_edges
from outside.solids import tessellated
from typer.testing import CliRunner

import meshcomp
from meshcomp.cli import app
from meshcomp.corrections import ByHand, Calibrated
from meshcomp.deviations import ProcessModel, SizeLaw
from meshcomp.errors import OptionError
from meshcomp.lying_bores import Roof
from meshcomp.reports import record_text
from meshcomp.scenario.outlines import circle
from meshcomp.scenario.prisms import laid, prism

SEAT = 22.0  # the bracket's lying bore along Y
WIDTH = SEAT + 0.2


@pytest.fixture(scope="module")
def bracket():
    return meshcomp.inspect(meshcomp.demo_part("stepper_bracket"))


def seat(found):
    return next(f for f in found.cylinders if f.nominal_size == SEAT)


def made(found, **rule):
    plan = meshcomp.plan(found, ByHand(**rule))
    return plan, meshcomp.compensate(found, plan)


def outline(found, result):
    """Corners of the seat in a section across its axis: level, and upwards, mm."""
    bore = seat(found)
    rings = measure.section(result.part.mesh, bore.direction, 2.5)
    away = [(ring - bore.point)[:, [0, 2]] for ring in rings]
    return next(r for r in away if 0.4 * SEAT < np.hypot(*r.T).min() < 0.6 * SEAT)


def area(ring):
    x, y = ring.T
    return abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2


def test_width_and_height_are_had_apart(bracket):
    _, result = made(bracket, bore_opening=0.2, lying_opening=0.35)
    ring = outline(bracket, result)
    assert np.ptp(ring[:, 0]) == pytest.approx(WIDTH, abs=0.001)
    assert np.ptp(ring[:, 1]) == pytest.approx(SEAT + 0.35, abs=0.001)
    a, b = WIDTH / 2, (SEAT + 0.35) / 2
    assert np.abs(np.hypot(ring[:, 0] / a, ring[:, 1] / b) - 1).max() < 1e-4
    assert area(ring) == pytest.approx(pi * a * b, rel=2e-4)


def test_a_pointed_roof_meets_at_r_sqrt_2(bracket):
    _, result = made(bracket, bore_opening=0.2, roof=Roof(shape="pointed"))
    ring = outline(bracket, result)
    r = WIDTH / 2
    assert ring[:, 1].max() == pytest.approx(r * sqrt(2), abs=0.001)
    assert ring[:, 1].min() == pytest.approx(-r, abs=0.001)
    assert np.ptp(ring[:, 0]) == pytest.approx(WIDTH, abs=0.001)
    # The circle, its upper quarter sector replaced by the square on its two radii.
    assert area(ring) == pytest.approx(r**2 * (3 * pi / 4 + 1), rel=2e-4)


def test_a_flat_roof_is_2r_sqrt_2_less_1_wide(bracket):
    _, result = made(bracket, bore_opening=0.2, roof=Roof(shape="flat"))
    ring = outline(bracket, result)
    r = WIDTH / 2
    assert ring[:, 1].max() == pytest.approx(r, abs=0.001)
    top = ring[ring[:, 1] > r - 0.001]
    assert np.ptp(top[:, 0]) == pytest.approx(2 * r * (sqrt(2) - 1), abs=0.002)


@pytest.mark.parametrize("overhang", [30.0, 40.0, 60.0])
def test_the_roof_leans_as_asked(bracket, overhang):
    roof = Roof(shape="pointed", overhang=overhang)
    _, result = made(bracket, roof=roof)
    ring = outline(bracket, result)
    r = SEAT / 2
    assert ring[:, 1].max() == pytest.approx(r / sin(radians(overhang)), abs=0.001)
    side = ring[(ring[:, 1] > r * sin(radians(overhang)) + 0.01) & (ring[:, 0] > 0.01)]
    slopes = (r / sin(radians(overhang)) - side[:, 1]) / side[:, 0]
    assert np.degrees(np.arctan(1 / slopes)) == pytest.approx(overhang, abs=0.05)


@pytest.mark.parametrize("shape", ["pointed", "flat"])
def test_below_the_tangents_the_bore_stays_round(bracket, shape):
    _, result = made(bracket, bore_opening=0.2, roof=Roof(shape=shape))
    ring = outline(bracket, result)
    low = ring[ring[:, 1] < WIDTH / 2 * sqrt(0.5) - 0.01]
    assert 2 * np.hypot(*low.T) == pytest.approx(WIDTH, abs=0.0021)


@pytest.mark.parametrize(
    "rule",
    [
        {"bore_opening": 0.2, "lying_opening": 0.35, "wall_growth": -0.05},
        {"bore_opening": 0.2, "roof": Roof(shape="pointed"), "wall_growth": 0.05},
        {"roof": Roof(shape="flat", overhang=35)},
    ],
)
def test_the_result_is_sound_and_proved(bracket, rule):
    _, result = made(bracket, **rule)
    assert crossing_faces(result.part.mesh) == 0
    assert open_edges(result.part.mesh) == 0
    proof = meshcomp.verify(bracket, result, result.part)
    assert proof.conforms, [c for c in proof.checks if not c.passed]


def test_the_proof_sees_a_height_that_is_not_as_planned(bracket):
    """Judged by another plan than it was made by, the same mesh must fail."""
    _, low = made(bracket, bore_opening=0.2, lying_opening=0.35)
    other, _ = made(bracket, bore_opening=0.2, lying_opening=0.36)
    judged = meshcomp.verify(bracket, _with_plan(low, other), low.part)
    failed = {s.feature_id for s in judged.sizes if not s.conforms}
    assert seat(bracket).id in failed


@pytest.mark.parametrize("shape", ["pointed", "flat"])
def test_the_proof_sees_a_roof_that_is_missing(bracket, shape):
    _, plain = made(bracket, bore_opening=0.2)
    other, _ = made(bracket, bore_opening=0.2, roof=Roof(shape=shape))
    judged = meshcomp.verify(bracket, _with_plan(plain, other), plain.part)
    assert seat(bracket).id in {s.feature_id for s in judged.sizes if not s.conforms}


def _with_plan(result, plan):
    from dataclasses import replace

    return replace(result, plan=plan)


def _law(constant):
    return SizeLaw(
        terms=("constant",),
        coefficients=[constant],
        covariance=[[1e-6]],
        repeatability=0.02,
        degrees_of_freedom=8.0,
        valid_from=2.0,
        valid_to=30.0,
    )


def test_each_prints_at_its_target_by_its_own_law(bracket):
    laws = {"lying bore width": _law(-0.15), "lying bore height": _law(-0.3)}
    plan = meshcomp.plan(bracket, Calibrated(model=ProcessModel(laws=laws)))
    ring = outline(bracket, meshcomp.compensate(bracket, plan))
    assert np.ptp(ring[:, 0]) - 0.15 == pytest.approx(SEAT, abs=0.001)
    assert np.ptp(ring[:, 1]) - 0.3 == pytest.approx(SEAT, abs=0.001)


def test_without_a_law_of_heights_the_bore_stays_round_and_says_so(bracket):
    laws = {"lying bore width": _law(-0.15)}
    plan = meshcomp.plan(bracket, Calibrated(model=ProcessModel(laws=laws)))
    correction = plan.of(seat(bracket).id)
    assert correction.lying is None
    assert any("no calibration for lying bore height" in flag for flag in correction.flags)


def test_standing_bores_get_no_roof(bracket):
    plan, _ = made(bracket, roof=Roof(shape="flat"))
    standing = [f.id for f in bracket.cylinders if f.build_angle < 1]
    assert standing
    assert all(plan.of(name).lying is None for name in standing)


@pytest.mark.parametrize(
    ("wishes", "words"),
    [
        ({"shape": "gothic"}, "give pointed or flat"),
        ({"shape": "flat", "overhang": 85.0}, "15 to 75 degrees from upright"),
    ],
)
def test_impossible_roofs_are_refused(wishes, words):
    with pytest.raises(OptionError, match=words):
        Roof(**wishes)


def test_a_roof_that_has_no_room_is_held_back_and_named(tmp_path):
    """A pointed roof over a bore of 10 ends 7.07 above its axis, and the tube at 6."""
    rings = [circle(6.0, 96)], [circle(5.0, 96)]
    tube = laid(prism(rings[0][0], rings[1], 0.0, 8.0), "Y")
    none = np.zeros(len(tube.faces), np.int64)
    part = meshcomp.demo_part("knob").with_mesh(tube, none)
    rule = ByHand(roof=Roof(shape="pointed"))
    record = meshcomp.compensate_part(part, tmp_path / "out.stl", rule)
    (limit,) = (x for x in record.limits if x.feature_id == "bore-01")
    assert limit.wanted == pytest.approx(5 - 5 * sqrt(2), abs=1e-6)
    assert limit.wanted < limit.used <= 0
    assert [c.name for c in record.verification.checks if not c.passed] == []
    assert crossing_faces(tmp_path / "out.stl") == 0


@pytest.mark.parametrize("shape", ["flat", "pointed"])
@pytest.mark.parametrize("across", [1.2, 2.6])
def test_a_roof_keeps_its_shape_where_a_bore_comes_in_from_above(shape, across):
    """The B-rep kernel's block; two tangents at 45 degrees, and the circle below them."""
    lying = bd.Rot(0, 90, 0) * bd.Cylinder(4, 40)
    block = bd.Box(30, 20, 20) - lying - bd.Pos(3, 0, 8) * bd.Cylinder(across, 16)
    mesh = tessellated(block, 0.01, 0.2)
    part = meshcomp.demo_part("knob").with_mesh(mesh, np.zeros(len(mesh.faces), np.int64))
    found = meshcomp.inspect(part)
    _, result = made(found, bore_opening=0.2, roof=Roof(shape=shape))
    assert result.limits == ()
    # What pymeshlab marks is decided without rounding.
    pairs = exact.pairs_at(result.part.mesh, crossing_marks(result.part.mesh))
    assert set(exact.verdicts(result.part.mesh, pairs)) <= {"apart"}
    bore = next(f for f in found.cylinders if abs(f.direction[0]) > 0.9)
    proof = meshcomp.verify(found, result, result.part)
    assert next(s for s in proof.sizes if s.feature_id == bore.id).conforms
    mine = np.isin(result.parents, bore.faces)
    y, z = np.abs(result.part.mesh.corners[mine].reshape(-1, 3)[:, 1:].T)
    up = result.part.mesh.corners[mine].reshape(-1, 3)[:, 2] > 0
    leaning = (y + z) / sqrt(2)  # how far out along the normal of the roof's side
    outside = np.maximum(leaning, z) if shape == "flat" else leaning
    reach = np.where(up & (z > 4.1 / sqrt(2)), outside, np.hypot(y, z))
    assert reach == pytest.approx(np.full(len(reach), 4.1), abs=0.001)


def test_a_roof_alone_is_told_as_one(bracket, tmp_path):
    source = bracket.part
    rule = ByHand(roof=Roof(shape="flat"))
    record = meshcomp.compensate_part(source, tmp_path / "out.stl", rule)
    text = " ".join(record_text(record).split())
    assert "given a roof or another height" in text
    assert "by 0.000 mm" not in text


def test_the_command_roofs_lying_bores(tmp_path):
    source, out = tmp_path / "part.stl", tmp_path / "out.stl"
    meshcomp.write(meshcomp.demo_part("stepper_bracket"), source)
    arguments = ["compensate", source, "-o", out, "--up", "+Z", "--roof", "pointed"]
    result = CliRunner().invoke(app, [str(argument) for argument in arguments])
    assert result.exit_code == 0, result.output
    assert "pointed roof at 45 degrees" in (tmp_path / "out.stl.report.json").read_text(
        encoding="utf-8"
    )
