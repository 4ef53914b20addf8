"""Where a feature is to be measured: heights at which its faces are, and which stretch.

The faces found in the part before only say where to look. What is measured there is the
written file.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._stretches import SAME, in_common, merged, merged_apart
from meshcomp.features import Cylinder, Feature, Wall
from meshcomp.meshes import Mesh

__all__ = ["Place", "places_of"]

_AT = (0.5, 0.31, 0.73, 0.13, 0.87)  # shares of a piece's length; the first are preferred
_LEAST_PIECE = 0.01  # mm: lower pieces are not cut, unless there is no other
_LEAST_CUT = 1e-4  # mm: far above the rounding of heights
_MOST_PIECES = 8
_LEAST_SHARE = 0.3  # of what the best height of a piece shows


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Place:
    """A height, and the stretches of the outline there that belong to a feature.

    Stretches are angles about a cylinder's axis, radians, or positions along a wall, mm,
    from and to in each row; a wall has those of its two planes, a cylinder the same twice.
    """

    height: float
    first: NDArray[np.float64]  # (k, 2)
    second: NDArray[np.float64]  # (l, 2)

    @property
    def cover(self) -> float:
        """Length of the shorter of the two, radians or mm."""
        return min(_length(self.first), _length(self.second))


def _length(stretches: NDArray[np.float64]) -> float:
    return float((stretches[:, 1] - stretches[:, 0]).sum())


def places_of(
    feature: Feature, mesh: Mesh, frame: NDArray[np.float64], above: float = -np.inf
) -> list[Place]:
    """Choose heights that show as much of a feature as can be had, in all of its pieces.

    Parameters
    ----------
    feature : Feature
        With a size.
    mesh : Mesh
        In which it was found.
    frame : (3, 3) float
        Unit rows, the last one the direction along which heights count.
    above : float
        Height below which a feature is not to be measured, mm.

    Returns
    -------
    places : list of Place
        Three for a feature in one piece, two or one for each piece of those in more;
        none if no height shows it.
    """
    local = mesh.vertices[mesh.faces[_faces_of(feature)]] @ frame.T
    pieces = _pieces(feature, local, frame)
    pieces[:, 0] = np.maximum(pieces[:, 0], above)
    pieces = pieces[np.argsort(pieces[:, 0] - pieces[:, 1], kind="stable")]
    heights = pieces[:, 1] - pieces[:, 0]
    least = _LEAST_PIECE if (heights > _LEAST_PIECE).any() else _LEAST_CUT
    pieces = pieces[heights > least][:_MOST_PIECES]
    each = max(3 - len(pieces), 0) + 1
    return [
        place
        for low, high in pieces
        for place in _best(feature, local, frame, low, high)[:each]
    ]


def _faces_of(feature: Feature) -> NDArray[np.int64]:
    return feature.faces if isinstance(feature, Cylinder) else feature.measured_faces


def _pieces(
    feature: Feature, local: NDArray[np.float64], frame: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Heights at which a feature has faces, on both sides if it is a wall: (k, 2)."""
    reach = np.column_stack([local[..., 2].min(axis=1), local[..., 2].max(axis=1)])
    if isinstance(feature, Cylinder):
        return merged(reach)
    is_second = _is_second(feature, local, frame)
    return in_common(merged(reach[~is_second]), merged(reach[is_second]))


def _best(
    feature: Feature,
    local: NDArray[np.float64],
    frame: NDArray[np.float64],
    low: float,
    high: float,
) -> list[Place]:
    """Places in one piece, those that show most first."""
    heights = np.array([low + share * (high - low) for share in _AT])
    chords, of_height = _chords(local, heights)
    levels = heights.tolist()
    if isinstance(feature, Cylinder):
        options = _arcs(feature, chords, of_height, frame, levels)
    else:
        options = _lines(feature, chords, of_height, frame, levels)
    covers = [place.cover for place in options]
    most = max(covers)
    shown = [k for k, cover in enumerate(covers) if cover > _LEAST_SHARE * most]
    # Differences below a tenth do not outweigh the order of preference.
    shown.sort(key=lambda k: -round(10 * covers[k] / most))
    return [options[k] for k in shown]


def _chords(
    local: NDArray[np.float64], heights: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Where faces, (m, 3, 3), cross heights, (n, 2, 2), and which height that is, (n,)."""
    above = local[..., 2] > heights[:, None, None]
    count = above.sum(axis=2)
    # Corners above.
    of_height, rows = np.nonzero((count == 1) | (count == 2))  # noqa: PLR2004
    faces, above, count = local[rows], above[of_height, rows], count[of_height, rows]
    # The corner that is alone on its side.
    lone = np.argmax(above == (count == 1)[:, None], axis=1)
    rows = np.arange(len(faces))
    tip = faces[rows, lone]
    ends = np.stack([faces[rows, (lone + 1) % 3], faces[rows, (lone + 2) % 3]], axis=1)
    up = heights[of_height][:, None] - tip[:, None, 2]
    share = up / (ends[..., 2] - tip[:, None, 2])
    chords = tip[:, None, :2] + share[..., None] * (ends - tip[:, None])[..., :2]
    return chords, of_height


def _arcs(
    feature: Cylinder,
    chords: NDArray[np.float64],
    of_height: NDArray[np.int64],
    frame: NDArray[np.float64],
    heights: list[float],
) -> list[Place]:
    away = chords - frame[:2] @ feature.point
    angles = np.arctan2(away[..., 1], away[..., 0])
    # From the end that comes first counter-clockwise; no chord spans half a turn.
    turn = (angles[:, 1] - angles[:, 0] + np.pi) % (2 * np.pi) - np.pi
    start = np.where(turn < 0, angles[:, 1], angles[:, 0])
    spans = np.column_stack([start, start + np.abs(turn)])
    found = map(_around, merged_apart(spans, of_height, len(heights)))
    rows = zip(heights, found, strict=True)
    return [Place(height=height, first=arcs, second=arcs) for height, arcs in rows]


def _around(arcs: NDArray[np.float64]) -> NDArray[np.float64]:
    """Join the last of some arcs to the first where they meet."""
    if len(arcs) > 1 and arcs[-1, 1] > arcs[0, 0] + 2 * np.pi - SAME:
        arcs[0, 0] = arcs[-1, 0] - 2 * np.pi
        arcs = arcs[:-1]
    return arcs


def _lines(
    feature: Wall,
    chords: NDArray[np.float64],
    of_height: NDArray[np.int64],
    frame: NDArray[np.float64],
    heights: list[float],
) -> list[Place]:
    normal = frame[:2] @ feature.direction
    along = np.array([-normal[1], normal[0]])
    positions = np.sort(chords @ along, axis=1)
    side = 2 * of_height + _is_second(feature, chords, frame)
    found = merged_apart(positions, side, 2 * len(heights))
    rows = zip(heights, found[::2], found[1::2], strict=True)
    return [Place(height=height, first=a, second=b) for height, a, b in rows]


def _is_second(
    wall: Wall, corners: NDArray[np.float64], frame: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Whether pieces, (n, k, 2 or more), lie on the second plane of a wall."""
    positions = (corners[..., :2] @ (frame[:2] @ wall.direction)).mean(axis=1)
    return np.asarray(positions > (wall.start + wall.end) / 2)
