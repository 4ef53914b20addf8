"""What a reader takes out of a file, before it is welded, scaled and turned."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Contents", "Shape"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Shape:
    """The triangles of one mesh object, in its own coordinates and the file's unit.

    `placement` is the (4, 4) matrix to the file's build coordinates, still in the
    file's unit; None stands for no transform at all.
    """

    name: str
    points: NDArray[np.float64]  # (n, 3)
    faces: NDArray[np.int64]  # (m, 3)
    resource: int | None = None
    placement: NDArray[np.float64] | None = None
    copies: int = 1


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Contents:
    """All shapes of a file; `unit` is None where the format has none."""

    shapes: tuple[Shape, ...]
    unit: str | None = None
    notes: tuple[str, ...] = ()  # what a person should know, in words
