"""Check in the written file that level faces are at their planned heights.

The faces are found anew from the corners of single triangles, whatever regions they
belonged to: a triangle is level if its three corners are.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.files.precision import holding_limit
from meshcomp.layers import LayerReport
from meshcomp.parts import Part
from meshcomp.results import Check

__all__ = ["height_checks"]

_NEAR = 0.005  # mm, where a level face is looked for
_LIMIT = 1e-4  # mm, and what the format cannot hold
_LEAST_SHARE = 0.3  # of a face's area as drawn: offsets of walls change it


def height_checks(report: LayerReport, written: Part) -> tuple[Check, ...]:
    """Compare the heights of level faces in a written part with what was planned.

    Parameters
    ----------
    report : LayerReport
        Of the part before, with its moves; without moves there is nothing to check.
    written : Part
        The file, read back.
    """
    moves = report.moves
    if moves is None:
        return ()
    heights, areas = _level_triangles(written)
    planned: dict[float, float] = {}
    for face in report.faces:
        at = face.height + face.move + moves.bed
        planned[at] = planned.get(at, 0.0) + face.area
    found = {z: _found(heights, areas, z, area) for z, area in planned.items()}
    missing = [z for z, at in found.items() if at is None]
    away = max((abs(at - z) for z, at in found.items() if at is not None), default=0.0)
    limit = holding_limit(written) + _LIMIT
    moved = sum(item != to for item, to in zip(moves.heights, moves.moved_to, strict=True))
    figure = (
        f"{len(found) - len(missing)} of {len(found)} heights as planned, within "
        f"{away * 1000:.2f} µm; {moved} moved"
    )
    if missing:
        figure += f"; no face at {missing[0]:.4f} mm"
    return (
        Check(
            name="level faces at their heights",
            passed=not missing and away <= limit,
            figure=figure,
        ),
    )


def _level_triangles(written: Part) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Heights and areas of the level triangles."""
    z = written.mesh.vertices[written.mesh.faces, 2]
    level = np.ptp(z, axis=1) <= 2 * holding_limit(written) + _LIMIT
    areas = np.abs(written.mesh.area_vectors[level, 2])
    return z[level].mean(axis=1), areas


def _found(
    heights: NDArray[np.float64], areas: NDArray[np.float64], at: float, drawn: float
) -> float | None:
    """Height of the level triangles near a height; None if there are too few."""
    near = np.abs(heights - at) <= _NEAR
    area = float(areas[near].sum())
    if area < _LEAST_SHARE * drawn:
        return None
    return float((heights[near] * areas[near]).sum() / area)
