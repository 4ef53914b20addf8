"""What may be chosen for each feature: that a plan file of it comes to the same."""

from __future__ import annotations

import pytest

import meshcomp
from meshcomp.calibration.record import invented_calibration_path
from meshcomp.intents import Aim
from meshcomp.intents.choices import head_of, toml_keys
from meshcomp.intents.planfile import read_plan
from meshcomp.offers import offers_for
from meshcomp.rules import Calibrated
from meshcomp.tolerances import parse_zone

PARTS = ("bearing_plate", "shaft_spacer", "lobed_disc", "stepper_bracket")


@pytest.fixture(scope="module")
def record():
    return meshcomp.read_calibration(invented_calibration_path())


def rule_of(record, **stated):
    return Calibrated(model=record.model, feels=record.feels, **stated)


def plan_file(path, found, choice, head="schema = 1\n"):
    blocks = [
        f'[[intent]]\npick = "{feature.id}"\n'
        + "".join(f"{key} = {value}\n" for key, value in offer.keys)
        for feature, offer in zip(found.features, choice, strict=True)
        if offer is not None and offer.keys
    ]
    path.write_text(head + "\n".join(blocks), encoding="utf-8")
    return path


@pytest.mark.parametrize("name", PARTS)
def test_every_offer_written_into_a_plan_file_gives_the_size_it_tells(
    name, record, tmp_path
):
    found = meshcomp.inspect(meshcomp.demo_part(name))
    offers = offers_for(found, rule_of(record)).of_features
    assert len(offers) == len(found.features)
    ready = [[o for o in of_one if o.typed is None] for of_one in offers]
    distances = [not of_one for of_one in offers]
    assert distances == [f.kind == "distance" for f in found.features]
    for number in range(max(map(len, ready))):
        choice = [
            of_one[min(number, len(of_one) - 1)] if of_one else None for of_one in ready
        ]
        intents = read_plan(plan_file(tmp_path / "plan.toml", found, choice))
        decided = meshcomp.plan(found, rule_of(record, intents=intents))
        for offer, correction in zip(choice, decided.corrections, strict=True):
            outlook = correction.outlook
            if offer is None:
                assert correction.reason.startswith("follows from ")
                continue
            if ("keep", "true") in offer.keys:
                assert correction.is_left_alone
            elif not correction.is_left_alone and offer.target is not None:
                assert correction.target_size == pytest.approx(offer.target, abs=1e-9)
            assert outlook.probability == pytest.approx(offer.probability)
            assert outlook.lower == offer.lower
            assert outlook.low == pytest.approx(offer.low, abs=1e-9)


@pytest.mark.parametrize(
    ("label", "limits"),
    [
        # ISO 286-2: 22 H7 +21/0, 22 N7 -7/-28, 22 F8 +53/+20 um.
        ("H7", (22.0, 22.021)),
        ("N7", (21.972, 21.993)),
        ("F8", (22.02, 22.053)),
        # ISO 273, medium: 22 mm for M20; H13 of 22 mm is 0.33 mm.
        ("screw M20 medium", (22.0, 22.33)),
    ],
)
def test_limits_offered_are_those_of_the_standards(label, limits, record):
    found = meshcomp.inspect(meshcomp.demo_part("bearing_plate"))
    seat = [f.id for f in found.features].index("bore-04")
    offers = offers_for(found, rule_of(record)).of_features[seat]
    offer = next(o for o in offers if o.label == label)
    assert (offer.lower, offer.upper) == pytest.approx(limits, abs=5e-7)


def test_what_was_stated_is_the_first_offer_and_says_the_same_again(record, tmp_path):
    text = """schema = 1
probability = 0.8

[material]
name = "PETG"
modulus = 2000.0
poisson = 0.4
allowable_stress = 15.0

[[intent]]
pick = "bore 22"
part = "bearing 608"
feel = "press"
hub_diameter = 30.0

[[intent]]
pick = { kind = "bore", size = 5 }
counterpart = "5 m6"
name = "index pin"
clearance = [0.02, 0.1]

[[intent]]
pick = "slot 6"
tolerance = "+0.15/+0.05"

[[intent]]
pick = "profile-01"
gap = 0.05

[[intent]]
pick = "wall-*"
keep = true
"""
    path = tmp_path / "plan.toml"
    path.write_text(text, encoding="utf-8")
    found = meshcomp.inspect(meshcomp.demo_part("bearing_plate"))
    rule = rule_of(record, intents=read_plan(path))
    offers = offers_for(found, rule)
    first = [of_one[0] for of_one in offers.of_features]
    again = read_plan(plan_file(tmp_path / "again.toml", found, first, offers.head))
    before, after = (
        meshcomp.plan(found, rule_of(record, intents=intents))
        for intents in (rule.intents, again)
    )
    assert sum(bool(offer.keys) for offer in first) == 7
    for one, two in zip(before.corrections, after.corrections, strict=True):
        assert one == two
    assert again.material == rule.intents.material
    assert again.probability == 0.8


def test_what_a_kit_wants_is_told_as_such_and_left_to_the_kit(record):
    found = meshcomp.inspect(meshcomp.demo_part("shaft_spacer"))
    aim = Aim(words="clearance from the wheel", place="kit", target=8.1)
    offers = offers_for(found, rule_of(record, aims={"bore-01": aim})).of_features
    assert offers[0][0].label == "as the kit wants: clearance from the wheel"
    assert (offers[0][0].keys, offers[0][0].target) == ((), 8.1)
    assert offers[1][0].label == "no intent: its nominal size"


@pytest.mark.parametrize("text", ["22 H7", "5 m6", "22 0/-0.009", "6 +0.15/+0.05"])
def test_a_zone_in_words_is_the_zone_again(text):
    assert parse_zone(parse_zone(text).in_words()) == parse_zone(text)


def test_keys_are_written_as_toml():
    assert toml_keys({"keep": True, "size": 8.05}) == (("keep", "true"), ("size", "8.05"))
    assert head_of(None) == "schema = 1\n"
