from __future__ import annotations

from math import hypot

import numpy as np
import pytest
from scipy import stats
from simulated_bench import CONDITIONS

from meshcomp.calibration.estimate import estimate_calibration
from meshcomp.calibration.judging import drift_test, lack_of_fit
from meshcomp.calibration.least_squares import weighted_least_squares
from meshcomp.calibration.observations import observations, reading_scatter
from meshcomp.calibration.specials import flare_of, flow_of, skew_of
from meshcomp.deviations import SizeLaw, design_matrix
from meshcomp.errors import CalibrationError
from meshcomp.measurements.designs import d_efficiency, d_optimal_sizes, next_sizes
from meshcomp.measurements.readings import Instrument, Reading

FINE = Instrument(name="comparator", resolution=1e-6)


def _reading(kind, size, *values, piece="p", instrument=FINE):
    return Reading(
        piece=piece,
        feature_id=f"{kind} {size}",
        kind=kind,
        nominal_size=size,
        mesh_size=size,
        values=values,
        instrument=instrument,
    )


def test_a_sheared_square_tells_its_skew():
    side, angle = 60.0, 0.004
    nominal = side * 2**0.5
    plus = hypot(side + angle * side, side)
    minus = hypot(side - angle * side, side)
    readings = [
        _reading("diagonal +", nominal, plus + 0.1),
        _reading("diagonal -", nominal, minus + 0.1),
    ]
    skew, words = skew_of(readings, 0.02, {})
    # Walls that grew by 0.1 mm change it in the second order only.
    assert skew.angle == pytest.approx(angle, rel=2e-3)
    assert skew.standard_uncertainty == pytest.approx(2**0.5 * 0.02 / nominal, rel=1e-6)
    assert words == ""


def test_a_skew_below_twice_its_uncertainty_is_left_out_and_said_so():
    readings = [
        _reading("diagonal +", 80.0, 80.01),
        _reading("diagonal -", 80.0, 80.0),
    ]
    skew, words = skew_of(readings, 0.02, {})
    assert skew is None
    assert "not supported" in words


def test_one_diagonal_alone_tells_nothing():
    skew, words = skew_of([_reading("diagonal +", 80.0, 80.1)], 0.02, {})
    assert skew is None
    assert "not measured" in words


def test_the_foot_is_compared_with_the_sizes_above_it():
    readings = [
        _reading("outside x", 30.0, 30.1),
        _reading("outside y", 30.0, 30.14),
        _reading("outside x", 60.0, 99.0),
        _reading("foot", 30.0, 30.32),
    ]
    flare, words = flare_of(readings, height=0.4, repeatability=0.02, scatter={})
    assert flare.growth == pytest.approx(0.1, abs=1e-12)
    # Half of foot less the mean of two: (1 + 1/2)/4 of 0.02².
    assert flare.standard_uncertainty == pytest.approx(0.02 * (1.5 / 4) ** 0.5, rel=1e-6)
    assert not words


def test_a_flare_below_twice_its_uncertainty_is_left_out():
    readings = [_reading("outside x", 30.0, 30.1), _reading("foot", 30.0, 30.11)]
    flare, words = flare_of(readings, height=0.4, repeatability=0.02, scatter={})
    assert flare is None
    assert "not supported" in words


def test_the_flow_is_intended_over_measured():
    # The example of the trade: 0.44 intended, 0.45 measured (common practice, no source).
    flow = flow_of([_reading("strip", 0.44, 0.44, 0.45, 0.46)])
    assert round(flow.ratio, 3) == 0.978
    # scipy.stats.sem: standard error of the mean of the readings.
    error = stats.sem([0.44, 0.45, 0.46])
    assert flow.standard_uncertainty == pytest.approx(0.44 / 0.45**2 * error, rel=1e-6)


def test_the_flow_knows_its_instrument():
    coarse = Instrument(name="caliper", resolution=0.01, accuracy=0.02)
    flow = flow_of([_reading("strip", 0.44, 0.45, instrument=coarse)])
    expected = 0.44 / 0.45**2 * (0.01**2 / 12 + 0.02**2 / 3) ** 0.5
    assert flow.standard_uncertainty == pytest.approx(expected, rel=1e-9)


def test_strips_of_two_thicknesses_have_no_common_flow():
    readings = [_reading("strip", 0.44, 0.45), _reading("strip", 0.6, 0.6)]
    with pytest.raises(CalibrationError, match=r"several thicknesses .*\(0\.44, 0\.6 mm\)"):
        flow_of(readings)


def test_scatter_is_pooled_as_in_the_handbook():
    # NIST/SEMATECH e-Handbook 2.4.4, level 3: deviations of 1 degree of freedom each.
    deviations = (0.0223, 0.0027, 0.0289, 0.0133, 0.0205)
    readings = [
        _reading("bore", 8.0, 8.0 + s / 2**0.5, 8.0 - s / 2**0.5) for s in deviations
    ]
    assert round(reading_scatter(readings)["comparator"], 4) == 0.0197


def test_a_mean_of_repeats_is_as_uncertain_as_the_gum_says():
    caliper = Instrument(name="caliper", resolution=0.01)
    readings = [
        _reading("bore", 8.0, 7.84, 7.86, instrument=caliper),
        _reading("bore", 9.0, 8.85, instrument=caliper),
    ]
    scatter = np.std([7.84, 7.86], ddof=1)
    expected = [(scatter**2 / m + 0.01**2 / 12) ** 0.5 for m in (2, 1)]
    assert observations(readings).uncertainties == pytest.approx(expected, rel=1e-9)


def _law(data, terms):
    found = weighted_least_squares(design_matrix(data.sizes, terms), data.lower)
    return SizeLaw(
        terms=terms,
        coefficients=found.coefficients,
        covariance=found.covariance,
        repeatability=found.residual_sd,
        degrees_of_freedom=float(found.degrees_of_freedom),
        valid_from=float(data.sizes.min()),
        valid_to=float(data.sizes.max()),
    )


def test_lack_of_fit_of_a_constant_is_the_analysis_of_variance_of_scipy():
    # Outside reference: scipy.stats.f_oneway, which tests equal means of groups.
    rng = np.random.default_rng(1)
    groups = {4.0: (3.8, 3.82, 3.81), 8.0: (7.84, 7.88), 20.0: (19.9, 19.87, 19.9)}
    readings = [
        _reading("bore", size, value + rng.normal(0, 1e-3))
        for size, values in groups.items()
        for value in values
    ]
    data = observations(readings, {})
    found = lack_of_fit(data, _law(data, ("constant",)))
    expected = stats.f_oneway(
        *([r.values[0] - size for r in readings if r.mesh_size == size] for size in groups)
    )
    assert found.statistic == pytest.approx(expected.statistic, rel=1e-6)
    assert found.p_value == pytest.approx(expected.pvalue, rel=1e-6)
    assert found.degrees_of_freedom == (2, 5)


def test_without_repeat_prints_there_is_no_lack_of_fit():
    data = observations([_reading("bore", x, x - 0.1 - 0.01 * x) for x in (2.0, 4.0, 9.0)])
    assert lack_of_fit(data, _law(data, ("constant",))) is None


def test_drift_of_one_reading_is_student_t_squared():
    # A single new reading: F(1, n) is the square of Student's t (scipy.stats.t).
    old = SizeLaw(
        terms=("constant",),
        coefficients=[-0.1],
        covariance=[[1e-4]],
        repeatability=0.02,
        degrees_of_freedom=8.0,
        valid_from=2.0,
        valid_to=30.0,
    )
    found = drift_test(observations([_reading("bore", 8.0, 7.95)], {}), old)
    t = 0.05 / (1e-4 + 4e-4 + 1e-12 / 12) ** 0.5
    assert found.statistic == pytest.approx(t**2, rel=1e-9)
    assert found.p_value == pytest.approx(2 * stats.t.sf(t, 8), rel=1e-9)


def test_drift_is_found_no_oftener_than_its_level():
    # Under the old law the p-value is uniform: scipy.stats.kstest.
    rng = np.random.default_rng(10)
    sizes = np.array([2.0, 3.0, 5.0, 8.0, 12.0, 20.0])
    p_values = []
    for _ in range(300):
        noise = rng.normal(0, 0.02, 9)
        first = [
            _reading("bore", x, x - 0.1 + e) for x, e in zip(sizes, noise, strict=False)
        ]
        new = [
            _reading("bore", x, x - 0.1 + e) for x, e in zip(sizes, noise[6:], strict=False)
        ]
        old = _law(observations(first, {}), ("constant",))
        p_values.append(drift_test(observations(new, {}), old).p_value)
    assert stats.kstest(p_values, "uniform").pvalue > 0.01


def test_d_optimal_sizes_beat_every_other_choice():
    # By trying all choices: nothing is D-optimal that another choice beats.
    from itertools import combinations

    terms = ("scale", "constant", "inverse")
    available = (2.0, 3.0, 4.0, 6.0, 9.0, 14.0, 20.0, 30.0)

    def determinant(sizes):
        design = design_matrix(sizes, terms)
        return np.linalg.det(design.T @ design)

    best = max(combinations(available, 5), key=determinant)
    chosen = d_optimal_sizes(available, terms, 5)
    assert determinant(chosen) == pytest.approx(determinant(best), rel=1e-9)
    assert d_efficiency(available, chosen, terms) < 1.0


def test_the_next_size_lowers_the_uncertainty_most():
    terms = ("constant", "inverse")
    present, available = [8.0, 10.0, 12.0], (2.0, 5.0, 9.0, 30.0)

    def determinant(size):
        design = design_matrix([*present, size], terms)
        return np.linalg.det(design.T @ design)

    assert next_sizes(available, terms, 1, present=present) == (
        max(available, key=determinant),
    )


def _flared(**more):
    readings = [_reading("outside x", 30.0, 30.1), _reading("foot", 30.0, 30.4)]
    return estimate_calibration(readings, conditions=CONDITIONS, **more)


def test_the_height_of_the_flare_is_two_layers_unless_it_was_seen():
    assumed, seen = _flared(), _flared(flare_height=0.6)
    assert assumed.model.flare.height == 2 * CONDITIONS.layer_height
    assert any("0.4 mm is taken for its height" in note for note in assumed.notes)
    assert seen.model.flare.height == 0.6
    assert not any("taken for its height" in note for note in seen.notes)


def test_an_older_record_tells_the_height_of_the_flare():
    more = _reading("outside y", 40.0, 40.1)
    updated = estimate_calibration(
        [more], conditions=CONDITIONS, previous=_flared(flare_height=0.6)
    )
    assert updated.model.flare.height == 0.6


def test_a_flare_as_high_as_the_part_is_refused():
    with pytest.raises(CalibrationError, match="got 20 mm"):
        _flared(flare_height=20.0)
