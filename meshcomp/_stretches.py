"""Stretches from and to on a line: joined, and what two lists of them share."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["SAME", "in_common", "merged"]

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
