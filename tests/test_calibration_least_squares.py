from __future__ import annotations

import numpy as np
import pytest
from reference import nist_strd as nist

from meshcomp.calibration.least_squares import weighted_least_squares
from meshcomp.errors import CalibrationError

DIGITS = 5e-10  # relative: at least nine significant digits


def _polynomial(certified, powers):
    x = nist.columns(certified["x"])
    return np.column_stack([x**p for p in powers]), nist.columns(certified["y"])


SETS = {
    "Norris": (*_polynomial(nist.NORRIS, (0, 1)), nist.NORRIS),
    "Pontius": (*_polynomial(nist.PONTIUS, (0, 1, 2)), nist.PONTIUS),
    "NoInt1": (*_polynomial(nist.NOINT1, (1,)), nist.NOINT1),
    "Longley": (
        np.column_stack([np.ones(16), nist.longley_columns()[0]]),
        nist.longley_columns()[1],
        nist.LONGLEY,
    ),
}


@pytest.mark.parametrize("name", SETS)
def test_certified_values_of_nist_come_out_to_nine_digits(name):
    design, observed, certified = SETS[name]
    found = weighted_least_squares(design, observed)
    assert found.coefficients == pytest.approx(certified["coefficients"], rel=DIGITS)
    deviations = np.sqrt(np.diag(found.covariance))
    assert deviations == pytest.approx(certified["standard_deviations"], rel=DIGITS)
    assert found.residual_sd == pytest.approx(certified["residual_sd"], rel=DIGITS)


def test_the_thermometer_of_the_gum_comes_out_as_printed():
    # JCGM 100:2008 (GUM), annex H.3: correction of a thermometer, table H.6 and text.
    t = nist.columns(
        "21.521 22.012 22.512 23.003 23.507 23.999 24.513 25.002 25.503 26.010 26.511"
    )
    b = -nist.columns("0.171 0.169 0.166 0.159 0.164 0.165 0.156 0.157 0.159 0.161 0.160")
    line = weighted_least_squares(np.column_stack([np.ones(11), t - 20]), b)
    c = line.covariance
    assert [round(float(v), 4) for v in (line.coefficients[0], c[0, 0] ** 0.5)] == [
        -0.1712,
        0.0029,
    ]
    assert [round(float(v), 5) for v in (line.coefficients[1], c[1, 1] ** 0.5)] == [
        0.00218,
        0.00067,
    ]
    assert round(float(c[0, 1] / np.sqrt(c[0, 0] * c[1, 1])), 3) == -0.930
    assert round(line.residual_sd, 4) == 0.0035
    at = np.array([1.0, 10.0])
    assert round(float(at @ line.coefficients), 4) == -0.1494
    assert round(float(np.sqrt(at @ c @ at)), 4) == 0.0041


def test_weights_act_as_repeated_rows():
    rng = np.random.default_rng(3)
    design, observed = rng.normal(size=(6, 2)), rng.normal(size=6)
    times = np.array([1, 2, 3, 1, 4, 2])
    weighted = weighted_least_squares(design, observed, times)
    repeated = weighted_least_squares(
        np.repeat(design, times, axis=0), np.repeat(observed, times)
    )
    assert weighted.coefficients == pytest.approx(repeated.coefficients, rel=1e-12)
    assert weighted.cofactors == pytest.approx(repeated.cofactors, rel=1e-12)
    assert weighted.sum_of_squares == pytest.approx(repeated.sum_of_squares, rel=1e-12)


def test_leverages_are_the_diagonal_of_the_hat_matrix():
    x = np.column_stack([np.ones(5), [1.0, 2.0, 4.0, 8.0, 16.0]])
    hat = x @ np.linalg.inv(x.T @ x) @ x.T
    found = weighted_least_squares(x, np.arange(5.0))
    assert found.leverages == pytest.approx(np.diag(hat), rel=1e-12)


def test_too_few_readings_are_refused():
    with pytest.raises(CalibrationError, match="1 readings do not determine 2 coeff"):
        weighted_least_squares([[1.0, 2.0]], [1.0])


def test_one_size_does_not_determine_a_slope():
    with pytest.raises(CalibrationError, match="measure more sizes"):
        weighted_least_squares([[1.0, 2.0], [1.0, 2.0], [1.0, 2.0]], [1.0, 2.0, 3.0])


def test_without_degrees_of_freedom_there_is_no_covariance():
    found = weighted_least_squares([[2.0]], [4.0])
    assert found.coefficients.tolist() == [2.0]
    assert found.residual_sd is None
    with pytest.raises(CalibrationError, match="without degrees of freedom"):
        _ = found.covariance
