from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from meshcomp.calibration.estimate import calibrate, estimate_calibration
from meshcomp.calibration.record import read_calibration, write_calibration
from meshcomp.calibration.results import Conditions
from meshcomp.errors import CalibrationError
from meshcomp.measurements.readings import Instrument, Reading
from meshcomp.reports.calibration import calibration_text

CONDITIONS = Conditions(
    printer="bench", material="PETG", nozzle=0.4, layer_height=0.2, line_width=0.44
)
FINE = Instrument(name="comparator", resolution=1e-6)
SIZES = (2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 14.0, 20.0, 25.0, 30.0)


def _reading(size, deviation, kind="bore", name=None, **changes):
    fields = {
        "piece": "first",
        "feature_id": name or f"F{size:g}",
        "kind": kind,
        "nominal_size": size,
        "mesh_size": size,
        "values": (size + deviation,),
        "instrument": FINE,
        "source": f"bench.csv, line {size:g}",
    }
    return Reading(**(fields | changes))


def _calibrated(readings, previous=None):
    return estimate_calibration(readings, conditions=CONDITIONS, previous=previous)


def _noisy(rng, law, sizes=SIZES, sd=0.02, **changes):
    return [_reading(x, law(x) + rng.normal(0, sd), **changes) for x in sizes]


@pytest.fixture
def bores():
    return _noisy(np.random.default_rng(4), lambda x: -0.1 - 0.4 / x)


@pytest.mark.parametrize(
    ("kind", "terms", "coefficients"),
    [
        ("bore", ("constant",), (-0.12,)),
        ("bore", ("constant", "inverse"), (-0.1, -0.4)),
        ("boss", ("constant", "inverse"), (0.06, 0.1)),
        ("slot", ("scale", "constant"), (-0.003, -0.14)),
        ("outside x", ("scale", "constant"), (-0.002, 0.1)),
        ("lying bore height", ("scale", "constant", "inverse"), (0.002, -0.17, -0.45)),
    ],
)
def test_a_noiseless_law_of_the_family_is_found_again(kind, terms, coefficients):
    powers = {"scale": 1, "constant": 0, "inverse": -1}

    def law(x):
        return sum(a * x ** powers[t] for t, a in zip(terms, coefficients, strict=True))

    found = _calibrated([_reading(x, law(x), kind) for x in SIZES]).model.laws[kind]
    assert found.terms == terms
    assert found.coefficients == pytest.approx(coefficients, abs=1e-9)
    assert (found.valid_from, found.valid_to) == (2.0, 30.0)


def test_the_law_agrees_with_the_least_squares_of_scipy():
    # Outside reference: scipy.stats.linregress, coefficients and standard errors.
    readings = _noisy(np.random.default_rng(2), lambda x: 0.1 - 0.004 * x, kind="slot")
    x = np.array([r.mesh_size for r in readings])
    line = stats.linregress(x, [r.values[0] - r.mesh_size for r in readings])
    law = _calibrated(readings).model.laws["slot"]
    assert law.terms == ("scale", "constant")
    assert law.coefficients == pytest.approx([line.slope, line.intercept], rel=1e-6)
    errors = np.sqrt(np.diag(law.covariance))
    assert errors == pytest.approx([line.stderr, line.intercept_stderr], rel=1e-6)
    assert law.degrees_of_freedom == 10.0


def test_aicc_is_that_of_its_formula(bores):
    # Hurvich and Tsai 1989, from scipy's normal density at the largest likelihood.
    deviations = np.array([r.values[0] - r.mesh_size for r in bores])
    sigma = deviations.std()
    likelihood = stats.norm(deviations.mean(), sigma).logpdf(deviations).sum()
    expected = -2 * likelihood + 2 * 2 + 2 * 2 * 3 / (12 - 2 - 1)
    constant = _calibrated(bores).study("bore").candidates[0]
    assert constant.terms == ("constant",)
    assert constant.aicc == pytest.approx(expected, abs=1e-6)


def test_a_term_that_is_not_supported_is_named(bores):
    notes = " ".join(_calibrated(bores).study("bore").notes)
    assert "a change in proportion to size is not supported (AICc" in notes


def test_one_reading_gives_a_constant_and_says_so():
    calibration = _calibrated([_reading(8.0, -0.15)])
    law, study = calibration.model.laws["bore"], calibration.study("bore")
    assert law.terms == ("constant",)
    assert law.coefficients.tolist() == pytest.approx([-0.15], abs=1e-12)
    assert "measured at 8 mm only: nothing is known of how" in study.notes[0]
    assert study.repeatability_origin == "assumed: 0.05 mm, common practice"
    low, high = law.prediction_interval(8.0)
    # Student's t for 2 degrees of freedom: 4.303 (GUM, table G.2).
    assert (high - low) / 2 == pytest.approx(4.303 * 0.05 * np.sqrt(2), rel=1e-3)


def test_five_bores_give_a_sane_law_with_a_wide_band():
    rng = np.random.default_rng(8)
    readings = _noisy(rng, lambda x: -0.1 - 0.4 / x, (3.0, 5.0, 8.0, 12.0, 20.0))
    law = _calibrated(readings).model.laws["bore"]
    for x in (3.0, 8.0, 20.0):
        low, high = law.prediction_interval(x)
        assert low < x - 0.1 - 0.4 / x < high
        assert 0.05 < high - low < 0.6


def test_a_kind_of_one_reading_takes_the_repeatability_of_the_others(bores):
    calibration = _calibrated([*bores, _reading(10.0, 0.06, "boss")])
    bore, boss = (calibration.model.laws[kind] for kind in ("bore", "boss"))
    assert boss.repeatability == pytest.approx(bore.repeatability, rel=1e-12)
    assert boss.degrees_of_freedom == bore.degrees_of_freedom
    origin = calibration.study("boss").repeatability_origin
    assert origin == "taken from the other kinds, pooled"


def test_repeat_readings_of_one_print_do_not_count_as_prints(bores):
    thrice = [
        _reading(r.mesh_size, 0.0, values=r.values * 3, name=r.feature_id) for r in bores
    ]
    once, more = (_calibrated(r).model.laws["bore"] for r in (bores, thrice))
    assert more.degrees_of_freedom == once.degrees_of_freedom
    assert more.repeatability == pytest.approx(once.repeatability, rel=1e-6)


def test_the_accuracy_of_the_instrument_shifts_the_whole_law(bores):
    # GUM, 4.3.7: limits of ±a have the standard uncertainty a/√3, common to all.
    stated = Instrument(name="caliper", resolution=1e-6, accuracy=0.03)
    known = [_reading(r.mesh_size, 0.0, values=r.values, instrument=stated) for r in bores]
    plain, shifted = (_calibrated(r).model.laws["bore"] for r in (bores, known))
    assert shifted.coefficients == pytest.approx(plain.coefficients, abs=1e-12)
    for x in (2.0, 8.0, 30.0):
        more = shifted.standard_uncertainty(x) ** 2 - plain.standard_uncertainty(x) ** 2
        assert more == pytest.approx(0.03**2 / 3, rel=1e-6)


def test_the_noise_of_readings_is_not_taken_for_the_process():
    rng = np.random.default_rng(12)
    coarse = Instrument(name="caliper", resolution=0.01)
    found = []
    for _ in range(100):
        readings = []
        for x in SIZES * 2:
            true = x - 0.12 + rng.normal(0, 0.02)
            values = tuple((true + rng.normal(0, 0.02, 2)).tolist())
            name = f"F{len(readings)}"
            readings.append(
                _reading(x, 0.0, "slot", name, values=values, instrument=coarse)
            )
        found.append(_calibrated(readings).model.laws["slot"].repeatability ** 2)
    # Scatter about the law is 0.02² + 0.02²/2: without the split it would be 0.0006.
    assert np.mean(found) == pytest.approx(0.0004, rel=0.1)


def test_gauges_and_calipers_are_estimated_together(bores):
    gauged = [
        _reading(
            x, 0.0, values=(), instrument=None, go_size=x - 0.25, no_go_size=x - 0.05,
            name=f"G{x:g}",
        )
        for x in (8.0, 10.0, 14.0)
    ]  # fmt: skip
    calibration = _calibrated([*bores, *gauged])
    study, law = calibration.study("bore"), calibration.model.laws["bore"]
    assert (study.features, study.intervals) == (15, 3)
    assert law.coefficients == pytest.approx([-0.1, -0.4], abs=0.06)
    assert study.residuals[-1].deviation is None
    assert study.residuals[-1].lower == pytest.approx(-0.25, abs=1e-12)


def test_gauges_alone_bound_the_constant():
    gauged = [
        _reading(x, 0.0, values=(), go_size=x - 0.2, no_go_size=x)
        for x in (6.0, 10.0, 14.0, 20.0)
    ]
    law = _calibrated(gauged).model.laws["bore"]
    assert law.coefficients.tolist() == pytest.approx([-0.1], abs=1e-6)
    # A step of 0.2 mm has the standard uncertainty 0.2/√12 for each gauge.
    assert 0.02 < law.standard_uncertainty(10.0) < 0.058


def test_a_gauge_that_only_went_in_gives_no_law_and_says_why():
    calibration = _calibrated([_reading(8.0, 0.0, values=(), go_size=7.8)])
    assert calibration.model.law("bore") is None
    assert "bound the size on one side only" in calibration.study("bore").notes[0]
    assert "bound the size on one side" in calibration_text(calibration)


def test_an_outlier_is_named_and_kept(bores):
    wrong = [*bores]
    wrong[5] = _reading(6.0, -0.1 - 0.4 / 6 + 0.2)
    study = _calibrated(wrong).study("bore")
    (outlier,) = study.outliers
    assert outlier.source == "bench.csv, line 6"
    assert outlier.p_value < 0.01
    assert study.features == 12
    assert "Student's t with Bonferroni" in outlier.test


def test_a_drifted_printer_is_noticed_and_a_steady_one_is_not(bores):
    old = _calibrated(bores)
    rng = np.random.default_rng(6)
    for shift, has_drifted in ((0.0, False), (0.1, True)):
        new = _noisy(
            rng, lambda x, s=shift: -0.1 - 0.4 / x + s, (4.0, 8.0, 20.0), piece="second"
        )
        joint = _calibrated(new, previous=old)
        drift = joint.study("bore").drift
        assert drift.has_drifted is has_drifted
        assert drift.mean_shift == pytest.approx(shift, abs=0.03)
        assert len(joint.readings) == 15


def test_the_joint_estimate_is_that_of_all_readings_at_once(bores):
    new = _noisy(
        np.random.default_rng(6), lambda x: -0.1 - 0.4 / x, (4.0, 8.0), piece="second"
    )
    joint = _calibrated(new, previous=_calibrated(bores)).model.laws["bore"]
    at_once = _calibrated([*bores, *new]).model.laws["bore"]
    assert joint.coefficients.tolist() == at_once.coefficients.tolist()
    assert joint.covariance.tolist() == at_once.covariance.tolist()


def test_a_reading_of_the_older_record_is_not_counted_twice(bores):
    with pytest.raises(CalibrationError, match=r"line 2: F2 of piece first is in the old"):
        _calibrated(bores, previous=_calibrated(bores))


def test_a_compensated_part_is_judged_at_its_mesh_size(bores):
    part = _reading(8.0, 0.0, mesh_size=8.15, values=(8.0,), name="bore-1")
    residual = _calibrated([*bores, part]).study("bore").residuals[-1]
    assert residual.size == 8.15
    assert residual.deviation == pytest.approx(-0.15, abs=1e-12)


def test_nothing_to_calibrate_by_is_refused():
    with pytest.raises(CalibrationError, match="there is no reading to calibrate by"):
        _calibrated([])


def test_kinds_that_were_not_measured_are_named(bores):
    notes = _calibrated(bores).notes
    assert "slot: not measured; such features are left alone" in notes
    assert not any(note.startswith("bore:") for note in notes)


def test_tables_become_a_record_that_reads_the_same(tmp_path, bores):
    table = tmp_path / "bench.csv"
    rows = [f"{r.feature_id},bore,{r.mesh_size},{r.values[0]!r}" for r in bores]
    text = "\n".join(["id,kind,nominal_size,reading", *rows, "B99,bore,9,"])
    table.write_text(text + "\n", encoding="utf-8")
    calibration = calibrate([table], conditions=CONDITIONS)
    assert "left blank: bench B99" in calibration.notes
    write_calibration(calibration, tmp_path / "c.json")
    again = read_calibration(tmp_path / "c.json")
    assert again.studies == calibration.studies
    assert again.readings == calibration.readings
    assert calibration_text(again) == calibration_text(calibration)


def test_the_text_tells_what_was_found(bores):
    wrong = [*bores, _reading(5.0, 0.3, name="odd")]
    text = calibration_text(_calibrated(wrong)).replace("\n", " ").replace("  ", " ")
    for words in (
        "measured from 2 to 30 mm",
        "Suspect: first odd",
        "Slot: not measured; such features are left alone.",
        "To learn most, measure next:",
    ):
        assert words in text
    assert max(map(len, calibration_text(_calibrated(wrong)).splitlines())) <= 80
