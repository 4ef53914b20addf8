"""Weighted least squares with its covariance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meshcomp.errors import CalibrationError

__all__ = ["LinearEstimate", "weighted_least_squares"]

_RANK_LIMIT = 1e-12  # of the triangular factor's diagonal, columns scaled to length one


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LinearEstimate:
    """Coefficients of a linear model.

    `cofactors` times the variance of an observation of weight one is the covariance;
    `residual_sd` estimates that variance's root and is None without degrees of freedom.
    """

    coefficients: NDArray[np.float64]  # (k,)
    cofactors: NDArray[np.float64]  # (k, k)
    residuals: NDArray[np.float64]  # (n,) observed less estimated
    leverages: NDArray[np.float64]  # (n,) diagonal of the weighted hat matrix
    sum_of_squares: float  # weighted, of the residuals
    degrees_of_freedom: int

    @property
    def residual_sd(self) -> float | None:
        """Standard deviation of an observation of weight one."""
        if self.degrees_of_freedom < 1:
            return None
        return float(np.sqrt(self.sum_of_squares / self.degrees_of_freedom))

    @property
    def covariance(self) -> NDArray[np.float64]:
        """Covariance of the coefficients from the residuals' scatter, (k, k) float."""
        if self.residual_sd is None:
            raise CalibrationError("without degrees of freedom there is no covariance")
        return self.residual_sd**2 * self.cofactors


def weighted_least_squares(
    design: ArrayLike, observed: ArrayLike, weights: ArrayLike | None = None
) -> LinearEstimate:
    """Estimate the coefficients of a linear model.

    Columns are scaled to length one and the least squares solved by an orthogonal (QR)
    decomposition, so that nothing is lost to squaring the condition number.

    Parameters
    ----------
    design : (n, k) float
        One row for each observation.
    observed : (n,) float
    weights : (n,) float, optional
        Inverse variances, up to a common factor; one by default.

    Returns
    -------
    LinearEstimate

    Raises
    ------
    CalibrationError
        If the observations do not determine the coefficients.

    Examples
    --------
    >>> line = weighted_least_squares([[1, 0], [1, 1], [1, 2]], [1.0, 3.0, 5.0])
    >>> line.coefficients.round(9).tolist()
    [1.0, 2.0]
    """
    x = np.asarray(design, dtype=np.float64)
    y = np.asarray(observed, dtype=np.float64)
    root = np.sqrt(np.ones(len(y)) if weights is None else np.asarray(weights, np.float64))
    if len(y) < x.shape[1]:
        raise CalibrationError(
            f"{len(y)} readings do not determine {x.shape[1]} coefficients"
        )
    weighted = x * root[:, None]
    lengths = np.linalg.norm(weighted, axis=0)
    q, r = np.linalg.qr(weighted / np.where(lengths > 0, lengths, 1.0))
    if np.abs(np.diag(r)).min() < _RANK_LIMIT:
        raise CalibrationError(
            "the readings do not determine the coefficients: measure more sizes"
        )
    inverse = np.linalg.inv(r)
    coefficients = inverse @ (q.T @ (y * root)) / lengths
    residuals = y - x @ coefficients
    return LinearEstimate(
        coefficients=coefficients,
        cofactors=inverse @ inverse.T / np.outer(lengths, lengths),
        residuals=residuals,
        leverages=np.sum(q * q, axis=1),
        sum_of_squares=float(np.sum((residuals * root) ** 2)),
        degrees_of_freedom=len(y) - x.shape[1],
    )
