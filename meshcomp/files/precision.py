"""What writing a part and reading it back makes of its numbers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.files.units import MM_IN
from meshcomp.parts import Part

__all__ = ["as_held", "holding_limit", "in_short", "unit_held"]

_SHORT = ("stl", "3mf")  # formats of 32-bit numbers
_SUMS = 8 * float(np.finfo(np.float64).eps)  # of a transform there and back


def as_held(part: Part, lengths: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return lengths as the file of a part holds them, in its unit and format.

    Parameters
    ----------
    part : Part
        As read from that file.
    lengths : (n,) float
        In mm.

    Examples
    --------
    >>> import meshcomp
    >>> ring = meshcomp.demo_part("shaft_spacer")
    >>> ring.source.format, ring.source.unit
    ('stl', 'mm')
    >>> as_held(ring, np.array([12.5, 12.7])).tolist()
    [12.5, 12.699999809265137]
    """
    unit = MM_IN[part.source.unit]
    if part.source.format in _SHORT:
        return in_short(lengths, unit)
    return np.asarray(lengths / unit * unit)


def in_short(lengths: NDArray[np.float64], unit: float) -> NDArray[np.float64]:
    """Return lengths, (...) mm, as 32 bits hold them in a unit, mm.

    Examples
    --------
    >>> in_short(np.array([12.5, 12.7]), 1.0).tolist()
    [12.5, 12.699999809265137]
    """
    return np.asarray((lengths / unit).astype(np.float32).astype(np.float64) * unit)


def unit_held(part: Part) -> float:
    """Return the unit, mm, in which a part's file holds 32-bit numbers; else that of mm.

    Examples
    --------
    >>> import meshcomp
    >>> unit_held(meshcomp.demo_part("shaft_spacer"))
    1.0
    """
    return MM_IN[part.source.unit] if part.source.format in _SHORT else 1.0


def holding_limit(part: Part) -> float:
    """Return how far a coordinate may be from `as_held`, mm.

    Nothing, but in a 3MF file, where an object's own coordinates are rounded and turned
    and shifted into place.
    """
    if part.source.format != "3mf":
        return 0.0
    largest = float(np.abs(part.mesh.bounds).max())
    own = [
        float(np.abs(piece.to_bed[:3, 3]).max())
        for piece in part.pieces
        if piece.to_bed is not None
    ]
    reach = largest + max(own, default=0.0)
    return float(np.spacing(np.float32(reach))) + _SUMS * reach
