"""One correction per feature, with its sign, its reason and its overrides.

Signs and sizes are the definitions of the glossary: an offset is along the outward normal,
so it adds material where it is positive; the law inverted is checked by its own forward
direction, computed here from the coefficients.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from outside import plane

import meshcomp
from meshcomp.errors import OptionError

MODELS = Path(__file__).parents[1] / "models"
EVERYTHING = meshcomp.ByHand(
    wall_growth=0.05, pocket_opening=0.04, bore_opening=0.2, boss_growth=0.12
)


def found(name):
    return meshcomp.inspect(meshcomp.demo_part(name))


def by_kind(name, rule, **overrides):
    inspection = found(name)
    plan = meshcomp.plan(inspection, rule, **overrides)
    return [(f, plan.of(f.id)) for f in inspection.features]


@pytest.mark.parametrize(
    "name", ["bearing_plate", "shaft_spacer", "indexing_wheel", "stepper_bracket", "knob"]
)
def test_sizes_change_by_what_was_asked_and_offsets_have_their_sign(name):
    change = {"bore": 0.2, "boss": 0.12, "wall": 0.1, "distance": 0.1, "slot": 0.08}
    for feature, correction in by_kind(name, EVERYTHING):
        if feature.nominal_size is None:
            assert correction.mesh_size is None
            assert correction.correction is None
            offset = -0.04 if feature.is_internal else 0.05
            assert correction.offset == pytest.approx(offset)
            continue
        wanted = change[feature.kind]
        assert correction.correction == pytest.approx(wanted)
        sign = -1 if feature.is_internal else 1
        assert correction.offset == pytest.approx(sign * wanted / 2)
        assert not correction.is_left_alone


def test_a_boss_grows_by_twice_the_wall_growth_unless_said_otherwise():
    rule = meshcomp.ByHand(wall_growth=0.05)
    pairs = by_kind("shaft_spacer", rule)
    (boss,) = [c for f, c in pairs if f.kind == "boss"]
    assert boss.mesh_size == pytest.approx(12.1)


def test_a_boss_growth_of_zero_leaves_bosses_alone():
    pairs = by_kind("shaft_spacer", meshcomp.ByHand(wall_growth=0.05, boss_growth=0.0))
    (boss,) = [c for f, c in pairs if f.kind == "boss"]
    assert boss.is_left_alone
    assert boss.reason == "by hand: nothing asked for"


def test_a_law_replaces_the_opening_and_follows_the_size():
    rule = meshcomp.ByHand(bore_opening=9.0, bore_law="0.12 + 0.45/d")
    for feature, correction in by_kind("bearing_plate", rule):
        if feature.kind == "bore":
            d = feature.nominal_size
            assert correction.mesh_size == pytest.approx(d + 0.12 + 0.45 / d)
        else:
            assert correction.is_left_alone


def test_nothing_asked_for_leaves_everything_alone():
    for feature, correction in by_kind("bearing_plate", meshcomp.ByHand()):
        assert correction.is_left_alone
        assert correction.offset == 0.0
        assert correction.mesh_size == feature.nominal_size


def test_kept_features_are_left_alone_and_say_so():
    for feature, correction in by_kind("bearing_plate", EVERYTHING, keep=("bore-02",)):
        assert correction.is_left_alone == (feature.id == "bore-02")
        if correction.is_left_alone:
            assert correction.reason == "kept as asked"
            assert correction.mesh_size == feature.nominal_size


def test_set_sizes_replace_the_rule():
    plan = meshcomp.plan(found("bearing_plate"), EVERYTHING, sizes={"bore-01": 5.0})
    assert plan.of("bore-01").mesh_size == 5.0
    assert plan.of("bore-01").reason == "set as asked"


@pytest.mark.parametrize("option", ["keep", "sizes"])
def test_unknown_ids_are_refused(option):
    value = ("bore-77",) if option == "keep" else {"bore-77": 3.0}
    with pytest.raises(OptionError, match="no feature 'bore-77' in this part: see the ids"):
        meshcomp.plan(found("bearing_plate"), EVERYTHING, **{option: value})


def test_keeping_and_setting_one_feature_is_refused():
    with pytest.raises(OptionError, match="bore-01 is to be kept and set"):
        meshcomp.plan(
            found("bearing_plate"), EVERYTHING, keep=("bore-01",), sizes={"bore-01": 5.0}
        )


def test_a_profile_has_no_size_to_set():
    with pytest.raises(OptionError, match="profile-01 is a profile and has no size"):
        meshcomp.plan(found("bearing_plate"), EVERYTHING, sizes={"profile-01": 5.0})


def test_a_size_below_zero_is_refused():
    with pytest.raises(OptionError, match=r"corrected size would be -0\.7 mm"):
        meshcomp.plan(found("bearing_plate"), meshcomp.ByHand(bore_opening=-5.0))


def test_one_feature_set_below_zero_is_refused_though_others_stay():
    with pytest.raises(OptionError, match=r"bore-01: the corrected size would be -1 mm"):
        meshcomp.plan(
            found("bearing_plate"),
            meshcomp.ByHand(bore_opening=0.1),
            sizes={"bore-01": -1.0},
        )


def test_corrections_come_in_the_order_of_the_features():
    inspection = found("pin_ring")
    plan = meshcomp.plan(inspection, EVERYTHING)
    assert [c.feature_id for c in plan.corrections] == [f.id for f in inspection.features]
    assert [c.kind for c in plan.corrections] == [f.kind for f in inspection.features]


def test_the_plan_says_in_words_what_was_asked():
    plan = meshcomp.plan(found("shaft_spacer"), EVERYTHING)
    assert plan.source == (
        "by hand: walls +0.05 a side, pockets +0.04 a side, bores +0.2, bosses +0.12 mm"
    )
    assert plan.source_sha256 is None


@pytest.fixture(scope="module")
def calibrated():
    record = meshcomp.read_calibration(MODELS / "calibration.json")
    return meshcomp.Calibrated(model=record.model, sha256=record.sha256)


@pytest.mark.parametrize("name", ["bearing_plate", "shaft_spacer", "stepper_bracket"])
def test_a_calibrated_size_prints_as_its_nominal_by_the_law_itself(name, calibrated):
    terms = {
        "constant": lambda x: x**0,
        "scale": lambda x: x,
        "inverse": lambda x: 1 / x,
    }
    seen = 0
    for feature, correction in by_kind(name, calibrated):
        if correction.is_left_alone or feature.nominal_size is None:
            continue
        if feature.kind == "distance":
            continue  # what its walls are corrected by is theirs
        name_of_law = correction.reason.removeprefix("calibration for ").split(";")[0]
        law = calibrated.model.law(name_of_law)
        x = correction.mesh_size
        deviation = sum(
            c * terms[term](x) for term, c in zip(law.terms, law.coefficients, strict=True)
        )
        assert x + deviation == pytest.approx(feature.nominal_size, abs=1e-9)
        seen += 1
    assert seen >= 2


def test_a_size_aimed_at_is_what_the_law_prints(calibrated):
    rule = replace(calibrated, targets={"bore-01": 8.1})
    for feature, correction in by_kind("shaft_spacer", rule):
        law = calibrated.model.laws[feature.kind]
        target = 8.1 if feature.id == "bore-01" else feature.nominal_size
        assert correction.target_size == target
        assert law.printed_size(correction.mesh_size) == pytest.approx(target, abs=1e-9)


@pytest.mark.parametrize(
    ("name", "message"),
    [("bore-9", "no feature 'bore-9'"), ("profile-01", "has no size to aim at")],
)
def test_only_sizes_that_are_there_can_be_aimed_at(calibrated, name, message):
    with pytest.raises(OptionError, match=message):
        meshcomp.plan(found("knob"), replace(calibrated, targets={name: 8.1}))


def test_a_feature_without_a_law_is_left_alone_and_says_which(calibrated):
    kinds = {c.kind for _, c in by_kind("bearing_plate", calibrated) if c.is_left_alone}
    for _, correction in by_kind("bearing_plate", calibrated):
        if correction.is_left_alone:
            assert "no calibration for" in correction.reason
    assert "bore" not in kinds


def test_a_plan_with_a_calibration_carries_its_hash(calibrated):
    plan = meshcomp.plan(found("shaft_spacer"), calibrated)
    assert plan.source_sha256 == calibrated.sha256
    assert len(plan.source_sha256) == 64


def leaning_hole(folder, degrees):
    """Inspect a plate with a hexagonal hole that leans; six sides make no bore."""
    turns = np.pi / 3 * np.arange(6)
    hexagon = 3.0 * np.column_stack([np.cos(turns), np.sin(turns)]) + 15.0
    outline = np.array([(0, 0), (40, 0), (40, 30), (0, 30)], dtype=float)
    mesh = plane.prism([outline, hexagon[::-1]], 0.0, 10.0)
    vertices = mesh.vertices.copy()
    inside = (vertices[:, 0] > 5) & (vertices[:, 0] < 35)
    inside &= (vertices[:, 1] > 5) & (vertices[:, 1] < 25)
    shift = vertices[inside, 2] * np.tan(np.radians(degrees))
    vertices[inside, 0] += shift
    lines = [f"v {x!r} {y!r} {z!r}\n" for x, y, z in vertices.tolist()]
    lines += [f"f {a + 1} {b + 1} {c + 1}\n" for a, b, c in mesh.faces.tolist()]
    (folder / "plate.obj").write_text("".join(lines), encoding="utf-8")
    return meshcomp.inspect(meshcomp.read(folder / "plate.obj", up="+Z"))


@pytest.mark.parametrize(("degrees", "is_said"), [(0, False), (40, True)])
def test_a_pocket_whose_walls_lean_is_not_taken_for_a_proved_bore(
    degrees, is_said, tmp_path
):
    inspection = leaning_hole(tmp_path, degrees)
    plan = meshcomp.plan(inspection, meshcomp.ByHand(pocket_opening=0.05, bore_opening=0.2))
    pockets = [
        plan.of(f.id) for f in inspection.features if f.is_internal and f.kind == "profile"
    ]
    flags = [flag for correction in pockets for flag in correction.flags]
    assert bool(flags) == is_said
    if is_said:
        assert all("its diameter is not proved" in flag for flag in flags)
