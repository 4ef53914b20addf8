"""Points rounded as they will be written."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.files.precision import in_short

__all__ = ["rounded"]


def rounded(
    points: NDArray[np.float64], levels: NDArray[np.float64], unit: float = 1.0
) -> NDArray[np.float64]:
    """Round points to the 32 bits that most files have, but for heights to be kept.

    Parameters
    ----------
    points : (n, 3) float
        In mm.
    levels : (k,) float
        Heights, mm, where points stay that are there but for rounding: files of text
        hold ends of parts that 32 bits cannot tell, and those must not move.
    unit : float, optional
        Of the file, mm: what is rounded is the number that it will hold.

    Examples
    --------
    >>> points = np.array([(0.1, 0.2, 6.9), (0.1, 0.2, 3.3)])
    >>> rounded(points, np.array([0.0, 6.9]))[:, 2].tolist()
    [6.9, 3.299999952316284]
    """
    made = in_short(points, unit)
    for level, short in zip(levels.tolist(), in_short(levels, unit), strict=True):
        made[made[:, 2] == short, 2] = level
    return made
