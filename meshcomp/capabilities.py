"""What a process can hold: how surely one print lies within a tolerance zone.

One print of a feature whose mesh size is M lies about the size that its law expects, by
Student's t with the law's degrees of freedom; its standard uncertainty joins that of the
coefficients, which more test pieces make smaller, and the repeatability, which nothing
does.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cache
from math import ceil, inf

import numpy as np
from numpy.typing import NDArray

from meshcomp.deviations import SizeLaw
from meshcomp.errors import OptionError
from meshcomp.tolerances import GRADES, Zone, limit_pair, zone

__all__ = ["HELD", "Capability", "between", "capability", "probability_inside"]

HELD = 0.95  # probability from which a zone counts as held
_STEP = 0.01  # mm, of limit pairs that are proposed
_NODES = 64  # of the quadrature over a counterpart's limits


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability:
    """How surely one print lies within a zone, aimed at a size in it; sizes in mm."""

    zone: Zone
    kind: str  # whose law was taken: "bore", "boss" ...
    target: float  # size aimed at, the middle of the zone unless told otherwise
    mesh_size: float  # that is expected to print at the target
    low: float  # 95 of 100 single prints lie between low and high
    high: float
    standard_uncertainty: float  # of the expected size
    repeatability: float  # standard deviation of one print
    probability: float  # that one print lies within the zone
    probability_if_known: float  # the same if the law's coefficients were known exactly
    holds: Zone | None  # finest zone of the same letter that 95 of 100 prints hold
    is_measured: bool  # whether the mesh size lies within the sizes measured

    @property
    def half_width(self) -> float:
        """Half of the interval that holds 95 of 100 single prints, mm."""
        return (self.high - self.low) / 2


def probability_inside(
    law: SizeLaw,
    mesh_size: float,
    lower: float | None,
    upper: float | None,
    *,
    knows_law: bool = False,
    shift: float = 0.0,
) -> float:
    """Return the probability that one print's size lies between two limits.

    Parameters
    ----------
    law : SizeLaw
        Of the feature's kind.
    mesh_size : float
        In mm.
    lower, upper : float or None
        Limits in mm; None: no limit on that side.
    knows_law : bool
        Take the coefficients for exact: the repeatability alone then scatters.
    shift : float
        By how much both limits may lie higher or lower together, mm, each shift as
        likely: half of a counterpart's tolerance.

    References
    ----------
    JCGM 100:2008 (GUM), annex G: Student's t for the degrees of freedom; 4.3.7: a
    rectangular distribution where only limits are known.

    Examples
    --------
    >>> law = SizeLaw(terms=("constant",), coefficients=[-0.1], covariance=[[4e-4]],
    ...     repeatability=0.02, degrees_of_freedom=10.0, valid_from=2.0, valid_to=30.0)
    >>> low, high = law.prediction_interval(8.1)
    >>> round(probability_inside(law, 8.1, low, high), 9)
    0.95
    """
    printed = law.printed_size(mesh_size)
    spread = law.repeatability if knows_law else law.prediction_uncertainty(mesh_size)
    limits = (
        -inf if lower is None else lower - printed,
        inf if upper is None else upper - printed,
    )
    return between(limits, spread, law.degrees_of_freedom, shift=shift)


def between(
    limits: tuple[float, float], spread: float, freedom: float, *, shift: float = 0.0
) -> float:
    """Return the probability that a Student's t about zero lies between two limits.

    Parameters
    ----------
    limits : tuple of float
        May be infinite, mm.
    spread : float
        Standard uncertainty, mm; 0 scatters nothing.
    freedom : float
        Degrees of freedom.
    shift : float
        As for `probability_inside`.
    """
    nodes, weights = _quadrature(_NODES if shift > 0 else 1)
    low, high = (_below(limit + shift * nodes, spread, freedom) for limit in limits)
    return max(float((high - low) @ weights) / 2.0, 0.0)


@cache
def _quadrature(count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Nodes and weights of Gauss and Legendre, which take longer than what is summed."""
    return np.polynomial.legendre.leggauss(count)


def _below(
    limits: NDArray[np.float64], spread: float, freedom: float
) -> NDArray[np.float64]:
    from scipy.special import stdtr

    if spread <= 0:
        return (limits >= 0).astype(np.float64)
    return np.asarray(stdtr(freedom, limits / spread), dtype=np.float64)


def capability(
    law: SizeLaw, wanted: Zone, kind: str, *, target: float | None = None
) -> Capability:
    """Return how surely a process prints within a zone.

    Parameters
    ----------
    law : SizeLaw
        Of the feature's kind.
    wanted : Zone
    kind : str
        What the law is of, to be told.
    target : float, optional
        Size to aim at, mm; the middle of the zone unless given.

    Raises
    ------
    CalibrationError
        If no mesh size prints at the target.

    Examples
    --------
    >>> from meshcomp.tolerances import parse_zone
    >>> law = SizeLaw(terms=("constant",), coefficients=[-0.1], covariance=[[1e-4]],
    ...     repeatability=0.02, degrees_of_freedom=10.0, valid_from=2.0, valid_to=30.0)
    >>> found = capability(law, parse_zone("22 H7"), "bore")
    >>> round(found.mesh_size, 4), round(found.probability, 2), found.holds.name
    (22.1105, 0.35, 'H11')
    """
    aim = wanted.middle if target is None else target
    mesh_size = law.mesh_size_for(aim)
    low, high = law.prediction_interval(mesh_size)
    limits = (wanted.lower_limit, wanted.upper_limit)
    return Capability(
        zone=wanted,
        kind=kind,
        target=aim,
        mesh_size=mesh_size,
        low=low,
        high=high,
        standard_uncertainty=law.standard_uncertainty(mesh_size),
        repeatability=law.repeatability,
        probability=probability_inside(law, mesh_size, *limits),
        probability_if_known=probability_inside(law, mesh_size, *limits, knows_law=True),
        holds=_finest_held(law, wanted),
        is_measured=law.covers(mesh_size),
    )


def _finest_held(law: SizeLaw, wanted: Zone) -> Zone | None:
    """Return the finest zone of the same letter, or about the same middle, that is held."""
    found = re.fullmatch(r"([A-Za-z]+)\d+", wanted.name)
    if found is None:
        return _pair_held(law, wanted)
    for grade in GRADES:
        try:
            tried = zone(wanted.nominal_size, f"{found[1]}{grade}")
        except OptionError:  # the letter has no such grade at this size
            continue
        if _is_held(law, tried):
            return tried
    return None


def _is_held(law: SizeLaw, tried: Zone) -> bool:
    mesh_size = law.mesh_size_for(tried.middle)
    limits = (tried.lower_limit, tried.upper_limit)
    return probability_inside(law, mesh_size, *limits) >= HELD


def _pair_held(law: SizeLaw, wanted: Zone) -> Zone:
    low, high = law.prediction_interval(law.mesh_size_for(wanted.middle), HELD)
    half = _STEP * ceil((high - low) / 2 / _STEP - 1e-9)
    middle = wanted.middle - wanted.nominal_size
    held = limit_pair(wanted.nominal_size, middle - half, middle + half)
    return replace(held, is_internal=wanted.is_internal)
