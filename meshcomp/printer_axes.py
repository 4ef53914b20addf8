"""Errors of a printer's axes: their scales and the skew of Y towards X."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["PrinterAxes"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PrinterAxes:
    """The affine map by which a printer draws what it is asked for.

    About its centre a point x, y, z is drawn at X x + skew Y y, Y y, Z z, where X, Y and
    Z are the scales. In the bed's frame, mm.

    Examples
    --------
    >>> axes = PrinterAxes(scale=(1.001, 1.0, 1.0), skew=0.004)
    >>> axes.drawn([(100.0, 50.0, 3.0)]).round(6).tolist()
    [[100.3, 50.0, 3.0]]
    >>> axes.undone(axes.drawn([(100.0, 50.0, 3.0)])).round(9).tolist()
    [[100.0, 50.0, 3.0]]
    """

    scale: tuple[float, float, float] = (1.0, 1.0, 1.0)  # drawn over asked for
    skew: float = 0.0  # rad: Y leans towards X
    centre: tuple[float, float, float] = (0.0, 0.0, 0.0)  # stays where it is

    @property
    def matrix(self) -> NDArray[np.float64]:
        """The linear part, (3, 3): what is drawn of a column of coordinates."""
        x, y, z = self.scale
        return np.array([[x, self.skew * y, 0.0], [0.0, y, 0.0], [0.0, 0.0, z]])

    def drawn(self, points: ArrayLike) -> NDArray[np.float64]:
        """Return where the printer draws points, (n, 3)."""
        away = np.asarray(points, dtype=np.float64) - self.centre
        return np.asarray(away @ self.matrix.T + self.centre)

    def undone(self, points: ArrayLike) -> NDArray[np.float64]:
        """Return what to ask for so that points, (n, 3), are drawn where they are."""
        away = np.asarray(points, dtype=np.float64) - self.centre
        return np.asarray(away @ np.linalg.inv(self.matrix).T + self.centre)

    def stretch_across(self, direction: ArrayLike) -> float:
        """Return drawn distance over distance asked for, of two parallel planes.

        `direction`, (3,), is across the planes as drawn; normals go by the transposed
        map.
        """
        n = np.asarray(direction, dtype=np.float64)
        return float(np.linalg.norm(self.matrix.T @ n) / np.linalg.norm(n))

    def stretch_round(self, direction: ArrayLike) -> float:
        """Return drawn diameter over mean diameter asked for, about an axis as drawn.

        What is asked for is an ellipse: the circle of the same area counts.
        """
        return sqrt(abs(float(np.linalg.det(self.matrix))) / self.stretch_across(direction))

    def largest_shift(self, bounds: NDArray[np.float64]) -> float:
        """Return the largest displacement that undoing makes within a box, mm.

        Parameters
        ----------
        bounds : (2, 3) float
            Lowest and highest corner; the map is linear, so a corner moves farthest.
        """
        low, high = np.asarray(bounds, dtype=np.float64)
        corners = np.array(np.meshgrid(*np.column_stack([low, high]))).reshape(3, -1).T
        return float(np.linalg.norm(self.undone(corners) - corners, axis=1).max())

    @property
    def is_true(self) -> bool:
        """Whether there is nothing to undo."""
        return self.skew == 0 and self.scale == (1.0, 1.0, 1.0)

    def in_words(self) -> str:
        """Say what the printer does.

        Examples
        --------
        >>> PrinterAxes(scale=(1.001, 1.0, 1.0), skew=0.004).in_words()
        'X too long by 1.00 mm/m, Y leans towards X by +4.00 mm/m'
        """
        words = [
            f"{axis} too {'long' if error > 0 else 'short'} by {abs(error):.2f} mm/m"
            for axis, error in zip("XYZ", (np.array(self.scale) - 1) * 1000, strict=True)
            if error
        ]
        if self.skew:
            words.append(f"Y leans towards X by {self.skew * 1000:+.2f} mm/m")
        return ", ".join(words) or "true"
