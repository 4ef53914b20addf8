"""How high the seam of a round wall stands out, from two diameters of round posts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import sqrt

import numpy as np

from meshcomp.calibration.observations import observations
from meshcomp.deviations import SeamBump
from meshcomp.measurements.readings import Reading

__all__ = ["seam_of"]

_ENOUGH = 3  # posts whose scatter tells the uncertainty


def seam_of(
    readings: Sequence[Reading], repeatability: float, scatter: Mapping[str, float]
) -> tuple[SeamBump | None, str]:
    """Estimate the height of the seam's bump.

    A diameter read through the seam is larger by the bump than one read a quarter turn
    from it; what else the wall does, and what the instrument errs, cancels. Three posts
    and more tell their own uncertainty, by the scatter of the differences.

    Parameters
    ----------
    readings : sequence of Reading
        Those of kind "seam along" and "seam across" are taken, in pairs of one piece and
        size.
    repeatability : float
        Of one outside size, mm; taken for fewer posts.
    scatter : mapping
        Of readings by instrument.

    Returns
    -------
    bump : SeamBump or None
    words : str
        Why there is none, or an empty text.

    References
    ----------
    JCGM 100:2008 (GUM), 4.2 (scatter of a mean) and 4.3.7 (steps of the display).

    Examples
    --------
    >>> along, across = (
    ...     Reading(piece="a", feature_id=name, kind=kind, nominal_size=15.0,
    ...         mesh_size=15.0, values=values)
    ...     for name, kind, values in [
    ...         ("P1A", "seam along", (15.16, 15.17)),
    ...         ("P1C", "seam across", (15.06, 15.05))]
    ... )
    >>> bump, _ = seam_of([along, across], 0.02, {})
    >>> round(bump.height, 3)  # mm
    0.11
    """
    pairs = _pairs(readings)
    if not pairs:
        return None, "bump of the seam: not measured (two diameters of a post tell it)"
    bumps = [float(np.mean(a.values) - np.mean(c.values)) for a, c in pairs]
    count = len(bumps)
    noise = [observations([a, c], scatter).uncertainties for a, c in pairs]
    read = sum(float((u**2).sum()) for u in noise) / count**2
    if count >= _ENOUGH:
        spread = float(np.var(bumps, ddof=1)) / count
    else:
        spread = 2 * repeatability**2 / count
    height, uncertainty = float(np.mean(bumps)), sqrt(max(spread, read))
    if height < 2 * uncertainty:
        return None, (
            f"bump of the seam: not supported ({height:+.3f} mm is less than twice its "
            f"standard uncertainty of {uncertainty:.3f} mm)"
        )
    return SeamBump(height=height, standard_uncertainty=uncertainty), ""


def _pairs(readings: Sequence[Reading]) -> list[tuple[Reading, Reading]]:
    across = {
        (r.piece, r.nominal_size): r
        for r in readings
        if r.kind == "seam across" and r.values
    }
    along = [r for r in readings if r.kind == "seam along" and r.values]
    keys = [(r.piece, r.nominal_size) for r in along]
    return [(r, across[k]) for r, k in zip(along, keys, strict=True) if k in across]
