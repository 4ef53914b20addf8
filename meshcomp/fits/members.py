"""The two sides of a mate: a size or a flank that will be printed, or a part that is made.

A printed size is linear in the coefficients of its law, so that two sizes of one
calibration have a covariance; a made part, such as a bearing, has limits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import isfinite, sqrt

import numpy as np
from numpy.typing import NDArray

from meshcomp.deviations import SizeLaw, design_matrix
from meshcomp.errors import OptionError

__all__ = ["Made", "Member", "Printed", "printed_flank", "printed_size"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Printed:
    """A length that will be printed: its expectation and what that depends on, mm.

    `shares` are the standard uncertainties that each measuring instrument's own error
    leaves in the constant of the law, by instrument; they are part of its covariance, and
    common to all laws that were measured with that instrument.
    """

    expected: float
    law: SizeLaw
    key: tuple[str, str]  # content of the calibration, and the law's kind
    row: NDArray[np.float64]  # (k,) change of the length per change of each coefficient
    repeatability: float  # standard deviation of one print about the law
    shares: Mapping[str, float] = field(default_factory=dict)

    @property
    def standard_uncertainty(self) -> float:
        """Return the standard uncertainty of the expectation: coefficients alone, mm."""
        return sqrt(max(float(self.row @ self.law.covariance @ self.row), 0.0))

    @property
    def constant_weight(self) -> float:
        """Return the change of the length per change of the law's constant."""
        terms = self.law.terms
        return float(self.row[terms.index("constant")]) if "constant" in terms else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A length of a part that is bought or made to limits, any value as likely, mm.

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7: a rectangular distribution where only limits are known.
    """

    lower: float
    upper: float

    def __post_init__(self) -> None:
        if not (isfinite(self.lower) and isfinite(self.upper) and self.lower <= self.upper):
            raise OptionError(
                f"limits must be two sizes, the smaller first, got {self.lower:g} and "
                f"{self.upper:g} mm"
            )

    @property
    def expected(self) -> float:
        """Return the middle of the limits, mm."""
        return (self.lower + self.upper) / 2


Member = Printed | Made


def printed_size(
    law: SizeLaw,
    mesh_size: float,
    *,
    key: tuple[str, str],
    shares: Mapping[str, float] | None = None,
) -> Printed:
    """Return the size that a mesh size in mm will print in.

    Parameters
    ----------
    law : SizeLaw
        Of the feature's kind.
    mesh_size : float
        In the mesh that is printed, mm.
    key : tuple of str
        Content hash of the calibration, and the kind: members with one key share their
        coefficients.
    shares : mapping, optional
        See `Printed`.

    Examples
    --------
    >>> from meshcomp.calibration.record import *
    >>> record = read_calibration(invented_calibration_path())
    >>> bore = printed_size(record.model.laws["bore"], 8.149, key=("invented", "bore"))
    >>> round(bore.expected, 3), round(bore.standard_uncertainty, 3)  # mm
    (8.0, 0.014)
    """
    return Printed(
        expected=law.printed_size(mesh_size),
        law=law,
        key=key,
        row=design_matrix([mesh_size], law.terms)[0],
        repeatability=law.repeatability,
        shares=dict(shares or {}),
    )


def printed_flank(
    law: SizeLaw,
    offset: float,
    *,
    is_internal: bool = False,
    key: tuple[str, str],
    shares: Mapping[str, float] | None = None,
) -> Printed:
    """Return how far one flank will print beyond the drawn one, outwards, mm.

    A size has two sides: half of the law's constant is one side's. Prints of a size
    scatter by both of them, each by the root of one half if they do so independently.

    Parameters
    ----------
    law : SizeLaw
        Of the kind whose constant the flank follows.
    offset : float
        Of the flank in the mesh, along its outward normal, mm.
    is_internal : bool
        Whether the flank bounds a void: material then lies outside the size.
    key, shares
        As for `printed_size`.

    Examples
    --------
    >>> from meshcomp.calibration.record import *
    >>> record = read_calibration(invented_calibration_path())
    >>> outside = record.model.laws["outside x"]  # grows by 0.1 mm
    >>> round(printed_flank(outside, -0.05, key=("invented", "outside x")).expected, 6)
    0.0
    """
    terms = dict(zip(law.terms, law.coefficients.tolist(), strict=True))
    half = -0.5 if is_internal else 0.5
    row = np.array([half if term == "constant" else 0.0 for term in law.terms])
    return Printed(
        expected=offset + half * terms.get("constant", 0.0),
        law=law,
        key=key,
        row=row,
        repeatability=law.repeatability / sqrt(2.0),
        shares=dict(shares or {}),
    )
