"""Named tests of readings against a law: outliers, lack of fit, drift."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.calibration.least_squares import LinearEstimate, weighted_least_squares
from meshcomp.calibration.observations import Observations
from meshcomp.calibration.results import DriftTest, LackOfFit, Outlier, Residual
from meshcomp.deviations import SizeLaw, design_matrix

__all__ = ["LEVEL", "drift_test", "lack_of_fit", "outliers", "residuals"]

LEVEL = 0.05
_STUDENTISED = "externally studentised residual, Student's t with Bonferroni's correction"
_INTERVAL = "probability of the gauge's interval, with Bonferroni's correction"
_PURE_ERROR = "F test of lack of fit against repeat prints"
_CHOW = "Chow's predictive F test"


def _name(data: Observations, row: int) -> str:
    reading = data.readings[row]
    return f"{reading.piece} {reading.feature_id}"


def residuals(data: Observations, law: SizeLaw) -> tuple[Residual, ...]:
    """Return every reading beside the law."""
    found = []
    for row, size in enumerate(data.sizes.tolist()):
        low, high = float(data.lower[row]), float(data.upper[row])
        is_exact = low == high
        found.append(
            Residual(
                feature=_name(data, row),
                source=data.readings[row].source,
                size=size,
                deviation=low if is_exact else None,
                lower=low if np.isfinite(low) else None,
                upper=high if np.isfinite(high) else None,
                reading_uncertainty=float(data.uncertainties[row]),
                residual=low - law.deviation(size) if is_exact else None,
            )
        )
    return tuple(found)


def outliers(data: Observations, law: SizeLaw) -> tuple[Outlier, ...]:
    """Name the readings that do not go with the others.

    Sizes that were read are judged by externally studentised residuals, gauge results
    by how probable the law makes their interval.

    References
    ----------
    R. D. Cook, S. Weisberg, Residuals and Influence in Regression, 1982, section 2.2.2.
    """
    exact = data.exact
    found = _read_outliers(data, law, np.flatnonzero(exact))
    return found + _gauge_outliers(data, law, np.flatnonzero(~exact))


def _read_outliers(
    data: Observations, law: SizeLaw, rows: NDArray[np.int64]
) -> tuple[Outlier, ...]:
    from scipy.special import stdtr

    k = len(law.terms)
    if len(rows) - k - 1 < 1 or len(np.unique(data.sizes[rows])) < k:
        return ()
    estimate = _estimate(data, law, rows)
    freedom = estimate.degrees_of_freedom
    spread = np.sqrt(law.repeatability**2 + data.uncertainties[rows] ** 2)
    scatter = estimate.residual_sd or 0.0
    room = 1.0 - estimate.leverages
    free = room > 1e-9  # noqa: PLR2004 - a row that the law follows wholly tells nothing
    room = np.where(free, room, 1.0)
    internal = estimate.residuals / spread / max(scatter, 1e-12) / np.sqrt(room)
    left = np.maximum(freedom - internal**2, 1e-12)
    external = np.where(free, internal * np.sqrt((freedom - 1) / left), 0.0)
    p = np.minimum(1.0, 2 * stdtr(freedom - 1, -np.abs(external)) * len(rows))
    return tuple(
        Outlier(
            feature=_name(data, row),
            source=data.readings[row].source,
            residual=float(data.lower[row] - law.deviation(float(data.sizes[row]))),
            statistic=float(external[place]),
            p_value=float(p[place]),
            test=_STUDENTISED,
        )
        for place, row in enumerate(rows.tolist())
        if p[place] < LEVEL
    )


def _estimate(data: Observations, law: SizeLaw, rows: NDArray[np.int64]) -> LinearEstimate:
    weights = 1.0 / (law.repeatability**2 + data.uncertainties[rows] ** 2)
    design = design_matrix(data.sizes[rows], law.terms)
    return weighted_least_squares(design, data.lower[rows], weights)


def _gauge_outliers(
    data: Observations, law: SizeLaw, rows: NDArray[np.int64]
) -> tuple[Outlier, ...]:
    from scipy.special import stdtr

    found = []
    for row in rows.tolist():
        size = float(data.sizes[row])
        spread = float(np.hypot(law.prediction_uncertainty(size), data.uncertainties[row]))
        low, high = (
            (b[row] - law.deviation(size)) / spread for b in (data.lower, data.upper)
        )
        freedom = law.degrees_of_freedom
        p = float(stdtr(freedom, high) - stdtr(freedom, low)) * len(rows)
        # A narrow interval is improbable wherever it lies: it must lie off the law too.
        if p < LEVEL and (low > 0 or high < 0):
            nearest = low if low > 0 else high
            found.append(
                Outlier(
                    feature=_name(data, row),
                    source=data.readings[row].source,
                    residual=float(nearest * spread),
                    statistic=float(nearest),
                    p_value=p,
                    test=_INTERVAL,
                )
            )
    return tuple(found)


def lack_of_fit(data: Observations, law: SizeLaw) -> LackOfFit | None:
    """Test whether the law misses the means of repeat prints of one size.

    Returns
    -------
    LackOfFit or None
        None where no size was printed twice or no size is left over to judge the law.

    References
    ----------
    N. R. Draper, H. Smith, Applied Regression Analysis, section on pure error.
    """
    from scipy.special import fdtrc

    rows = np.flatnonzero(data.exact)
    _, group = np.unique(data.sizes[rows].round(3), return_inverse=True)
    groups = int(group.max()) + 1 if len(rows) else 0
    pure, freedom = len(rows) - groups, groups - len(law.terms)
    if pure < 1 or freedom < 1:
        return None
    weights = 1.0 / (law.repeatability**2 + data.uncertainties[rows] ** 2)
    total = _estimate(data, law, rows).sum_of_squares
    means = np.bincount(group, weights * data.lower[rows]) / np.bincount(group, weights)
    within = float(np.sum(weights * (data.lower[rows] - means[group]) ** 2))
    if within <= 0:
        return None
    ratio = max(total - within, 0.0) / freedom / (within / pure)
    return LackOfFit(
        statistic=ratio,
        p_value=float(fdtrc(freedom, pure, ratio)),
        degrees_of_freedom=(freedom, pure),
        test=_PURE_ERROR,
    )


def drift_test(new: Observations, old: SizeLaw) -> DriftTest | None:
    """Test whether new readings lie where an older law predicts them.

    Parameters
    ----------
    new : Observations
        Readings that the older law does not rest on; gauge results are not tested.
    old : SizeLaw

    References
    ----------
    G. C. Chow, Tests of equality between sets of coefficients in two linear
    regressions, Econometrica 28 (1960) 591.
    """
    from scipy.special import fdtrc

    rows = np.flatnonzero(new.exact)
    if not len(rows):
        return None
    design = design_matrix(new.sizes[rows], old.terms)
    shift = new.lower[rows] - design @ old.coefficients
    spread = old.repeatability**2 + new.uncertainties[rows] ** 2
    covariance = design @ old.covariance @ design.T + np.diag(spread)
    statistic = float(shift @ np.linalg.solve(covariance, shift)) / len(rows)
    p = float(fdtrc(len(rows), old.degrees_of_freedom, statistic))
    return DriftTest(
        statistic=statistic,
        p_value=p,
        degrees_of_freedom=(len(rows), old.degrees_of_freedom),
        mean_shift=float(shift.mean()),
        has_drifted=p < LEVEL,
        test=_CHOW,
    )
