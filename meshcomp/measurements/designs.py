"""Which sizes to print so that the size law is determined best: D-optimal designs.

A design is D-optimal when the determinant of its information matrix is as large as it
can be: the ellipsoid that holds the coefficients is then the smallest.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from meshcomp.deviations import design_matrix
from meshcomp.errors import OptionError

__all__ = ["d_efficiency", "d_optimal_sizes", "next_sizes"]

_RIDGE = 1e-9  # lets a design grow from nothing


def _information(sizes: Sequence[float], terms: Sequence[str]) -> NDArray[np.float64]:
    k = len(terms)
    if not len(sizes):
        return np.zeros((k, k))
    design = design_matrix(np.asarray(sizes, dtype=np.float64), terms)
    return np.asarray(design.T @ design)


def next_sizes(
    available: Sequence[float],
    terms: Sequence[str],
    count: int,
    *,
    present: Sequence[float] = (),
) -> tuple[float, ...]:
    """Return the sizes that add most to what is known, one after the other.

    Each one raises the determinant of the information matrix most; a size may come
    twice, since a second print of it also tells.

    Parameters
    ----------
    available : sequence of float
        Sizes to choose from, mm.
    terms : sequence of str
        Of the law to be determined.
    count : int
        How many to choose.
    present : sequence of float
        Sizes measured already, mm.

    Examples
    --------
    >>> next_sizes([2.0, 4.0, 8.0, 30.0], ("constant", "inverse"), 1, present=[30.0])
    (2.0,)
    """
    scale = np.sqrt(np.diag(_information(available, terms)) / max(len(available), 1))
    design = design_matrix(available, terms) / scale
    matrix = _information(present, terms) / np.outer(scale, scale)
    matrix = matrix + _RIDGE * np.eye(len(terms))
    chosen: list[float] = []
    for _ in range(count):
        # det(M + x x') = det(M) (1 + x' M^-1 x): the largest leverage wins.
        gain = np.einsum("ij,jk,ik->i", design, np.linalg.inv(matrix), design)
        best = int(np.argmax(gain.round(9)))
        chosen.append(float(available[best]))
        matrix = matrix + np.outer(design[best], design[best])
    return tuple(chosen)


def d_optimal_sizes(
    available: Sequence[float], terms: Sequence[str], count: int
) -> tuple[float, ...]:
    """Return `count` different sizes whose information matrix has the largest determinant.

    Chosen by exchange: one size after another gives place to a better one until none
    does. All sizes differ, so that the law's shape can be judged as well.

    Parameters
    ----------
    available : sequence of float
        Different sizes to choose from, mm.
    terms : sequence of str
    count : int
        At least the number of terms.

    Raises
    ------
    OptionError
        If there are too few sizes to choose from, or too few are asked for.

    References
    ----------
    V. V. Fedorov, Theory of Optimal Experiments, 1972: exchange algorithm.

    Examples
    --------
    >>> d_optimal_sizes([2.0, 3.0, 5.0, 8.0, 20.0, 30.0], ("constant", "inverse"), 4)
    (2.0, 3.0, 20.0, 30.0)
    """
    if not len(terms) <= count <= len(available):
        raise OptionError(
            f"{count} sizes cannot be chosen from {len(available)} for a law of "
            f"{len(terms)} terms: ask for {len(terms)} to {len(available)}"
        )
    places = np.linspace(0, len(available) - 1, count).round().astype(int).tolist()
    sizes = [float(size) for size in sorted(available)]
    chosen = [sizes[place] for place in places]
    while True:
        better = _exchanged(chosen, sizes, terms)
        if better is None:
            return tuple(sorted(chosen))
        chosen = better


def _exchanged(
    chosen: list[float], sizes: list[float], terms: Sequence[str]
) -> list[float] | None:
    """Return the best exchange of one size, or None if none gains."""
    best, found = _log_determinant(chosen, terms) + 1e-9, None
    for place in range(len(chosen)):
        for size in sizes:
            if size not in chosen:
                tried = [*chosen[:place], size, *chosen[place + 1 :]]
                value = _log_determinant(tried, terms)
                if value > best:
                    best, found = value, tried
    return found


def _log_determinant(sizes: Sequence[float], terms: Sequence[str]) -> float:
    sign, value = np.linalg.slogdet(_information(sizes, terms))
    return float(value) if sign > 0 else float("-inf")


def d_efficiency(
    sizes: Sequence[float], reference: Sequence[float], terms: Sequence[str]
) -> float:
    """Return how much a design tells against another, for each size printed.

    It is the ratio of the determinants of the information per size, to the power of
    one over the number of terms: 0.8 means that 10 sizes tell as much as 8 of the
    other.

    Parameters
    ----------
    sizes, reference : sequence of float
        In mm.
    terms : sequence of str

    Examples
    --------
    >>> round(d_efficiency([2.0, 30.0], [2.0, 30.0], ("constant", "inverse")), 9)
    1.0
    """
    gain = _log_determinant(sizes, terms) - _log_determinant(reference, terms)
    return float(np.exp(gain / len(terms)) * len(reference) / len(sizes))
