"""Maximum likelihood for readings of which some are only known to lie in an interval.

Observation i is normal about `design_i · coefficients` with the variance
`repeatability² + uncertainty_i²`. What a caliper read enters by its density, what a
go/no-go gauge told by the probability of its interval: midpoints are never taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meshcomp.calibration.least_squares import weighted_least_squares
from meshcomp.errors import CalibrationError

__all__ = ["CensoredEstimate", "censored_normal"]

Array = NDArray[np.float64]
_SMALLEST = 1e-4  # mm: no bench tells less of a repeatability
_LARGEST = 1e3
_FLATTEST = 1e-6  # standardised information below this is none
_FARTHEST = 1e4  # standardised coefficients beyond this ran away


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class CensoredEstimate:
    """Coefficients and repeatability of largest likelihood.

    `covariance` is the inverse of the observed information; its last row and column,
    (k + 1), belong to the logarithm of the repeatability where that was estimated.
    """

    coefficients: Array  # (k,)
    covariance: Array  # (k, k), or (k + 1, k + 1)
    repeatability: float
    log_likelihood: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Problem:
    """Standardised data: columns and observations of order one."""

    design: Array
    lower: Array
    upper: Array
    exact: NDArray[np.bool_]
    uncertainty: Array
    repeatability: float | None  # None: to be estimated

    def value_and_gradient(self, parameters: Array) -> tuple[float, Array]:
        """Negative log-likelihood and its gradient."""
        k = self.design.shape[1]
        sigma = (
            float(np.exp(parameters[k]))
            if self.repeatability is None
            else self.repeatability
        )
        spread = np.hypot(sigma, self.uncertainty)
        centre = self.design @ parameters[:k]
        low, high = (self.lower - centre) / spread, (self.upper - centre) / spread
        logs, by_centre, by_spread = _terms(low, high, spread, self.exact)
        gradient = self.design.T @ by_centre
        if self.repeatability is None:
            gradient = np.append(gradient, by_spread @ (sigma**2 / spread))
        return -float(logs.sum()), -gradient


def _terms(
    low: Array, high: Array, spread: Array, exact: NDArray[np.bool_]
) -> tuple[Array, Array, Array]:
    """Log-likelihood of each observation; derivatives to its centre and its spread."""
    from scipy.special import log_ndtr

    left, right = np.where(exact, -1.0, low), np.where(exact, 1.0, high)
    # In the upper tail both probabilities are near one: mirror to the lower one.
    flip = left > 0
    a, b = np.where(flip, -right, left), np.where(flip, -left, right)
    log_b = log_ndtr(b)
    inside = log_b + np.log1p(-np.exp(log_ndtr(a) - log_b))
    density_low = np.exp(_log_density(left) - inside)
    density_high = np.exp(_log_density(right) - inside)
    moment = _times(right, density_high) - _times(left, density_low)
    logs = np.where(exact, _log_density(low) - np.log(spread), inside)
    by_centre = np.where(exact, low, density_low - density_high) / spread
    by_spread = np.where(exact, low**2 - 1.0, -moment) / spread
    return logs, by_centre, by_spread


def _log_density(z: Array) -> Array:
    return np.asarray(-0.5 * z**2 - 0.5 * np.log(2 * np.pi))


def _times(z: Array, density: Array) -> Array:
    return np.where(np.isfinite(z), z, 0.0) * density


def censored_normal(
    design: ArrayLike,
    lower: ArrayLike,
    upper: ArrayLike,
    *,
    uncertainties: ArrayLike = 0.0,
    repeatability: float | None = None,
) -> CensoredEstimate:
    """Estimate a linear model from exact and interval readings together.

    Parameters
    ----------
    design : (n, k) float
    lower, upper : (n,) float
        Bounds of each observation in mm: equal for an exact reading, infinite where
        there is no bound.
    uncertainties : (n,) float
        Standard uncertainties of the readings themselves, mm.
    repeatability : float, optional
        Standard deviation of the process in mm where it is known; estimated otherwise.

    Returns
    -------
    CensoredEstimate

    Raises
    ------
    CalibrationError
        If the likelihood has no largest value, as with bounds on one side only.

    References
    ----------
    Minimised by scipy.optimize.minimize (L-BFGS-B) from analytic gradients.

    Examples
    --------
    >>> ones = np.ones((4, 1))
    >>> known = censored_normal(ones, [-0.2, -0.1, -0.12, -0.3],
    ...     [0.0, -0.1, -0.12, np.inf], repeatability=0.02)
    >>> round(float(known.coefficients[0]), 3)  # mm
    -0.11
    """
    x, low, high = (np.asarray(v, dtype=np.float64) for v in (design, lower, upper))
    _check_bounds(low, high)
    start = _midpoints(low, high)
    unit = max(float(start.std()), 0.01)
    lengths = np.sqrt((x**2).mean(axis=0))
    problem = _Problem(
        design=x / lengths,
        lower=low / unit,
        upper=high / unit,
        exact=low == high,
        uncertainty=np.broadcast_to(
            np.asarray(uncertainties, np.float64) / unit, low.shape
        ),
        repeatability=None if repeatability is None else repeatability / unit,
    )
    found, value, covariance = _minimised(problem, start / unit, unit)
    k = x.shape[1]
    scale = np.append(unit / lengths, np.ones(len(found) - k))
    sigma = float(np.exp(found[k])) * unit if repeatability is None else repeatability
    return CensoredEstimate(
        coefficients=found[:k] * unit / lengths,
        covariance=covariance * np.outer(scale, scale),
        repeatability=sigma,
        # Densities of exact readings are per unit: count them per mm.
        log_likelihood=-value - int(problem.exact.sum()) * float(np.log(unit)),
    )


def _check_bounds(low: Array, high: Array) -> None:
    if (low > high).any():
        raise CalibrationError("a lower bound lies above its upper bound")
    if not (np.isfinite(low).any() and np.isfinite(high).any()):
        raise CalibrationError(
            "all gauges bound the size on one side only: measure with a gauge of the "
            "other side, or with calipers"
        )


def _midpoints(low: Array, high: Array) -> Array:
    """Where to start from, and nothing more."""
    return np.where(
        np.isfinite(low) & np.isfinite(high),
        (np.where(np.isfinite(low), low, 0) + np.where(np.isfinite(high), high, 0)) / 2,
        np.where(np.isfinite(low), low, high),
    )


def _minimised(problem: _Problem, start: Array, unit: float) -> tuple[Array, float, Array]:
    """Return parameters, negative log-likelihood and covariance, standardised."""
    from scipy.optimize import minimize

    first = weighted_least_squares(problem.design, start)
    guess = first.coefficients
    bounds: list[tuple[float | None, float | None]]
    bounds = [(None, None)] * problem.design.shape[1]
    if problem.repeatability is None:
        limits = (float(np.log(_SMALLEST / unit)), float(np.log(_LARGEST / unit)))
        scatter = max(float(first.residuals.std()), 0.05)
        guess = np.append(guess, np.log(scatter))
        bounds.append(limits)
    result = minimize(
        problem.value_and_gradient,
        guess,
        jac=True,
        method="L-BFGS-B",
        bounds=bounds,
        options={"ftol": 1e-15, "gtol": 1e-10, "maxiter": 2000},
    )
    found = np.asarray(result.x, dtype=np.float64)
    information = _information(problem, found)
    values = np.linalg.eigvalsh(information)
    k = problem.design.shape[1]
    if values.min() <= _FLATTEST or np.abs(found[:k]).max() > _FARTHEST:
        raise CalibrationError(
            "the gauges bound the law too loosely: use finer steps or more sizes"
        )
    return found, float(result.fun), np.asarray(np.linalg.inv(information), np.float64)


def _information(problem: _Problem, at: Array) -> Array:
    """Second derivatives by central differences of the analytic gradient."""
    step = 1e-5
    columns = []
    for direction in np.eye(len(at)) * step:
        _, ahead = problem.value_and_gradient(at + direction)
        _, behind = problem.value_and_gradient(at - direction)
        columns.append((ahead - behind) / (2 * step))
    matrix = np.array(columns)
    return (matrix + matrix.T) / 2
