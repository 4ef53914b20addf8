"""Smooth patches that are pieces of one circle, each too short to show it.

Sections link such pieces where they show one circle exactly. In meshes that were shaken
or made anew short arcs tell their circle badly, and a rim that notches or lobes interrupt
falls into several.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import distinct
from meshcomp._vectors import turned
from meshcomp.association import associate_circle
from meshcomp.detection.scenes import Prospect
from meshcomp.detection.seeds import Seed
from meshcomp.detection.turns import LEAST_SPAN, angles_about, coverage
from meshcomp.errors import AssociationError

__all__ = ["are_uneven", "halves_joined", "is_uneven", "rejoined"]

_MOST = 400  # pieces that are looked at, the largest ones
_LEAST = 2  # pieces
_UNEVEN = 0.75  # planar regions a face: facets of two triangles have half of that
_SAME_CIRCLE = 0.02  # mm, between centres along each way, and between radii
_LIKE = 0.25  # of the radius, between circles of pieces that may be one
_LIMITS = (0.3, 0.1, 0.03)  # mm, of a piece off the circle: falling as that is known better


@dataclass(frozen=True, slots=True, eq=False)
class _Piece:
    """A patch, its corners across the axis, and the circle that fits them."""

    faces: NDArray[np.int64]
    corners: NDArray[np.float64]  # (n, 2) mm
    centre: NDArray[np.float64]
    radius: float


def is_uneven(view: Prospect, faces: NDArray[np.int64]) -> bool:
    """Whether triangles of one facet of a patch lie in several planes."""
    known = view.scene.regions
    regions = distinct(known.of_face[faces], len(known.areas))
    return bool(are_uneven(np.array([len(regions)]), np.array([len(faces)]))[0])


def are_uneven(regions: NDArray[np.int64], faces: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Whether triangles of one facet lie in several planes, as in a shaken mesh.

    By how many planar regions and how many faces there are in each patch.
    """
    return np.asarray(regions > _UNEVEN * faces)


def rejoined(view: Prospect, patches: list[NDArray[np.int64]]) -> list[NDArray[np.int64]]:
    """Join patches whose corners lie on one circle.

    The largest one proposes a circle; those near it are taken in, and tell it better;
    what is left is tried in turn.

    Parameters
    ----------
    view : Prospect
        The scene along the axis looked for.
    patches : list of (k,) int
        Faces of each, all concave or all convex.

    Returns
    -------
    joined : list of (k,) int
        Faces of two or more patches each, sorted.
    """
    if len(patches) < _LEAST:
        return []
    ordered = sorted(patches, key=lambda faces: (-len(faces), int(faces[0])))[:_MOST]
    found = [_piece(view, faces) for faces in ordered]
    left = [piece for piece in found if piece is not None]
    joined = []
    while len(left) >= _LEAST:
        members = _on_one_circle(left)
        if len(members) >= _LEAST:
            faces = np.concatenate([left[i].faces for i in sorted(members)])
            joined.append(np.sort(faces))
        left = [piece for i, piece in enumerate(left) if i > 0 and i not in members]
    return joined


def _piece(view: Prospect, faces: NDArray[np.int64]) -> _Piece | None:
    """Associate a circle to a patch; None if it is none."""
    mesh = view.scene.mesh
    corners = turned(mesh.vertices[mesh.vertices_of(faces)], view.frame[:2])
    try:
        centre, diameter = associate_circle(corners)
    except AssociationError:
        return None
    off = np.abs(np.hypot(*(corners - centre).T) - diameter / 2)
    if float(off.mean()) > _LIMITS[-1]:
        return None
    return _Piece(faces, corners, centre, diameter / 2)


def _on_one_circle(pieces: list[_Piece]) -> set[int]:
    """Pieces, by their places, on the circle that the first one proposes."""
    first = pieces[0]
    reach = _LIKE * first.radius
    like = [
        i
        for i, piece in enumerate(pieces)
        if abs(piece.radius - first.radius) < reach
        and float(np.linalg.norm(piece.centre - first.centre)) < reach
    ]
    if len(like) < _LEAST:
        return set()
    points = np.concatenate([pieces[i].corners for i in like])
    counts = np.array([len(pieces[i].corners) for i in like])
    starts = np.cumsum(counts) - counts
    members = np.array([i == 0 for i in like])
    for limit in _LIMITS:
        try:
            centre, diameter = associate_circle(points[np.repeat(members, counts)])
        except AssociationError:
            return set()
        off = np.abs(np.hypot(*(points - centre).T) - diameter / 2)
        members = np.add.reduceat(off, starts) / counts <= limit
        if not members.any():
            return set()
    return {i for i, is_one in zip(like, members.tolist(), strict=True) if is_one}


def halves_joined(view: Prospect, seeds: list[Seed]) -> list[Seed]:
    """Make one of seeds on one circle of which none goes round: a cut parts them.

    Parameters
    ----------
    view : Prospect
        The scene along the axis looked for.
    seeds : list of Seed
        As patches show them.
    """
    left, found = list(seeds), []
    while left:
        first = left.pop(0)
        same = [seed for seed in left if _are_on_one_circle(first, seed)]
        if same and all(_span(view, seed) < LEAST_SPAN for seed in (first, *same)):
            left = [seed for seed in left if not _are_on_one_circle(first, seed)]
            faces = np.sort(np.concatenate([seed.faces for seed in (first, *same)]))
            first = replace(first, count=len(faces), faces=faces)
        found.append(first)
    return found


def _are_on_one_circle(one: Seed, other: Seed) -> bool:
    off = (*(one.centre - other.centre), one.radius - other.radius)
    return one.is_internal == other.is_internal and max(map(abs, off)) < _SAME_CIRCLE


def _span(view: Prospect, seed: Seed) -> float:
    """Angle that the faces of a seed cover, degrees."""
    return coverage(*angles_about(view, seed.faces, seed.centre))
