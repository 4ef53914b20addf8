from __future__ import annotations

import warnings

import numpy as np
import pytest
from scipy import optimize, stats

from meshcomp.calibration.censored import censored_normal
from meshcomp.calibration.least_squares import weighted_least_squares
from meshcomp.errors import CalibrationError


def _bench(n=40, seed=11, exact=10):
    """Bores of which some are read, some only gauged in steps of 0.05 mm."""
    rng = np.random.default_rng(seed)
    x = np.column_stack([np.ones(n), 1 / rng.uniform(2, 30, n)])
    y = x @ (-0.1, -0.4) + rng.normal(0, 0.05, n)
    low, high = np.floor(y / 0.05) * 0.05, np.ceil(y / 0.05) * 0.05
    low[:exact] = high[:exact] = y[:exact]
    high[-4:] = np.inf  # a pin went in, and no larger one was tried
    return x, low, high


def _lifelines(x, low, high):
    """Outside reference: package lifelines, log-normal regression of exp(size)."""
    import pandas as pd
    from lifelines import LogNormalAFTFitter

    frame = pd.DataFrame(
        {"low": np.exp(low), "high": np.exp(high), "inverse": x[:, 1], "one": 1.0}
    )
    # lifelines uses parts of pandas and numpy that announce their end.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fitter = LogNormalAFTFitter(fit_intercept=False)
        fitter.fit_interval_censoring(frame, "low", "high", formula="one + inverse - 1")
    return fitter


def test_an_independent_package_finds_the_same_law():
    x, low, high = _bench()
    found = censored_normal(x, low, high)
    other = _lifelines(x, low, high)
    names = [("mu_", "one"), ("mu_", "inverse")]
    assert found.coefficients == pytest.approx(
        [other.params_[name] for name in names], abs=2e-5
    )
    (log_sigma,) = [v for key, v in other.params_.items() if key[0] == "sigma_"]
    assert np.log(found.repeatability) == pytest.approx(log_sigma, abs=5e-4)
    errors = np.sqrt(np.diag(found.covariance))[:2]
    assert errors == pytest.approx(
        [other.standard_errors_[name] for name in names], rel=2e-3
    )


def test_scipy_finds_the_same_mean_of_censored_sizes():
    # Outside reference: scipy.stats.CensoredData with scipy.stats.norm.fit.
    _, low, high = _bench()
    is_exact, is_open = low == high, np.isinf(high)
    data = stats.CensoredData(
        uncensored=low[is_exact],
        right=low[is_open],
        interval=np.column_stack([low, high])[~is_exact & ~is_open],
    )

    def search(function, start, args, disp):  # scipy's own, but to more digits
        return optimize.fmin(function, start, args, disp=disp, xtol=1e-10, ftol=1e-13)

    mean, sigma = stats.norm.fit(data, optimizer=search)
    found = censored_normal(np.ones((len(low), 1)), low, high)
    assert found.coefficients[0] == pytest.approx(mean, abs=1e-7)
    assert found.repeatability == pytest.approx(sigma, abs=1e-7)


def test_exact_readings_alone_give_least_squares():
    x, low, _ = _bench()
    found, plain = censored_normal(x, low, low), weighted_least_squares(x, low)
    assert found.coefficients == pytest.approx(plain.coefficients, abs=1e-8)
    largest = np.sqrt(plain.sum_of_squares / len(low))
    assert found.repeatability == pytest.approx(largest, rel=1e-7)
    expected = stats.norm(x @ plain.coefficients, largest).logpdf(low).sum()
    assert found.log_likelihood == pytest.approx(expected, abs=1e-9)


def test_the_likelihood_of_intervals_is_that_of_scipy():
    x, low, high = _bench(exact=0)
    found = censored_normal(x, low, high, repeatability=0.04)
    law = stats.norm(x @ found.coefficients, 0.04)
    expected = np.log(law.cdf(high) - law.cdf(low)).sum()
    assert found.log_likelihood == pytest.approx(expected, abs=1e-9)
    assert found.covariance.shape == (2, 2)


def test_known_uncertainties_of_readings_weigh_them():
    x, low, _ = _bench()
    noise = np.linspace(0.0, 0.1, len(low))
    found = censored_normal(x, low, low, uncertainties=noise, repeatability=0.02)
    plain = weighted_least_squares(x, low, 1 / (0.02**2 + noise**2))
    assert found.coefficients == pytest.approx(plain.coefficients, abs=1e-8)
    assert found.covariance == pytest.approx(plain.cofactors, rel=1e-6)


def test_intervals_far_from_the_law_are_still_finite():
    low = np.array([0.0, 0.0, 0.0, 10.0])
    found = censored_normal(np.ones((4, 1)), low, low + 0.1, repeatability=0.05)
    assert np.isfinite(found.log_likelihood)
    assert 0.0 < found.coefficients[0] < 10.0


def test_wide_intervals_mean_wide_uncertainty():
    low = np.full(6, -0.2)
    narrow = censored_normal(np.ones((6, 1)), low + 0.08, low + 0.12, repeatability=0.05)
    wide = censored_normal(np.ones((6, 1)), low, low + 0.2, repeatability=0.05)
    assert wide.coefficients == pytest.approx(narrow.coefficients, abs=1e-6)
    assert wide.covariance[0, 0] > 2 * narrow.covariance[0, 0]


def test_bounds_on_one_side_only_are_refused():
    with pytest.raises(CalibrationError, match="bound the size on one side only"):
        censored_normal(np.ones((2, 1)), [0.0, 0.1], [np.inf, np.inf], repeatability=0.02)


def test_bounds_that_leave_a_slope_open_are_refused():
    # One size is bounded below, the other above: any steep slope fits better.
    with pytest.raises(CalibrationError, match="too loosely"):
        censored_normal(
            [[1.0, 0.0], [1.0, 1.0]], [0.0, -np.inf], [np.inf, 0.1], repeatability=0.02
        )


def test_a_lower_bound_above_the_upper_one_is_refused():
    with pytest.raises(CalibrationError, match="above its upper bound"):
        censored_normal([[1.0], [1.0]], [0.2, 0.0], [0.1, 0.1])
