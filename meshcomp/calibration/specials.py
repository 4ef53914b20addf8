"""What is not a size law: skew of the axes, flare of the first layers, flow."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import hypot, sqrt

import numpy as np

from meshcomp.calibration.observations import UNSTATED, observations
from meshcomp.calibration.results import Flow
from meshcomp.deviations import Flare, Skew
from meshcomp.errors import CalibrationError
from meshcomp.measurements.readings import Reading

__all__ = ["flare_of", "flow_of", "skew_of"]

Scatter = Mapping[str, float]


def _mean(reading: Reading) -> float:
    return float(np.mean(reading.values))


def _exact(readings: Sequence[Reading], *kinds: str) -> list[Reading]:
    return [r for r in readings if r.kind in kinds and r.values]


def skew_of(
    readings: Sequence[Reading], repeatability: float, scatter: Scatter
) -> tuple[Skew | None, str]:
    """Estimate the skew of the axes from the two diagonals of squares.

    A shear by a small angle g, (x, y) to (x + g y, y), leaves the diagonals of a square
    of side L with D+² - D-² = 4 g L², and the nominal diagonal is D² = 2 L². What walls
    gain or lose cancels in the difference.

    Parameters
    ----------
    readings : sequence of Reading
        Those of kind "diagonal +" and "diagonal -" are taken, in pairs of one piece.
    repeatability : float
        Of one outside size, mm.
    scatter : mapping
        Of readings by instrument, as from `reading_scatter`.

    Returns
    -------
    skew : Skew or None
        None where not measured or less than twice its uncertainty.
    words : str
        Why there is none, or an empty text.
    """
    pairs = _diagonal_pairs(readings)
    if not pairs:
        return None, "skew of the axes: not measured (two diagonals of a square tell it)"
    angles, variances = [], []
    for plus, minus in pairs:
        size = plus.nominal_size
        angles.append((_mean(plus) ** 2 - _mean(minus) ** 2) / (2 * size**2))
        noise = observations([plus, minus], scatter).uncertainties
        spreads = [hypot(repeatability, float(u)) for u in noise]
        variances.append(sum((spread / size) ** 2 for spread in spreads))
    angle = float(np.mean(angles))
    uncertainty = sqrt(sum(variances)) / len(pairs)
    if abs(angle) < 2 * uncertainty:
        return None, (
            f"skew of the axes: not supported ({angle * 1000:+.2f} mm/m is less than "
            f"twice its standard uncertainty of {uncertainty * 1000:.2f} mm/m)"
        )
    return Skew(angle=angle, standard_uncertainty=uncertainty), ""


def _diagonal_pairs(readings: Sequence[Reading]) -> list[tuple[Reading, Reading]]:
    minus = {(r.piece, r.nominal_size): r for r in _exact(readings, "diagonal -")}
    found = []
    for plus in _exact(readings, "diagonal +"):
        other = minus.get((plus.piece, plus.nominal_size))
        if other is not None:
            found.append((plus, other))
    return found


def flare_of(
    readings: Sequence[Reading], *, height: float, repeatability: float, scatter: Scatter
) -> tuple[Flare | None, str]:
    """Estimate how far the first layers spread, from sizes at the foot and above it.

    Parameters
    ----------
    readings : sequence of Reading
        Kind "foot" at the first layers; "outside x" and "outside y" of the same piece
        and size above them.
    height : float
        Of the layers that spread, mm.
    repeatability : float
        Of one outside size, mm.
    scatter : mapping
        Of readings by instrument.

    Returns
    -------
    flare : Flare or None
    words : str
        Why there is none, or an empty text.
    """
    above = _exact(readings, "outside x", "outside y")
    growths, variances = [], []
    for foot in _exact(readings, "foot"):
        fellows = [
            r
            for r in above
            if r.piece == foot.piece and abs(r.nominal_size - foot.nominal_size) < 1e-6  # noqa: PLR2004
        ]
        if fellows:
            growths.append((_mean(foot) - float(np.mean([_mean(r) for r in fellows]))) / 2)
            noise = observations([foot, *fellows], scatter).uncertainties
            first, *others = [repeatability**2 + float(u) ** 2 for u in noise]
            variances.append((first + sum(others) / len(others) ** 2) / 4)
    if not growths:
        return None, "flare of the first layers: not measured"
    growth = float(np.mean(growths))
    uncertainty = sqrt(sum(variances)) / len(growths)
    if abs(growth) < 2 * uncertainty:
        return None, (
            f"flare of the first layers: not supported ({growth:+.3f} mm a side is less "
            f"than twice its standard uncertainty of {uncertainty:.3f} mm)"
        )
    return Flare(growth=growth, height=height, standard_uncertainty=uncertainty), ""


def flow_of(readings: Sequence[Reading]) -> Flow | None:
    """Return the factor for the extrusion flow from walls of a single line.

    Common practice, no source: the thickness intended over the mean one measured.

    Parameters
    ----------
    readings : sequence of Reading
        Those of kind "strip" are taken; they must share one nominal thickness.

    Raises
    ------
    CalibrationError
        If strips of several thicknesses were measured: one flow serves one line width.

    References
    ----------
    JCGM 100:2008 (GUM), 4.2, 4.3.7 and F.2.2.1.

    Examples
    --------
    >>> strip = Reading(piece="strip", feature_id="W1", kind="strip", nominal_size=0.44,
    ...     mesh_size=0.44, values=(0.44, 0.45, 0.46))
    >>> round(flow_of([strip]).ratio, 3)
    0.978
    """
    strips = _exact(readings, "strip")
    if not strips:
        return None
    sizes = sorted({r.nominal_size for r in strips})
    if len(sizes) > 1:
        raise CalibrationError(
            "wall strips of several thicknesses were measured "
            f"({', '.join(f'{size:g}' for size in sizes)} mm): give those of one line width"
        )
    values = np.array([value for r in strips for value in r.values])
    measured = float(values.mean())
    instruments = [r.instrument or UNSTATED for r in strips]
    step = max(i.resolution for i in instruments)
    limit = max(i.accuracy or 0.0 for i in instruments)
    scatter = float(values.var(ddof=1)) / len(values) if len(values) > 1 else 0.0
    uncertainty = sqrt(scatter + step**2 / 12 + limit**2 / 3)
    ratio = sizes[0] / measured
    return Flow(
        intended=sizes[0],
        measured=measured,
        ratio=ratio,
        standard_uncertainty=ratio * uncertainty / measured,
        readings=len(values),
    )
