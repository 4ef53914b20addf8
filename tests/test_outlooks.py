"""What a plan foretells of each feature: against simulated prints and the formulas."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from outside import plane
from outside.solids import write_stl

import meshcomp
from meshcomp.calibration.record import invented_calibration_path
from meshcomp.capabilities import between
from meshcomp.corrections import Calibrated
from meshcomp.deviations import ProcessModel, design_matrix
from meshcomp.errors import OptionError
from meshcomp.inspections import Inspection
from meshcomp.plans import Plan

DRAWS = 100_000
MATERIAL = '[material]\nname = "PETG"\nmodulus = 2000\npoisson = 0.4\nallowable_stress = '


@pytest.fixture(scope="module")
def plate() -> Inspection:
    return meshcomp.inspect(meshcomp.demo_part("bearing_plate"))


@pytest.fixture(scope="module")
def record():
    return meshcomp.read_calibration(invented_calibration_path())


@pytest.fixture
def planned(tmp_path: Path, plate: Inspection, record):
    def of(text: str, **options) -> Plan:
        path = tmp_path / "plan.toml"
        path.write_text(f"schema = 1\n{text}", encoding="utf-8")
        rule = Calibrated(
            model=options.pop("model", record.model),
            intents=meshcomp.read_plan(path),
            feels=record.feels,
            sha256="00",
        )
        return meshcomp.plan(options.pop("part", plate), rule, **options)

    return of


def _intent(pick: str, *lines: str) -> str:
    return "\n".join(["[[intent]]", f"pick = {pick}", *lines, ""])


def _drawn_prints(law, mesh_size: float, rng: np.random.Generator) -> np.ndarray:
    """Draw prints of one mesh size: coefficients, their scale and repeatability anew."""
    scale = np.sqrt(law.degrees_of_freedom / rng.chisquare(law.degrees_of_freedom, DRAWS))
    root = np.linalg.cholesky(law.covariance)
    shifts = rng.standard_normal((DRAWS, len(law.terms))) @ root.T * scale[:, None]
    row = design_matrix([mesh_size], law.terms)[0]
    scatter = law.repeatability * scale * rng.standard_normal(DRAWS)
    return mesh_size + (law.coefficients + shifts) @ row + scatter


def test_the_mesh_prints_at_the_middle_of_what_is_wanted(planned, record):
    decided = planned(_intent('"bore 22"', 'tolerance = "H11"')).of("bore-04")
    law = record.model.laws["bore"]

    assert decided.target_size == 22.065
    assert law.printed_size(decided.mesh_size) == pytest.approx(22.065, abs=1e-9)
    assert decided.outlook.predicted == pytest.approx(22.065, abs=1e-9)
    assert (decided.outlook.low, decided.outlook.high) == law.prediction_interval(
        decided.mesh_size
    )


@pytest.mark.parametrize(
    ("lines", "clearances"),
    [
        (['tolerance = "H11"'], None),
        (['tolerance = "H7"'], None),
        (['tolerance = "H11"', "aim = 22.02"], None),
        (['part = "bearing 608"', "clearance = [0.0, 0.06]"], (21.991, 22.0, 0.0, 0.06)),
        (
            ['counterpart = "22 +0.1/-0.1"', "clearance = [-0.05, 0.1]"],
            (21.9, 22.1, -0.05, 0.1),
        ),
    ],
)
def test_drawn_prints_meet_the_intent_as_often_as_said(planned, record, lines, clearances):
    """100,000 prints; a bought counterpart anywhere between its limits, as likely."""
    rng = np.random.default_rng(22)
    decided = planned(_intent('"bore 22"', *lines)).of("bore-04")
    prints = _drawn_prints(record.model.laws["bore"], decided.mesh_size, rng)
    if clearances is None:
        low, high = decided.outlook.lower, decided.outlook.upper
        met = (prints >= low) & (prints <= high)
    else:
        smallest, largest, least, most = clearances
        play = prints - rng.uniform(smallest, largest, DRAWS)
        met = (play >= least) & (play <= most)

    assert decided.outlook.probability == pytest.approx(met.mean(), abs=0.01)


def test_the_gap_of_a_profile(planned, record):
    """A flank has half of the law's constant, and of two flanks' scatter its share."""
    rng = np.random.default_rng(3)
    decided = planned(_intent('"profile-02"', "gap = [0.03, 0.09]")).of("profile-02")
    law = record.model.laws["outside x"]
    found = decided.outlook

    # Outside, growing by half of 0.1 mm a side: moved back by that and by the gap.
    assert decided.offset == pytest.approx(-0.05 - 0.06)
    assert found.is_gap
    assert found.predicted == pytest.approx(0.06)
    scale = np.sqrt(law.degrees_of_freedom / rng.chisquare(law.degrees_of_freedom, DRAWS))
    constant = np.sqrt(law.covariance[0, 0]) * rng.standard_normal(DRAWS)
    flank = law.repeatability / np.sqrt(2) * rng.standard_normal(DRAWS)
    gaps = 0.06 - scale * (constant / 2 + flank)
    met = (gaps >= 0.03) & (gaps <= 0.09)
    assert found.probability == pytest.approx(met.mean(), abs=0.01)
    inside = (gaps >= found.low) & (gaps <= found.high)
    assert inside.mean() == pytest.approx(0.95, abs=0.01)


def test_a_gap_takes_material_off_inside_walls_too(planned):
    plain = planned("").of("profile-01")
    apart = planned(_intent('"profile-01"', "gap = 0.05")).of("profile-01")

    assert apart.offset == pytest.approx(plain.offset - 0.05)
    assert plain.outlook.predicted == pytest.approx(0.0)
    assert apart.outlook.predicted == pytest.approx(0.05)
    assert apart.outlook.probability is None  # a gap without limits is only aimed at


def test_what_is_not_sure_enough_falls_short(planned):
    text = _intent('"bore 22"', 'tolerance = "H7"') + _intent('"bore 16"', "size = 16.1")
    decided = planned(text)
    sure = planned("probability = 0.1\n" + text)
    own = planned(_intent('"bore 22"', 'tolerance = "H7"', "probability = 0.2"))

    assert [c.feature_id for c in decided.shortfalls] == ["bore-04"]
    assert (
        "30.0 of 100 prints meet it, 95 are asked"
        in decided.shortfalls[0].outlook.shortfall
    )
    assert decided.of("bore-04").outlook.is_met is False
    assert decided.of("bore-06").outlook.is_met is True  # aimed at, nothing to miss
    assert decided.of("bore-05").outlook.is_met is None  # nothing stated
    assert sure.shortfalls == own.shortfalls == ()


def test_what_is_kept_is_foretold_as_drawn(planned, record):
    decided = planned(_intent('"bore 22"', "keep = true")).of("bore-04")

    assert decided.is_left_alone
    assert decided.reason == "kept by the plan"
    assert decided.outlook.predicted == pytest.approx(
        record.model.laws["bore"].printed_size(decided.nominal_size)
    )
    assert decided.outlook.shortfall is None


def test_a_size_set_by_hand_is_judged_by_the_intent(planned, record):
    text = _intent('"bore 22"', 'tolerance = "H11"')
    decided = planned(text, sizes={"bore-04": 22.0}).of("bore-04")
    kept = planned(text, keep=("bore-04",)).of("bore-04")

    # 22 mm in the mesh prints at 21.88 mm: under every limit of H11.
    assert decided.outlook.predicted == pytest.approx(
        record.model.laws["bore"].printed_size(22.0)
    )
    assert decided.outlook.probability < 0.01
    assert decided.outlook.shortfall is not None
    assert kept.outlook.probability == pytest.approx(decided.outlook.probability, abs=1e-3)


def test_an_intent_without_a_law_falls_short_and_says_why(planned, record):
    bosses = ProcessModel(laws={"boss": record.model.laws["boss"]})
    decided = planned(
        _intent('"bore 22"', 'tolerance = "H11"') + _intent('"bore 16"', "keep = true"),
        model=bosses,
    )

    assert [c.feature_id for c in decided.shortfalls] == ["bore-04"]
    assert (
        decided.shortfalls[0].outlook.shortfall == "not aimed at: no calibration for bore"
    )
    assert decided.of("bore-06").outlook.is_met is True


def test_a_press_that_would_split_falls_short(planned):
    seat = _intent('"bore 22"', 'part = "bearing 608"', "interference = [0, 0.2]")
    seat += "hub_diameter = 26\n"
    weak = planned(MATERIAL + "3\n" + seat).of("bore-04").outlook
    strong = planned(MATERIAL + "60\n" + seat).of("bore-04").outlook

    assert strong.shortfall is None
    assert weak.shortfall.startswith("would split: ")
    assert strong.warnings[0].startswith("pressed by up to 0.1")
    assert "plastic creeps" in strong.warnings[0]
    # The tightest of 95 of 100 prints, on the largest ring of 22.000 mm.
    assert f"up to {22.0 - strong.low:.3f} mm" in strong.warnings[0]


def test_a_press_without_material_or_hub_asks_for_them(planned):
    seat = _intent('"bore 22"', 'part = "bearing 608"', 'feel = "press"')
    bare = planned(seat).of("bore-04").outlook
    hubless = planned(MATERIAL + "60\n" + seat).of("bore-04").outlook

    assert any("state its material" in words for words in bare.warnings)
    assert any("state the diameter of its hub" in words for words in hubless.warnings)


def test_a_single_interference_is_a_press_too(planned):
    found = planned(_intent('"bore 5"', 'part = "dowel 5"', "interference = 0.05"))

    warnings = found.of("bore-03").outlook.warnings
    assert any("state its material" in words for words in warnings)
    # 0.11 mm at most on 5 mm: over 2 %.
    assert any(words.startswith("strained by 2.") for words in warnings)


def test_what_slides_is_not_warned_of_pressing(planned):
    found = planned(_intent('"bore 22"', 'part = "bearing 608"', 'feel = "free"'))

    assert found.of("bore-04").outlook.warnings == ()


def test_without_a_plan_every_size_is_foretold_at_nominal(plate, record):
    decided = meshcomp.plan(plate, Calibrated(model=record.model))

    assert decided.intents_source is None
    for correction in decided.corrections:
        assert correction.outlook.intent is None
        if correction.mesh_size is not None:
            assert correction.outlook.predicted == pytest.approx(correction.nominal_size)


def test_by_hand_nothing_is_foretold(plate):
    decided = meshcomp.plan(plate, meshcomp.ByHand(bore_opening=0.2))

    assert {c.outlook for c in decided.corrections} == {None}
    assert decided.shortfalls == ()


def test_the_quadrature_over_a_counterpart_is_exact_enough():
    """Against the mean over many equally likely shifts, for narrow and wide ones."""
    for shift in (0.005, 0.05, 0.5):
        shifts = (np.arange(20_000) + 0.5) / 20_000 * 2 * shift - shift
        plain = np.mean([between((-0.03 + s, 0.05 + s), 0.02, 7.0) for s in shifts[::20]])
        assert between((-0.03, 0.05), 0.02, 7.0, shift=shift) == pytest.approx(
            plain, abs=2e-3
        )


def test_a_plan_must_go_with_the_part(planned):
    with pytest.raises(OptionError, match=r"plan.toml, line 2: no feature 'bore-77'"):
        planned(_intent('"bore-77"', "keep = true"))


def _circle(diameter: float, place: tuple[float, float]) -> np.ndarray:
    turns = 2 * np.pi * np.arange(64) / 64
    return diameter / 2 * np.column_stack([np.cos(turns), np.sin(turns)]) + place


def test_what_was_held_back_is_foretold_as_it_was_made(tmp_path: Path, record):
    """Two bores whose rims nearly touch: they cannot grow, and print too small."""
    outline = np.array([(-20, -10), (20, -10), (20, 10), (-20, 10)], dtype=float)
    bores = [_circle(8, (x, 0.0))[::-1] for x in (-4.05, 4.05)]
    write_stl(plane.prism([outline, *bores], 0, 5), tmp_path / "plate.stl")
    path = tmp_path / "plan.toml"
    path.write_text(
        "schema = 1\n" + _intent('"bore 8"', 'tolerance = "8 +0.2/-0.05"'), encoding="utf-8"
    )
    rule = Calibrated(model=record.model, sha256="00", intents=meshcomp.read_plan(path))
    part = meshcomp.read(tmp_path / "plate.stl", up="+Z")

    made = meshcomp.compensate_part(part, tmp_path / "out.stl", rule)
    planned = meshcomp.plan_part(part, rule).plan.of("bore-01")
    held = made.plan.of("bore-01")
    (achieved,) = [s.achieved for s in made.verification.sizes if s.feature_id == "bore-01"]

    assert "bore-01" in {limit.feature_id for limit in made.limits}
    assert planned.outlook.predicted == pytest.approx(8.075)
    assert held.mesh_size == planned.mesh_size  # the plan stays what it was
    assert held.outlook.predicted == pytest.approx(
        record.model.laws["bore"].printed_size(achieved)
    )
    assert held.outlook.probability < planned.outlook.probability
    assert held.outlook.shortfall is not None
