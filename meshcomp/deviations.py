"""The process model: by how much a print's size deviates from the mesh it was made of.

A feature whose size in the mesh is x prints, on average, at x plus the deviation

    a_scale x + a_constant + a_inverse / x

where only the terms that the measurements support are present. `a_scale` is the scale
factor minus one; for a bore `a_constant` is minus twice the closing of its wall and
`a_inverse` is minus the closing that grows as the bore gets small. All sizes in mm.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import isfinite, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meshcomp.errors import CalibrationError

__all__ = [
    "KINDS",
    "TERMS",
    "Flare",
    "ProcessModel",
    "SeamBump",
    "SizeLaw",
    "Skew",
    "design_matrix",
]

TERMS = ("scale", "constant", "inverse")
KINDS = (
    "bore",
    "lying bore width",
    "lying bore height",
    "boss",
    "outside x",
    "outside y",
    "slot",
)
_POWERS = {"scale": 1, "constant": 0, "inverse": -1}


def design_matrix(sizes: ArrayLike, terms: Sequence[str]) -> NDArray[np.float64]:
    """Return the matrix whose product with the coefficients is the deviation.

    Parameters
    ----------
    sizes : (n,) float
        Mesh sizes in mm, above zero.
    terms : sequence of str
        Of `TERMS`.

    Returns
    -------
    (n, k) float

    Examples
    --------
    >>> design_matrix([2.0, 4.0], ("constant", "inverse")).tolist()
    [[1.0, 0.5], [1.0, 0.25]]
    """
    x = np.atleast_1d(np.asarray(sizes, dtype=np.float64))
    return np.column_stack([x ** float(_POWERS[term]) for term in terms])


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SizeLaw:
    """How the size of one kind of feature deviates in print, with its uncertainty.

    Examples
    --------
    >>> law = SizeLaw(terms=("constant", "inverse"), coefficients=[-0.1, -0.4],
    ...     covariance=[[1e-4, 0.0], [0.0, 1e-4]], repeatability=0.02,
    ...     degrees_of_freedom=8.0, valid_from=2.0, valid_to=30.0)
    >>> round(law.printed_size(8.0), 6)  # mm
    7.85
    >>> round(law.mesh_size_for(7.85), 6)  # mm
    8.0
    """

    terms: tuple[str, ...]  # a subset of TERMS, in their order
    coefficients: NDArray[np.float64]  # (k,)
    covariance: NDArray[np.float64]  # (k, k)
    repeatability: float  # standard deviation of one print about the law, mm
    degrees_of_freedom: float
    valid_from: float  # smallest measured size, mm
    valid_to: float  # largest measured size, mm

    def __post_init__(self) -> None:
        _check_terms(self.terms)
        k = len(self.terms)
        for name, shape in (("coefficients", (k,)), ("covariance", (k, k))):
            array = np.array(getattr(self, name), dtype=np.float64)
            if array.shape != shape or not np.isfinite(array).all():
                raise CalibrationError(
                    f"{name} of a law with {k} terms must be finite numbers of shape "
                    f"{shape}, got shape {array.shape}"
                )
            array.flags.writeable = False
            object.__setattr__(self, name, array)
        _check_covariance(self.covariance)
        _check_scalars(self)

    def deviation(self, size: float) -> float:
        """Return print minus mesh at a mesh size in mm, mm."""
        return float(self._row(size) @ self.coefficients)

    def printed_size(self, size: float) -> float:
        """Return the size in print expected of a mesh size in mm, mm."""
        return size + self.deviation(size)

    def standard_uncertainty(self, size: float) -> float:
        """Return the standard uncertainty of the expected deviation, mm.

        It comes from the coefficients alone: more test pieces make it smaller.
        """
        row = self._row(size)
        return sqrt(max(float(row @ self.covariance @ row), 0.0))

    def prediction_uncertainty(self, size: float) -> float:
        """Return the standard uncertainty of one single print's size, mm."""
        return float(np.hypot(self.standard_uncertainty(size), self.repeatability))

    def prediction_interval(self, size: float, level: float = 0.95) -> tuple[float, float]:
        """Return the sizes between which one print lies with a probability, mm.

        Parameters
        ----------
        size : float
            Mesh size in mm.
        level : float
            Probability, between 0 and 1.

        Returns
        -------
        lower, upper : float
            Printed sizes in mm.

        References
        ----------
        JCGM 100:2008 (GUM), annex G: Student's t for the degrees of freedom.
        """
        from scipy.special import stdtrit

        factor = float(stdtrit(self.degrees_of_freedom, (1.0 + level) / 2.0))
        half = factor * self.prediction_uncertainty(size)
        printed = self.printed_size(size)
        return printed - half, printed + half

    def mesh_size_for(self, target: float) -> float:
        """Return the mesh size that is expected to print at a target size, mm.

        With the scale s = 1 + a_scale, it is the larger root M of
        s M² - (target - a_constant) M + a_inverse = 0.

        Raises
        ------
        CalibrationError
            If no mesh size above zero prints at the target.
        """
        a = dict(zip(self.terms, self.coefficients.tolist(), strict=True))
        scale = 1.0 + a.get("scale", 0.0)
        wanted = target - a.get("constant", 0.0)
        discriminant = wanted**2 - 4.0 * scale * a.get("inverse", 0.0)
        if discriminant < 0 or scale <= 0 or wanted + sqrt(discriminant) <= 0:
            raise CalibrationError(
                f"no mesh size prints at {target:g} mm: the law ({self.in_words()}) "
                f"is measured from {self.valid_from:g} to {self.valid_to:g} mm; "
                "ask for a larger size, or leave the feature alone"
            )
        return float((wanted + sqrt(discriminant)) / (2.0 * scale))

    def covers(self, size: float) -> bool:
        """Whether a mesh size in mm lies within the measured sizes."""
        slack = 1e-9 * max(self.valid_to, 1.0)
        return self.valid_from - slack <= size <= self.valid_to + slack

    def in_words(self) -> str:
        """Return the deviation as a formula in the mesh size x, mm.

        Examples
        --------
        >>> SizeLaw(terms=("constant",), coefficients=[0.06], covariance=[[0.0]],
        ...     repeatability=0.02, degrees_of_freedom=1.0, valid_from=2.0,
        ...     valid_to=3.0).in_words()
        '+0.0600'
        """
        forms = {"scale": "{:+.5f} x", "constant": "{:+.4f}", "inverse": "{:+.4f}/x"}
        pairs = zip(self.terms, self.coefficients.tolist(), strict=True)
        return " ".join(forms[term].format(value) for term, value in pairs)

    def _row(self, size: float) -> NDArray[np.float64]:
        if not size > 0:
            raise CalibrationError(f"a size must be above zero, got {size:g} mm")
        return np.array([float(size) ** _POWERS[term] for term in self.terms])


def _check_terms(terms: tuple[str, ...]) -> None:
    if not terms or tuple(t for t in TERMS if t in terms) != tuple(terms):
        raise CalibrationError(
            f"terms of a law are {', '.join(TERMS)} in this order, each at most once "
            f"and at least one of them; got {', '.join(terms) or 'none'}"
        )


def _check_covariance(covariance: NDArray[np.float64]) -> None:
    scale = np.sqrt(np.abs(np.diag(covariance)))
    scale = np.where(scale > 0, scale, 1.0)
    relative = covariance / np.outer(scale, scale)
    if not np.allclose(relative, relative.T, rtol=0, atol=1e-6):
        raise CalibrationError("covariance is not symmetric")
    smallest = float(np.linalg.eigvalsh((relative + relative.T) / 2).min())
    if smallest < -1e-6:  # noqa: PLR2004 - rounding of a record's digits
        raise CalibrationError(
            f"covariance is no covariance: an eigenvalue is negative ({smallest:.3g} "
            "after scaling its diagonal to one)"
        )


def _check_scalars(law: SizeLaw) -> None:
    for name in ("repeatability", "degrees_of_freedom", "valid_from", "valid_to"):
        value = float(getattr(law, name))
        if not isfinite(value):
            raise CalibrationError(f"{name} must be a finite number, got {value}")
        object.__setattr__(law, name, value)
    if law.repeatability < 0:
        raise CalibrationError(f"repeatability is negative: {law.repeatability:g} mm")
    if law.degrees_of_freedom <= 0:
        raise CalibrationError(
            f"degrees_of_freedom must be above zero, got {law.degrees_of_freedom:g}"
        )
    if not 0 < law.valid_from <= law.valid_to:
        raise CalibrationError(
            f"valid sizes must go from above zero upwards, got {law.valid_from:g} to "
            f"{law.valid_to:g} mm"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Skew:
    """By how much the printer's Y axis leans towards its X axis.

    A point (x, y) prints at (x + angle * y, y): positive where the angle between the
    axes is below 90 degrees.
    """

    angle: float  # rad
    standard_uncertainty: float  # rad


@dataclass(frozen=True, slots=True, kw_only=True)
class Flare:
    """By how much the first layers spread outwards."""

    growth: float  # per side, mm
    height: float  # of the layers that spread, mm
    standard_uncertainty: float  # of the growth, mm


@dataclass(frozen=True, slots=True, kw_only=True)
class SeamBump:
    """How high the seam stands out of a round wall, mm."""

    height: float
    standard_uncertainty: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ProcessModel:
    """All that is known of one printer, material and setting; None: not measured."""

    laws: Mapping[str, SizeLaw] = field(default_factory=dict)  # by kind, as in KINDS
    skew: Skew | None = None
    flare: Flare | None = None
    height: SizeLaw | None = None
    seam: SeamBump | None = None

    def law(self, kind: str) -> SizeLaw | None:
        """Return the law of a kind of feature, or None if it was not measured."""
        return self.laws.get(kind)
