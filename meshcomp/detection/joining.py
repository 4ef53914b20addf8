"""Join the pieces of one bore that other bores interrupt."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import different
from meshcomp.detection.cylinders import CylinderFaces
from meshcomp.detection.rough import was_made_anew
from meshcomp.detection.scenes import Scene

__all__ = ["joined"]

_SAME_AXIS = 0.01  # mm, between axes and between diameters
_PARALLEL = 1 - 1e-6  # cosine
_AT_END = 0.05  # mm, between the end of a piece and that of a groove, on the axis
_WIDEST_GROOVE = 1.5  # diameters of the bore: more is a chamber
_RIM_FACES = 2  # rows of triangles that may lie between two cylinders that cross


def joined(scene: Scene, found: list[CylinderFaces]) -> list[CylinderFaces]:
    """Join coaxial pieces of one diameter that touch or border on one crossing cylinder.

    So are pieces that only a groove parts.

    Two bores in the legs of a fork stay two: what lies between them is open.

    Parameters
    ----------
    scene : Scene
        The part.
    found : list of CylinderFaces
        Pieces, each connected.

    Returns
    -------
    cylinders : list of CylinderFaces
        In the order of their first pieces.
    """
    edges = [
        (a, b)
        for own, others in enumerate(_bordering(scene, found))
        for a, b in combinations(sorted({own, *others}), 2)
        if _are_one(found[a], found[b])
    ]
    edges += _across_grooves(found)
    if not edges:
        return found
    import networkx as nx  # costs a tenth of a second, and few parts need it

    graph = nx.Graph(edges)
    graph.add_nodes_from(range(len(found)))
    groups = sorted(sorted(group) for group in nx.connected_components(graph))
    return [_merged([found[i] for i in group]) for group in groups]


def _across_grooves(found: list[CylinderFaces]) -> list[tuple[int, int]]:
    """Pieces of bores that a groove parts: a short, wider bore about the same axis."""
    ends = np.array([_ends(c) for c in found]).reshape(-1, 2, 3)
    edges = []
    for groove in found:
        length = groove.end - groove.start
        if not groove.is_internal or length > groove.diameter:
            continue
        low, high = _ends(groove)
        gaps = np.linalg.norm(ends[:, :, None] - [low, high], axis=-1) < _AT_END
        first, second = (np.flatnonzero(gaps[..., k].any(axis=1)) for k in (0, 1))
        edges += [
            (a, b)
            for a, b in product(first.tolist(), second.tolist())
            if _is_wider(groove, found[a]) and _are_one(found[a], found[b])
        ]
    return edges


def _ends(cylinder: CylinderFaces) -> list[NDArray[np.float64]]:
    """Both ends of the axis, (3,) each."""
    foot = cylinder.centre @ cylinder.frame[:2]
    return [foot + at * cylinder.frame[2] for at in (cylinder.start, cylinder.end)]


def _is_wider(groove: CylinderFaces, bore: CylinderFaces) -> bool:
    return bore.diameter < groove.diameter <= _WIDEST_GROOVE * bore.diameter


def _bordering(scene: Scene, found: list[CylinderFaces]) -> list[set[int]]:
    """Cylinders that share an edge with each cylinder, or almost."""
    owner = np.full(len(scene.mesh.faces) + 1, -1)  # the last one: across an open edge
    for number, cylinder in enumerate(found):
        owner[cylinder.faces] = number
    return [
        set(owner[_reach(scene, cylinder, owner)].tolist()) - {-1, own}
        for own, cylinder in enumerate(found)
    ]


def _reach(
    scene: Scene, cylinder: CylinderFaces, owner: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Faces beyond the rim of a cylinder, and beyond those that belong to no cylinder.

    Where a mesh was made anew, triangles that straddle the rim lie on neither cylinder.
    In other meshes a few triangles lead from one leg of a fork to the other.
    """
    front = different(scene.topology.neighbours_of(cylinder.faces).ravel())
    seen = [front]
    is_anew = was_made_anew(scene, cylinder.faces, cylinder.frame[2])
    for _ in range(_RIM_FACES if is_anew else 0):
        front = different(scene.topology.neighbours_of(front[owner[front] < 0]).ravel())
        seen.append(front)
    return np.concatenate(seen)


def _are_one(a: CylinderFaces, b: CylinderFaces) -> bool:
    limit = _SAME_AXIS + a.form_deviation + b.form_deviation
    if a.is_internal != b.is_internal or abs(a.diameter - b.diameter) > limit:
        return False
    if abs(float(a.frame[2] @ b.frame[2])) < _PARALLEL:
        return False
    middles = [c.centre @ c.frame[:2] + (c.start + c.end) / 2 * c.frame[2] for c in (a, b)]
    way = middles[1] - middles[0]
    # The axis of a short piece points less surely, and errs more the farther it reaches.
    reach = 1 + float(np.linalg.norm(way)) / min(a.end - a.start, b.end - b.start)
    return bool(np.linalg.norm(a.frame[:2] @ way) <= limit * reach)


def _merged(pieces: list[CylinderFaces]) -> CylinderFaces:
    if len(pieces) == 1:
        return pieces[0]
    weights: NDArray[np.float64] = np.array([len(p.faces) for p in pieces], dtype=float)
    main = max(pieces, key=lambda p: len(p.faces))
    pieces = [_in_frame(piece, main.frame) for piece in pieces]
    return replace(
        main,
        centre=np.average([p.centre for p in pieces], axis=0, weights=weights),
        diameter=float(np.average([p.diameter for p in pieces], weights=weights)),
        faces=np.sort(np.concatenate([p.faces for p in pieces])),
        start=min(p.start for p in pieces),
        end=max(p.end for p in pieces),
        span=min(p.span for p in pieces),
        size_across_flats=min(p.size_across_flats for p in pieces),
        form_deviation=max(p.form_deviation for p in pieces),
    )


def _in_frame(piece: CylinderFaces, frame: NDArray[np.float64]) -> CylinderFaces:
    """Describe a piece in the frame of another one, about nearly the same axis."""
    if np.array_equal(piece.frame, frame):
        return piece
    ends = [
        piece.centre @ piece.frame[:2] + at * piece.frame[2]
        for at in (piece.start, piece.end)
    ]
    heights = sorted(float(end @ frame[2]) for end in ends)
    centre = frame[:2] @ ((ends[0] + ends[1]) / 2)
    return replace(piece, frame=frame, centre=centre, start=heights[0], end=heights[1])
