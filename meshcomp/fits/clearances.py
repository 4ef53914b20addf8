"""The clearance of one mate: its distribution and the probability that it fits.

A clearance is internal size minus external size; below zero it is an interference. What
two printed members have in common, coefficients of one law or the error of the instrument
that both laws were measured with, does not count twice: it may cancel or add up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, sqrt

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import OptionError
from meshcomp.fits.members import Made, Member, Printed

__all__ = ["Clearance", "Term", "clearance", "flank_gap", "sources"]

Term = tuple[float, Member]  # sign, and what it stands before
_NODES = 24  # of each quadrature; to 1e-4 of a probability


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearance:
    """A clearance that will come out, mm.

    Each printed contribution scatters by Student's t of its degrees of freedom, and a
    made part evenly between its limits.

    Examples
    --------
    >>> free = Clearance(mean=0.1, contributions=((0.03, 12.0), (0.03, 9.0)))
    >>> [round(limit, 3) for limit in free.interval()]
    [0.006, 0.194]
    >>> round(free.probability_within(0.0, None), 2)
    0.98
    """

    mean: float
    contributions: tuple[tuple[float, float], ...]  # standard uncertainty, freedom
    half_width: float = 0.0  # of the made part's limits about their middle
    correlation: float = 0.0  # of the two expectations

    @property
    def standard_uncertainty(self) -> float:
        """Return the standard uncertainty of one pair, the made part included, mm."""
        return sqrt(sum(u**2 for u, _ in self.contributions) + self.half_width**2 / 3.0)

    def probability_below(self, value: float) -> float:
        """Return the probability that one pair has less than a clearance in mm.

        The expectation is taken by quadrature over the scale of each contribution, so
        that sums of Student's t need no effective degrees of freedom, and over the made
        part's limits.
        """
        from scipy.special import ndtr

        deviations, weights = _mixture(self.contributions)
        nodes, shares = np.polynomial.legendre.leggauss(_NODES if self.half_width else 1)
        away = value - self.mean - self.half_width * nodes
        if deviations.max() <= 0:
            return _even(value - self.mean, self.half_width)
        below = ndtr(away[:, None] / deviations[None, :]) @ weights
        return float(below @ shares / 2.0)

    def probability_within(self, least: float | None, most: float | None) -> float:
        """Return the probability that one pair lies between two clearances.

        Parameters
        ----------
        least, most : float or None
            In mm; None: no limit on that side.
        """
        low = 0.0 if least is None else self.probability_below(least)
        high = 1.0 if most is None else self.probability_below(most)
        return max(high - low, 0.0)

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Return the clearances between which one pair lies with a probability, mm."""
        half = self._half((1.0 + level) / 2.0)
        return self.mean - half, self.mean + half

    def _half(self, probability: float) -> float:
        """Return how far above the mean a quantile lies: the distribution is even."""
        from scipy.optimize import brentq

        def excess(half: float) -> float:
            return self.probability_below(self.mean + half) - probability

        widest = max(self.standard_uncertainty, 1e-9)
        while excess(widest) < 0:
            widest *= 2.0
        return float(brentq(excess, 0.0, widest, xtol=1e-9))


def _mixture(
    contributions: Sequence[tuple[float, float]],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return normal standard deviations and their weights that mix to a sum of t's, (n,).

    Student's t is a normal whose variance is its freedom over a chi squared; nodes are
    taken evenly good in the probability of that chi squared.
    """
    from scipy.special import gammaincinv

    nodes, shares = np.polynomial.legendre.leggauss(_NODES)
    variances, weights = np.zeros(1), np.ones(1)
    for uncertainty, freedom in contributions:
        scale, share = np.ones(1), np.ones(1)
        if freedom != inf:
            scale = freedom / 2 / gammaincinv(freedom / 2, (nodes + 1) / 2)
            share = shares / 2
        variances = np.add.outer(variances, uncertainty**2 * scale).ravel()
        weights = np.multiply.outer(weights, share).ravel()
    return np.sqrt(variances), weights


def _even(away: float, half_width: float) -> float:
    """Return the distribution of a made part alone, or a step."""
    if half_width <= 0:
        return 1.0 if away > 0 else 0.0
    return min(max(0.5 + away / (2 * half_width), 0.0), 1.0)


def clearance(internal: Member, external: Member) -> Clearance:
    """Return the clearance between two members: internal less external size.

    Parameters
    ----------
    internal : Printed or Made
        The bore, or the slot.
    external : Printed or Made
        What goes into it.

    Raises
    ------
    OptionError
        If neither is printed: that fit is a matter of tables.

    References
    ----------
    JCGM 100:2008 (GUM), 5.2.2: correlated quantities.

    Examples
    --------
    >>> from meshcomp.calibration.record import *
    >>> from meshcomp.fits.members import *
    >>> law = read_calibration(invented_calibration_path()).model.laws["bore"]
    >>> seat = printed_size(law, 22.118, key=("invented", "bore"))
    >>> found = clearance(seat, Made(lower=21.991, upper=22.0))  # a bearing's outside
    >>> round(found.mean, 4), round(found.probability_within(0.0, None), 2)
    (0.0044, 0.56)
    """
    return _combined(((1.0, internal), (-1.0, external)))


def flank_gap(first: Member, second: Member) -> Clearance:
    """Return the gap per flank between two outlines that would touch as drawn.

    Parameters
    ----------
    first, second : Printed or Made
        How far each flank lies beyond the drawn one, outwards, mm.
    """
    return _combined(((-1.0, first), (-1.0, second)))


def _combined(terms: Sequence[Term]) -> Clearance:
    found = sources(terms)
    if not found:
        raise OptionError(
            "neither side of this mate is printed: its fit is a matter of tables"
        )
    made = [member for _, member in terms if isinstance(member, Made)]
    return Clearance(
        mean=sum(sign * member.expected for sign, member in terms),
        contributions=tuple(found),
        half_width=sum((each.upper - each.lower) / 2 for each in made),
        correlation=_correlation(terms),
    )


def sources(terms: Sequence[Term]) -> list[tuple[float, float]]:
    """Return the independent contributions to a clearance's uncertainty.

    Each law contributes once, with all its members together; each measuring instrument
    contributes once, over all laws measured with it.

    Parameters
    ----------
    terms : sequence of (sign, member)

    Returns
    -------
    list of (standard uncertainty in mm, degrees of freedom)
    """
    printed = [(sign, member) for sign, member in terms if isinstance(member, Printed)]
    found = [_of_law(printed, key) for key in dict.fromkeys(m.key for _, m in printed)]
    return found + [(u, inf) for u in _of_instruments(printed).values() if u]


def _of_law(
    printed: Sequence[tuple[float, Printed]], key: tuple[str, str]
) -> tuple[float, float]:
    """Return what one law contributes, without its instruments' share."""
    members = [(sign, member) for sign, member in printed if member.key == key]
    law, shares = members[0][1].law, members[0][1].shares
    row = np.sum([sign * member.row for sign, member in members], axis=0)
    scatter = sum(member.repeatability**2 for _, member in members)
    weight = sum(sign * member.constant_weight for sign, member in members)
    common = weight**2 * sum(share**2 for share in shares.values())
    variance = float(row @ law.covariance @ row) - common
    return sqrt(max(variance, 0.0) + scatter), law.degrees_of_freedom


def _of_instruments(printed: Sequence[tuple[float, Printed]]) -> dict[str, float]:
    """Return the signed contribution of each instrument of each calibration."""
    found: dict[str, float] = {}
    for sign, member in printed:
        for name, share in member.shares.items():
            instrument = f"{member.key[0]} {name}"
            change = sign * member.constant_weight * share
            found[instrument] = found.get(instrument, 0.0) + change
    return {name: abs(change) for name, change in found.items()}


def _correlation(terms: Sequence[Term]) -> float:
    """Return the correlation of the expectations of two printed members."""
    printed = [member for _, member in terms if isinstance(member, Printed)]
    if len(printed) != 2:  # noqa: PLR2004 - a pair
        return 0.0
    first, second = printed
    scale = first.standard_uncertainty * second.standard_uncertainty
    return _covariance(first, second) / scale if scale > 0 else 0.0


def _covariance(first: Printed, second: Printed) -> float:
    if first.key == second.key:
        return float(first.row @ first.law.covariance @ second.row)
    if first.key[0] != second.key[0]:
        return 0.0
    shared = set(first.shares) & set(second.shares)
    products = sum(first.shares[name] * second.shares[name] for name in sorted(shared))
    return first.constant_weight * second.constant_weight * products
