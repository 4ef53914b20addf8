"""Which terms of the size law the readings support, by the corrected Akaike criterion.

Walls grow or shrink whatever the size, so the constant is always there; a scale and an
inverse term are kept only where they lower AICc. A law with one term more has to raise
the log-likelihood by more than one, and by much more where readings are few.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.calibration.censored import censored_normal
from meshcomp.calibration.least_squares import LinearEstimate, weighted_least_squares
from meshcomp.calibration.observations import Observations
from meshcomp.calibration.results import Candidate
from meshcomp.deviations import design_matrix
from meshcomp.errors import CalibrationError

__all__ = ["Estimate", "best_candidate", "candidates", "estimated", "term_sets"]

_SMALLEST = 1e-4  # mm: no bench tells less of a repeatability
_LARGEST = 1.0
_ROUND_KINDS = {"bore", "boss", "lying bore width", "lying bore height"}


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Estimate:
    """A law's numbers, before the uncertainty that all readings share."""

    coefficients: NDArray[np.float64]
    covariance: NDArray[np.float64]
    repeatability: float
    degrees_of_freedom: float


def term_sets(kind: str) -> tuple[tuple[str, ...], ...]:
    """Return the laws that make sense for a kind of feature, the simplest first.

    Only round walls can deviate more where they are small.
    """
    straight: tuple[tuple[str, ...], ...] = (("constant",), ("scale", "constant"))
    if kind not in _ROUND_KINDS:
        return straight
    return (
        straight[0],
        ("constant", "inverse"),
        straight[1],
        ("scale", "constant", "inverse"),
    )


def candidates(
    data: Observations, kind: str, repeatability: float | None
) -> tuple[Candidate, ...]:
    """Try every law that makes sense for a kind.

    Parameters
    ----------
    data : Observations
    kind : str
        As in `meshcomp.deviations.KINDS`.
    repeatability : float or None
        In mm, where it is known beforehand; None: each law estimates its own.
    """
    return tuple(_candidate(data, terms, repeatability) for terms in term_sets(kind))


def best_candidate(tried: Sequence[Candidate]) -> Candidate:
    """Return the law with the smallest AICc; the constant where none has one."""
    judged = [c for c in tried if c.aicc is not None]
    return min(judged, key=lambda c: c.aicc or 0.0) if judged else tried[0]


def _candidate(
    data: Observations, terms: tuple[str, ...], repeatability: float | None
) -> Candidate:
    n, k = len(data.sizes), len(terms)
    spare = n - (k + 1) - 1
    nothing = Candidate(terms=terms, log_likelihood=None, aicc=None)
    if data.distinct_sizes < k or (k > 1 and n <= k):
        return nothing
    try:
        likelihood = _log_likelihood(data, terms, repeatability)
    except CalibrationError:
        return nothing
    if repeatability is not None:
        return Candidate(
            terms=terms, log_likelihood=likelihood, aicc=2 * k - 2 * likelihood
        )
    if spare < 1:
        return Candidate(terms=terms, log_likelihood=likelihood, aicc=None)
    p = k + 1  # the repeatability is estimated too
    aicc = -2 * likelihood + 2 * p + 2 * p * (p + 1) / spare
    return Candidate(terms=terms, log_likelihood=likelihood, aicc=aicc)


def _log_likelihood(
    data: Observations, terms: tuple[str, ...], repeatability: float | None
) -> float:
    if not data.exact.all():
        return _censored(data, terms, repeatability)[0]
    if repeatability is not None:
        return _exact_log_likelihood(data, terms, repeatability)
    from scipy.optimize import minimize_scalar

    result = minimize_scalar(
        lambda log_sigma: -_exact_log_likelihood(data, terms, float(np.exp(log_sigma))),
        bounds=(np.log(_SMALLEST), np.log(_LARGEST)),
        method="bounded",
        options={"xatol": 1e-8},
    )
    return -float(result.fun)


def _exact_log_likelihood(
    data: Observations, terms: tuple[str, ...], sigma: float
) -> float:
    variances = sigma**2 + data.uncertainties**2
    squares = _weighted(data, terms, sigma).sum_of_squares
    return -0.5 * (squares + float(np.sum(np.log(2 * np.pi * variances))))


def _weighted(data: Observations, terms: tuple[str, ...], sigma: float) -> LinearEstimate:
    weights = 1.0 / (sigma**2 + data.uncertainties**2)
    return weighted_least_squares(design_matrix(data.sizes, terms), data.lower, weights)


def estimated(
    data: Observations,
    terms: tuple[str, ...],
    *,
    repeatability: float | None,
    degrees_of_freedom: float,
) -> Estimate:
    """Estimate the coefficients of a law that was chosen.

    Parameters
    ----------
    data : Observations
    terms : tuple of str
    repeatability : float or None
        In mm, where it is known beforehand; None: estimated from the readings.
    degrees_of_freedom : float
        Of the repeatability known beforehand; else n less the number of terms is taken.

    References
    ----------
    Without gauges, the repeatability is that of Paule and Mandel (J. Res. NBS 87, 1982,
    377): it makes the weighted sum of squares equal to its degrees of freedom. With
    gauges it is that of largest likelihood times the root of n/(n - k).
    """
    if not data.exact.all():
        return _by_likelihood(data, terms, repeatability, degrees_of_freedom)
    freedom = degrees_of_freedom
    if repeatability is None:
        freedom = float(len(data.sizes) - len(terms))
        repeatability = _paule_mandel(data, terms)
    found = _weighted(data, terms, repeatability)
    return Estimate(
        coefficients=found.coefficients,
        covariance=found.cofactors,
        repeatability=repeatability,
        degrees_of_freedom=freedom,
    )


def _paule_mandel(data: Observations, terms: tuple[str, ...]) -> float:
    from scipy.optimize import brentq

    def excess(sigma: float) -> float:
        found = _weighted(data, terms, sigma)
        return found.sum_of_squares / found.degrees_of_freedom - 1.0

    if not data.uncertainties.any():
        plain = weighted_least_squares(design_matrix(data.sizes, terms), data.lower)
        return max(plain.residual_sd or 0.0, _SMALLEST)
    if excess(_SMALLEST) <= 0:
        # Prints scatter less than their readings: nothing below these can be told.
        return float(np.sqrt(np.mean(data.uncertainties**2)))
    return float(brentq(excess, _SMALLEST, _LARGEST * 10, xtol=1e-13, rtol=1e-14))


def _censored(
    data: Observations, terms: tuple[str, ...], repeatability: float | None
) -> tuple[float, NDArray[np.float64], NDArray[np.float64], float]:
    found = censored_normal(
        design_matrix(data.sizes, terms),
        data.lower,
        data.upper,
        uncertainties=_blurred(data, repeatability),
        repeatability=repeatability,
    )
    k = len(terms)
    covariance = found.covariance[:k, :k]
    return found.log_likelihood, found.coefficients, covariance, found.repeatability


def _blurred(data: Observations, repeatability: float | None) -> NDArray[np.float64]:
    """Let gauges much coarser than the process know no more than their step's spread.

    Where all gauges are coarse, the likelihood is flat between them and its curvature
    says nothing of how wide it is: a step has the standard uncertainty step/√12.
    """
    width = data.upper - data.lower
    if repeatability is None:
        return data.uncertainties
    missing = np.where(np.isfinite(width), width, 0.0) ** 2 / 12 - repeatability**2
    return np.sqrt(np.maximum(data.uncertainties**2, missing))


def _by_likelihood(
    data: Observations,
    terms: tuple[str, ...],
    repeatability: float | None,
    degrees_of_freedom: float,
) -> Estimate:
    _, coefficients, covariance, sigma = _censored(data, terms, repeatability)
    n, k = len(data.sizes), len(terms)
    # Largest likelihood takes the scatter about its own estimate: too small by this.
    correction = 1.0 if repeatability is not None else n / (n - k)
    return Estimate(
        coefficients=coefficients,
        covariance=covariance * correction,
        repeatability=sigma * correction**0.5,
        degrees_of_freedom=(
            degrees_of_freedom if repeatability is not None else float(n - k)
        ),
    )
