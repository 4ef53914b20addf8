from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.optimize import brentq

from meshcomp.deviations import ProcessModel, SizeLaw, design_matrix
from meshcomp.errors import CalibrationError

SCALES = st.floats(-0.02, 0.02)
CONSTANTS = st.floats(-0.4, 0.4)
INVERSES = st.floats(-0.6, 0.6)


def _law(terms=("constant", "inverse"), coefficients=(-0.1, -0.4), **changes):
    k = len(terms)
    fields = {
        "covariance": np.eye(k) * 1e-4,
        "repeatability": 0.02,
        "degrees_of_freedom": 8.0,
        "valid_from": 2.0,
        "valid_to": 30.0,
    }
    return SizeLaw(terms=terms, coefficients=coefficients, **(fields | changes))


@given(SCALES, CONSTANTS, INVERSES, st.floats(2.0, 200.0))
def test_the_mesh_size_prints_at_the_target(scale, constant, inverse, target):
    law = _law(("scale", "constant", "inverse"), (scale, constant, inverse))
    assert law.printed_size(law.mesh_size_for(target)) == pytest.approx(
        target, abs=1e-12 * 1e3
    )


@given(SCALES, CONSTANTS, INVERSES, st.floats(2.0, 200.0))
def test_inverting_agrees_with_a_root_finder(scale, constant, inverse, target):
    # Outside reference: scipy.optimize.brentq on the printed size, above its turning
    # point, where a larger mesh prints larger.
    law = _law(("scale", "constant", "inverse"), (scale, constant, inverse))
    low = max(np.sqrt(max(inverse, 0.0) / (1 + scale)), 1e-3)
    root = brentq(lambda x: law.printed_size(x) - target, low, 3 * target, xtol=1e-13)
    assert law.mesh_size_for(target) == pytest.approx(root, abs=1e-9)


def test_a_positive_inverse_has_two_roots_and_the_larger_is_taken():
    law = _law(coefficients=(0.0, 0.4))
    # 1 + 0.4/1 = 1.4 and 0.4 + 0.4/0.4 = 1.4 as well
    assert law.mesh_size_for(1.4) == pytest.approx(1.0, abs=1e-12)


def test_a_target_that_no_mesh_prints_is_refused_with_the_numbers():
    law = _law(coefficients=(0.0, 0.4))  # never prints below 2 sqrt(0.4) = 1.265 mm
    with pytest.raises(
        CalibrationError, match=r"no mesh size prints at 1\.2 mm.*2 to 30 mm"
    ):
        law.mesh_size_for(1.2)
    with pytest.raises(CalibrationError, match=r"no mesh size prints at 0\.05 mm"):
        _law(("constant",), (0.06,)).mesh_size_for(0.05)


def test_a_worked_bore_comes_out_by_hand_calculation():
    law = _law()
    assert law.deviation(8.0) == pytest.approx(-0.15, abs=1e-15)
    assert law.printed_size(8.0) == pytest.approx(7.85, abs=1e-15)
    # u² = 1e-4 + 1e-4/64
    assert law.standard_uncertainty(8.0) == pytest.approx(np.sqrt(1e-4 * 65 / 64))


def test_the_prediction_interval_uses_student_t_of_scipy():
    law = _law()
    u = np.sqrt(1e-4 * 65 / 64 + 0.02**2)
    expected = stats.t(df=8, loc=7.85, scale=u).interval(0.9)
    assert law.prediction_interval(8.0, 0.9) == pytest.approx(expected, abs=1e-12)


def test_prediction_agrees_with_the_straight_line_of_scipy():
    # Outside reference: textbook prediction variance s²(1 + x0' (X'X)^-1 x0), computed
    # from scipy.stats.linregress' standard errors.
    rng = np.random.default_rng(7)
    x = np.linspace(5, 100, 9)
    y = 0.1 - 0.001 * x + rng.normal(0, 0.02, 9)
    line = stats.linregress(x, y)
    s = np.sqrt(np.sum((y - line.intercept - line.slope * x) ** 2) / 7)
    design = design_matrix(x, ("scale", "constant"))
    law = _law(
        ("scale", "constant"),
        (line.slope, line.intercept),
        covariance=s**2 * np.linalg.inv(design.T @ design),
        repeatability=s,
        degrees_of_freedom=7.0,
    )
    at = 40.0
    variance = line.stderr**2 * (at - x.mean()) ** 2 + s**2 / 9
    assert law.standard_uncertainty(at) == pytest.approx(np.sqrt(variance), rel=1e-9)


def test_sizes_are_covered_between_the_measured_ones_only():
    law = _law()
    sizes = (1.99, 2.0, 8.0, 30.0, 30.01)
    assert [law.covers(x) for x in sizes] == [False, True, True, True, False]


def test_a_kind_that_was_not_measured_has_no_law():
    law = _law()
    model = ProcessModel(laws={"bore": law})
    assert model.law("bore") is law
    assert model.law("slot") is None


def test_arrays_of_a_law_cannot_be_written():
    law = _law()
    with pytest.raises(ValueError, match="read-only"):
        law.coefficients[0] = 1.0


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"terms": ("inverse", "constant")}, "in this order"),
        ({"terms": (), "coefficients": ()}, "got none"),
        ({"coefficients": (1.0,)}, r"coefficients .* shape \(2,\), got shape \(1,\)"),
        ({"coefficients": (1.0, np.nan)}, "must be finite"),
        ({"covariance": [[1.0, 0.5], [0.0, 1.0]]}, "not symmetric"),
        ({"covariance": [[1.0, 2.0], [2.0, 1.0]]}, "eigenvalue is negative"),
        ({"repeatability": -0.01}, "repeatability is negative: -0.01 mm"),
        ({"repeatability": np.inf}, "repeatability must be a finite number"),
        ({"degrees_of_freedom": 0.0}, "degrees_of_freedom must be above zero, got 0"),
        ({"valid_from": 31.0}, "got 31 to 30 mm"),
    ],
)
def test_a_law_that_cannot_be_is_refused(changes, message):
    fields = {"terms": ("constant", "inverse"), "coefficients": (-0.1, -0.4)} | changes
    with pytest.raises(CalibrationError, match=message):
        _law(**fields)


def test_a_size_of_zero_is_refused():
    with pytest.raises(CalibrationError, match="must be above zero, got 0 mm"):
        _law().deviation(0.0)
