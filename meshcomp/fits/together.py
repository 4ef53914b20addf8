"""The probability that several mates fit at once, when they share a calibration's error.

If the calibration errs, it errs for all mates alike: they tend to fit together or to fail
together. Given the true laws each print is independent, so that

    P(all fit) = E[ product over mates of P(mate fits | laws)^pairs ]

over what the laws may be: coefficients and instruments' errors normal, each law's scale
by its degrees of freedom. The expectation is taken over a fixed low-discrepancy set.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.fits.clearances import Term
from meshcomp.fits.members import Made, Printed

__all__ = ["Requirement", "probability_of_all"]

_DRAWS = 2**12
_NODES = 24
_SEED = 1  # any fixed one: the same kit always gets the same figure


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Requirement:
    """What one mate asks: a clearance between limits, for so many pairs."""

    terms: tuple[Term, ...]
    least: float | None  # mm
    most: float | None  # mm
    pairs: int = 1


def probability_of_all(requirements: Sequence[Requirement]) -> float:
    """Return the probability that all pairs of all mates fit.

    Every pair is taken as two prints of their own. So a mate of several pairs is slightly
    better than said where one print takes part in more than one of them.

    Parameters
    ----------
    requirements : sequence of Requirement
        With at least one printed member each.

    Examples
    --------
    >>> from meshcomp.calibration.record import *
    >>> from meshcomp.fits.members import *
    >>> law = read_calibration(invented_calibration_path()).model.laws["bore"]
    >>> seat = printed_size(law, 22.17, key=("invented", "bore"))
    >>> pair = ((1.0, seat), (-1.0, Made(lower=21.991, upper=22.0)))
    >>> one = Requirement(terms=pair, least=0.0, most=None)
    >>> round(probability_of_all([one]), 2), round(probability_of_all([one] * 5), 2)
    (0.97, 0.89)
    """
    laws = _laws(requirements)
    instruments = _instruments(requirements)
    normal, scales = _draws(laws, len(instruments))
    result = np.ones(_DRAWS)
    for each in requirements:
        shift = _shift(each.terms, laws, instruments, normal, scales)
        scatter = _scatter(each.terms, laws, scales)
        result *= _within(each, shift, scatter) ** each.pairs
    return float(result.mean())


def _printed(terms: Sequence[Term]) -> list[tuple[float, Printed]]:
    return [(sign, member) for sign, member in terms if isinstance(member, Printed)]


def _laws(requirements: Sequence[Requirement]) -> dict[tuple[str, str], Printed]:
    """Return one member for each law that takes part."""
    return {m.key: m for each in requirements for _, m in _printed(each.terms)}


def _instruments(requirements: Sequence[Requirement]) -> list[tuple[str, str]]:
    found = {
        (member.key[0], name): None
        for each in requirements
        for _, member in _printed(each.terms)
        for name in member.shares
    }
    return list(found)


def _draws(
    laws: dict[tuple[str, str], Printed], instruments: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return standard normal draws, (n, all coefficients + instruments), and scales.

    The scale of a law is the root of its degrees of freedom over chi squared, (n, laws).
    """
    from scipy.special import gammaincinv, ndtri
    from scipy.stats import qmc

    width = sum(len(m.law.terms) for m in laws.values()) + instruments
    points = qmc.Sobol(width + len(laws), seed=_SEED).random(_DRAWS)
    points = np.clip(points, 1e-12, 1 - 1e-12)
    half = np.array([m.law.degrees_of_freedom / 2 for m in laws.values()])
    return ndtri(points[:, :width]), np.sqrt(half / gammaincinv(half, points[:, width:]))


def _shift(
    terms: Sequence[Term],
    laws: dict[tuple[str, str], Printed],
    instruments: Sequence[tuple[str, str]],
    normal: NDArray[np.float64],
    scales: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return by how much the mean clearance is off for each draw of the laws, (n,)."""
    shift = np.zeros(_DRAWS)
    start = 0
    for number, (key, law) in enumerate(laws.items()):
        stop = start + len(law.law.terms)
        row = np.sum([s * m.row for s, m in _printed(terms) if m.key == key], axis=0)
        if np.ndim(row):
            root = _root(law)
            shift += (normal[:, start:stop] @ (root.T @ row)) * scales[:, number]
        start = stop
    for number, (source, name) in enumerate(instruments):
        change = sum(
            sign * member.constant_weight * member.shares.get(name, 0.0)
            for sign, member in _printed(terms)
            if member.key[0] == source
        )
        shift += change * normal[:, start + number]
    return shift


def _root(member: Printed) -> NDArray[np.float64]:
    """Return a root of a law's covariance without its instruments' share, (k, k)."""
    covariance = np.array(member.law.covariance)
    if "constant" in member.law.terms:
        place = member.law.terms.index("constant")
        common = sum(share**2 for share in member.shares.values())
        covariance[place, place] -= common
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.clip(values, 0.0, None)))


def _scatter(
    terms: Sequence[Term],
    laws: dict[tuple[str, str], Printed],
    scales: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the standard deviation of one pair about its mean, for each draw, (n,)."""
    places = {key: number for number, key in enumerate(laws)}
    variance = np.zeros(_DRAWS)
    for _, member in _printed(terms):
        variance += (member.repeatability * scales[:, places[member.key]]) ** 2
    return np.sqrt(variance)


def _within(
    each: Requirement, shift: NDArray[np.float64], scatter: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the probability of one pair between its limits, for each draw, (n,)."""
    made = [member for _, member in each.terms if isinstance(member, Made)]
    half = sum((member.upper - member.lower) / 2 for member in made)
    mean = sum(sign * member.expected for sign, member in each.terms)
    nodes, weights = np.polynomial.legendre.leggauss(_NODES if half else 1)
    middle = mean + shift[:, None] + half * nodes[None, :]
    inside = np.ones_like(middle)
    if each.most is not None:
        inside = _normal_below(each.most - middle, scatter)
    if each.least is not None:
        inside = inside - _normal_below(each.least - middle, scatter)
    return np.asarray(np.clip(inside @ weights / 2.0, 0.0, 1.0))


def _normal_below(
    away: NDArray[np.float64], scatter: NDArray[np.float64]
) -> NDArray[np.float64]:
    from scipy.special import ndtr

    return np.asarray(ndtr(away / np.maximum(scatter, 1e-12)[:, None]))
