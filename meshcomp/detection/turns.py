"""How much of a turn faces cover about an axis, to the last corner."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import different
from meshcomp._vectors import highest, lowest, turned
from meshcomp.detection.scenes import Prospect

__all__ = ["LEAST_SPAN", "angles_about", "angles_of", "coverage", "gaps"]

LEAST_SPAN = 200.0  # degrees: less is a fillet or the end of a slot


def angles_of(
    across: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return lowest angle and width, (k,) radians, of faces (k, 3, 2) about the origin."""
    angles = np.arctan2(across[..., 1], across[..., 0])
    # Measured from the first corner, so that no face is torn at half a turn.
    opened = (angles - angles[:, :1] + np.pi) % (2 * np.pi) - np.pi
    first = lowest(opened)
    return (angles[:, 0] + first) % (2 * np.pi), highest(opened) - first


def angles_about(
    view: Prospect, faces: NDArray[np.int64], centre: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return lowest angle and width, (k,) radians, of faces about a centre, (2,) mm."""
    mesh = view.scene.mesh
    return angles_of(turned(mesh.vertices[mesh.faces[faces]], view.frame[:2]) - centre)


def coverage(starts: NDArray[np.float64], widths: NDArray[np.float64]) -> float:
    """Return the angle that faces cover, degrees."""
    _, pieces, covered = _pieces_of_turn(starts, widths)
    return float(np.degrees(pieces[covered].sum()))


def gaps(starts: NDArray[np.float64], widths: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return where no face is, (k, 2): lower angle and width, radians."""
    edges, pieces, covered = _pieces_of_turn(starts, widths)
    return np.column_stack([edges, pieces])[~covered]


def _pieces_of_turn(
    starts: NDArray[np.float64], widths: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Cut a turn at the ends of faces: lower ends, widths, whether a face is there."""
    turn = 2 * np.pi
    steps = 1e-4  # radians: corners nearer than this are one
    edges = different(np.round(np.concatenate([starts, starts + widths]) % turn / steps))
    edges = different(edges * steps % turn)
    first = np.searchsorted(edges, starts % turn - 2 * steps) % len(edges)
    last = np.searchsorted(edges, (starts + widths) % turn - 2 * steps) % len(edges)
    counts = [np.bincount(ends, minlength=len(edges)) for ends in (first, last)]
    wrapped = int((last < first).sum())
    covered = np.cumsum(counts[0] - counts[1]) + wrapped > 0
    return edges, np.diff(np.append(edges, edges[0] + turn)), covered
