"""The probability that several mates fit at once, when they have something in common.

Two things tie mates together. If the calibration errs, it errs for all mates alike. And a
feature that takes part in several pairs is printed once: a bore that came out wide is wide
for each of them. Given the true laws and those prints, what is left of each pair is its
own, so that

    P(all fit) = E[ product over pairs of P(pair fits | laws, shared prints) ]

over what laws and shared prints may be: coefficients, instruments' errors and prints
normal, each law's scale by its degrees of freedom. The expectation is taken over a fixed
low-discrepancy set; what is a pair's own is integrated in closed form.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.fits.clearances import Term
from meshcomp.fits.members import Made, Printed

__all__ = ["Requirement", "probability_of_all"]

_DRAWS = 2**12
_FINE_DRAWS = 2**14  # where prints are shared: what a pair has of its own smooths less
_NODES = 24
_SEED = 1  # any fixed one: the same kit always gets the same figure


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Requirement:
    """What one pair asks: a clearance between limits.

    `prints` name the print of each term, in their order: pairs with a name in common share
    that print. None: a print of its own, or a part that is made.
    """

    terms: tuple[Term, ...]
    least: float | None  # mm
    most: float | None  # mm
    prints: tuple[str | None, ...] = ()


def probability_of_all(requirements: Sequence[Requirement]) -> float:
    """Return the probability that all pairs fit.

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

    Five bearings in one print of the seat, one after the other:

    >>> same = Requirement(terms=pair, least=0.0, most=None, prints=("seat", None))
    >>> round(probability_of_all([same] * 5), 2)
    0.96
    """
    drawn = _Drawn(requirements)
    result = np.ones(drawn.count)
    for each, pairs in drawn.alike(requirements):
        result *= _within(each, drawn.shift(each), drawn.scatter(each)) ** pairs
    return float(result.mean())


def _printed(each: Requirement) -> list[tuple[float, Printed, str | None]]:
    """Return sign, member and print of what is printed."""
    prints = each.prints or (None,) * len(each.terms)
    return [
        (sign, member, name)
        for (sign, member), name in zip(each.terms, prints, strict=True)
        if isinstance(member, Printed)
    ]


def _shared(requirements: Sequence[Requirement]) -> dict[str, int]:
    """Return numbers of the prints that take part in more than one pair."""
    uses = Counter(name for each in requirements for _, _, name in _printed(each) if name)
    return {name: n for n, name in enumerate(k for k, used in uses.items() if used > 1)}


class _Drawn:
    """Draws of all that pairs have in common: laws, instruments, shared prints."""

    def __init__(self, requirements: Sequence[Requirement]) -> None:
        self._shared = _shared(requirements)
        self._laws = {m.key: m for each in requirements for _, m, _ in _printed(each)}
        self._instruments = _instruments(requirements)
        self.count = _FINE_DRAWS if self._shared else _DRAWS
        widths = (
            sum(len(m.law.terms) for m in self._laws.values()),
            len(self._instruments),
            len(self._shared),
        )
        normal, scales = _draws(list(self._laws.values()), sum(widths), self.count)
        self._coefficients, self._errors, self._prints = np.split(
            normal, np.cumsum(widths)[:2], axis=1
        )
        self._scales = dict(zip(self._laws, scales.T, strict=True))

    def alike(self, requirements: Sequence[Requirement]) -> list[tuple[Requirement, int]]:
        """Return distinct pairs and how many are alike in all but prints of their own."""
        found: dict[object, list[Requirement]] = {}
        for each in requirements:
            names = tuple(n for _, _, n in _printed(each) if n in self._shared)
            found.setdefault((each.terms, each.least, each.most, names), []).append(each)
        return [(group[0], len(group)) for group in found.values()]

    def shift(self, each: Requirement) -> NDArray[np.float64]:
        """Return by how much the mean clearance is off in each draw, (n,) mm."""
        return self._by_laws(each) + self._by_instruments(each) + self._by_prints(each)

    def _by_laws(self, each: Requirement) -> NDArray[np.float64]:
        shift, start = np.zeros(self.count), 0
        for key, law in self._laws.items():
            stop = start + len(law.law.terms)
            row = np.sum([s * m.row for s, m, _ in _printed(each) if m.key == key], axis=0)
            if np.ndim(row):
                by = self._coefficients[:, start:stop] @ (_root(law).T @ row)
                shift += by * self._scales[key]
            start = stop
        return shift

    def _by_instruments(self, each: Requirement) -> NDArray[np.float64]:
        changes = [
            sum(
                sign * member.constant_weight * member.shares.get(name, 0.0)
                for sign, member, _ in _printed(each)
                if member.key[0] == source
            )
            for source, name in self._instruments
        ]
        return np.asarray(self._errors @ np.array(changes, dtype=np.float64))

    def _by_prints(self, each: Requirement) -> NDArray[np.float64]:
        shift = np.zeros(self.count)
        for sign, member, name in _printed(each):
            if name in self._shared:
                z = self._prints[:, self._shared[name]]
                shift += sign * member.repeatability * self._scales[member.key] * z
        return shift

    def scatter(self, each: Requirement) -> NDArray[np.float64]:
        """Return the standard deviation of what is the pair's own in each draw, (n,) mm."""
        variance = np.zeros(self.count)
        for _, member, name in _printed(each):
            if name not in self._shared:
                variance += (member.repeatability * self._scales[member.key]) ** 2
        return np.sqrt(variance)


def _instruments(requirements: Sequence[Requirement]) -> list[tuple[str, str]]:
    found = {
        (member.key[0], name): None
        for each in requirements
        for _, member, _ in _printed(each)
        for name in member.shares
    }
    return list(found)


def _draws(
    laws: Sequence[Printed], width: int, count: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return standard normal draws, (n, width), and scales of the laws, (n, laws).

    The scale of a law is the root of its degrees of freedom over chi squared.
    """
    from scipy.special import gammaincinv, ndtri
    from scipy.stats import qmc

    points = qmc.Sobol(width + len(laws), seed=_SEED).random(count)
    points = np.clip(points, 1e-12, 1 - 1e-12)
    half = np.array([m.law.degrees_of_freedom / 2 for m in laws])
    # The first columns are the evenest: they go to the few scales.
    scales = np.sqrt(half / gammaincinv(half, points[:, : len(laws)]))
    return ndtri(points[:, len(laws) :]), scales


def _root(member: Printed) -> NDArray[np.float64]:
    """Return a root of a law's covariance without its instruments' share, (k, k)."""
    covariance = np.array(member.law.covariance)
    if "constant" in member.law.terms:
        place = member.law.terms.index("constant")
        common = sum(share**2 for share in member.shares.values())
        covariance[place, place] -= common
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.clip(values, 0.0, None)))


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
