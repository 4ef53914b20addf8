"""Readings of one kind of feature as numbers, with the uncertainty of each reading."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import inf, sqrt

import numpy as np
from numpy.typing import NDArray

from meshcomp.measurements.readings import Instrument, Reading

__all__ = [
    "UNSTATED",
    "Observations",
    "instrument_shares",
    "observations",
    "reading_scatter",
]

UNSTATED = Instrument(name="instrument not stated", resolution=0.01)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Observations:
    """Deviations of prints from their mesh sizes, mm.

    `lower` and `upper` are equal where a size was read, and bounds where a gauge was
    used. `uncertainties` are independent from row to row; `common` is shared by all.
    """

    readings: tuple[Reading, ...]
    sizes: NDArray[np.float64]  # (n,) mesh sizes
    lower: NDArray[np.float64]  # (n,)
    upper: NDArray[np.float64]  # (n,)
    uncertainties: NDArray[np.float64]  # (n,) standard
    common: float  # standard

    @property
    def exact(self) -> NDArray[np.bool_]:
        """Rows in which a size was read, (n,) bool."""
        return np.asarray(self.lower == self.upper)

    @property
    def distinct_sizes(self) -> int:
        """How many sizes there are, told apart at 0.001 mm."""
        return len(np.unique(self.sizes.round(3)))


def reading_scatter(readings: Iterable[Reading]) -> dict[str, float]:
    """Return the standard deviation of repeat readings by instrument, mm.

    Pooled over all rows with repeats: the root of the sum of squares within rows over
    their degrees of freedom. An instrument without repeats is left out.

    Parameters
    ----------
    readings : iterable of Reading

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 2.4.4: pooled standard deviations.
    """
    sums: dict[str, tuple[float, int]] = {}
    for reading in readings:
        if len(reading.values) > 1:
            values = np.array(reading.values)
            name = (reading.instrument or UNSTATED).name
            squares, freedom = sums.get(name, (0.0, 0))
            squares += float(np.sum((values - values.mean()) ** 2))
            sums[name] = (squares, freedom + len(values) - 1)
    return {name: sqrt(squares / freedom) for name, (squares, freedom) in sums.items()}


def observations(
    readings: Sequence[Reading], scatter: Mapping[str, float] | None = None
) -> Observations:
    """Turn readings of one kind into numbers.

    The mean of m repeats has the variance s²/m + step²/12, with the pooled scatter s of
    the instrument and the step of its display.

    Parameters
    ----------
    readings : sequence of Reading
        At least one, of one kind.
    scatter : mapping, optional
        As from `reading_scatter`, of all readings of the bench.

    References
    ----------
    JCGM 100:2008 (GUM), 4.2 (repeats), F.2.2.1 (display step), 4.3.7 (stated limits).
    """
    spread = reading_scatter(readings) if scatter is None else scatter
    bounds = [_bounds(reading) for reading in readings]
    return Observations(
        readings=tuple(readings),
        sizes=np.array([reading.mesh_size for reading in readings]),
        lower=np.array([low for low, _ in bounds]),
        upper=np.array([high for _, high in bounds]),
        uncertainties=np.array([_uncertainty(reading, spread) for reading in readings]),
        common=_common(readings),
    )


def _bounds(reading: Reading) -> tuple[float, float]:
    if reading.values:
        mean = float(np.mean(reading.values)) - reading.mesh_size
        return mean, mean
    low, high = reading.bounds
    return (
        -inf if low is None else low - reading.mesh_size,
        inf if high is None else high - reading.mesh_size,
    )


def _uncertainty(reading: Reading, scatter: Mapping[str, float]) -> float:
    if not reading.values:
        # Gauges err one by one, within what is stated of them.
        stated = reading.instrument.accuracy if reading.instrument else None
        return (stated or 0.0) / sqrt(3)
    instrument = reading.instrument or UNSTATED
    noise = scatter.get(instrument.name, 0.0) ** 2 / len(reading.values)
    return sqrt(noise + instrument.resolution**2 / 12)


def _common(readings: Sequence[Reading]) -> float:
    """Shift of the whole law by the instruments' own errors, each common to its rows."""
    return sqrt(sum(share**2 for share in instrument_shares(readings).values()))


def instrument_shares(readings: Iterable[Reading]) -> dict[str, float]:
    """Return how much of each instrument's own error shifts a law, standard, mm.

    Parameters
    ----------
    readings : iterable of Reading
        Of one kind. Another kind that was read with the same instrument is shifted by
        the same error.

    Examples
    --------
    >>> caliper = Instrument(name="caliper", resolution=0.01, accuracy=0.03)
    >>> bore = Reading(piece="a", feature_id="B1", kind="bore", nominal_size=8.0,
    ...     mesh_size=8.0, values=(7.85,), instrument=caliper)
    >>> instrument_shares([bore])["caliper"].__round__(4)  # 0.03 mm over root 3
    0.0173
    """
    shares: dict[str, float] = {}
    exact = [reading for reading in readings if reading.values]
    for reading in exact:
        instrument = reading.instrument or UNSTATED
        limit = instrument.accuracy or 0.0
        name = instrument.name
        shares[name] = shares.get(name, 0.0) + limit / sqrt(3) / len(exact)
    return shares
