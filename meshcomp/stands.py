"""How a part stands on the bed: which direction of the file points up.

A stand is a rotation by quarter turns, so turning a part and turning it back is exact
to the last bit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meshcomp.errors import OptionError

__all__ = ["STANDS", "Stand", "stand"]

# Rows are the file directions that become X, Y, Z of the bed; all are rotations.
_ROWS: dict[str, tuple[str, str, str]] = {
    "+Z": ("+X", "+Y", "+Z"),
    "-Z": ("+X", "-Y", "-Z"),
    "+X": ("+Y", "+Z", "+X"),
    "-X": ("-Y", "+Z", "-X"),
    "+Y": ("+Z", "+X", "+Y"),
    "-Y": ("-Z", "+X", "-Y"),
}
STANDS = tuple(_ROWS)


@dataclass(frozen=True, slots=True)
class Stand:
    """The direction of the file that points up on the bed.

    Examples
    --------
    >>> on_its_side = stand("+X")
    >>> on_its_side.to_bed([(7.0, 1.0, 2.0)]).tolist()
    [[1.0, 2.0, 7.0]]
    >>> on_its_side.to_file([(1.0, 2.0, 7.0)]).tolist()
    [[7.0, 1.0, 2.0]]
    """

    up: str

    @property
    def _order_and_sign(self) -> tuple[list[int], NDArray[np.float64]]:
        rows = _ROWS[self.up]
        order = ["XYZ".index(name[1]) for name in rows]
        return order, np.array([1.0 if name[0] == "+" else -1.0 for name in rows])

    def to_bed(self, points: ArrayLike) -> NDArray[np.float64]:
        """Turn points or directions, (n, 3) float, from the file's frame to the bed's."""
        order, sign = self._order_and_sign
        # Adding zero turns -0.0 into 0.0, which prints better and compares alike.
        return np.asarray(points, dtype=np.float64)[..., order] * sign + 0.0

    def to_file(self, points: ArrayLike) -> NDArray[np.float64]:
        """Turn points or directions, (n, 3) float, from the bed's frame to the file's."""
        order, sign = self._order_and_sign
        turned = np.asarray(points, dtype=np.float64) * sign + 0.0
        return turned[..., np.argsort(order)]


def stand(up: str) -> Stand:
    """Return the stand that points a direction of the file up.

    Parameters
    ----------
    up : str
        One of `STANDS`: '+Z', '-Z', '+X', '-X', '+Y', '-Y'; a bare letter means '+'.

    Raises
    ------
    OptionError
        If `up` is none of these.
    """
    name = up.strip().upper()
    name = f"+{name}" if len(name) == 1 else name
    if name not in _ROWS:
        raise OptionError(f"up is {up!r}: give one of {', '.join(STANDS)}")
    return Stand(name)
