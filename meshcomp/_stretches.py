"""Stretches from and to on a line: joined, and what two lists of them share."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

__all__ = ["SAME", "in_common", "merged", "merged_apart"]

SAME = 1e-4  # mm, or radians: stretches with a smaller gap are one


def merged(stretches: NDArray[np.float64]) -> NDArray[np.float64]:
    """Join stretches, (n, 2) from and to, that overlap or touch: (k, 2), ascending.

    Examples
    --------
    >>> merged(np.array([(4.0, 5.0), (0.0, 2.0), (1.0, 3.0)])).tolist()
    [[0.0, 3.0], [4.0, 5.0]]
    """
    if len(stretches) == 0:
        return np.zeros((0, 2))
    ordered = stretches[np.argsort(stretches[:, 0], kind="stable")]
    reach = np.maximum.accumulate(ordered[:, 1])
    begins = np.flatnonzero(np.append(True, ordered[1:, 0] > reach[:-1] + SAME))
    return np.column_stack(
        [ordered[begins, 0], np.append(reach[begins[1:] - 1], reach[-1])]
    )


def merged_apart(
    stretches: NDArray[np.float64], groups: NDArray[np.int64], count: int
) -> list[NDArray[np.float64]]:
    """Join the stretches of each group, (n,) from 0 to `count` - 1, as `merged` does.

    Examples
    --------
    >>> of_two = merged_apart(np.array([(0.0, 2.0), (1.0, 3.0)]), np.array([1, 0]), 2)
    >>> [each.tolist() for each in of_two]
    [[[1.0, 3.0]], [[0.0, 2.0]]]
    """
    order = np.lexsort([stretches[:, 0], groups])
    ordered, groups = stretches[order], groups[order]
    starts, reach = ordered[:, 0], ordered[:, 1].copy()
    ends = np.searchsorted(groups, np.arange(count + 1))
    bounds = ends.tolist()
    for low, high in pairwise(bounds):
        np.maximum.accumulate(reach[low:high], out=reach[low:high])
    begins = np.ones(len(starts) + 1, dtype=bool)  # and one after the last
    begins[1:-1] = (starts[1:] > reach[:-1] + SAME) | (groups[1:] > groups[:-1])
    first = np.flatnonzero(begins)
    joined = np.stack([starts[first[:-1]], reach[first[1:] - 1]], axis=1)
    cuts = np.searchsorted(first[:-1], ends).tolist()
    return [joined[low:high] for low, high in pairwise(cuts)]


def in_common(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the stretches that two lists of them, (n, 2) and (m, 2), share: (k, 2).

    Examples
    --------
    >>> in_common(np.array([(0.0, 3.0)]), np.array([(1.0, 2.0), (4.0, 5.0)])).tolist()
    [[1.0, 2.0]]
    """
    low = np.maximum(a[:, None, 0], b[:, 0]).ravel()
    high = np.minimum(a[:, None, 1], b[:, 1]).ravel()
    return np.column_stack([low, high])[high > low]
