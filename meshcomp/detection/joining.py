"""Join the pieces of one bore that other bores interrupt."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.cylinders import CylinderFaces
from meshcomp.detection.scenes import Scene

__all__ = ["joined"]

_SAME_AXIS = 0.01  # mm, between axes and between diameters


def joined(scene: Scene, found: list[CylinderFaces]) -> list[CylinderFaces]:
    """Join coaxial pieces of one diameter that border on the same crossing cylinder.

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
        for members in _bordering(scene, found)
        for a, b in combinations(sorted(members), 2)
        if _are_one(found[a], found[b])
    ]
    if not edges:
        return found
    import networkx as nx  # costs a tenth of a second, and few parts need it

    graph = nx.Graph(edges)
    graph.add_nodes_from(range(len(found)))
    groups = sorted(sorted(group) for group in nx.connected_components(graph))
    return [_merged([found[i] for i in group]) for group in groups]


def _bordering(scene: Scene, found: list[CylinderFaces]) -> list[set[int]]:
    """Cylinders that share an edge with each cylinder."""
    owner = np.full(len(scene.mesh.faces) + 1, -1)  # the last one: across an open edge
    for number, cylinder in enumerate(found):
        owner[cylinder.faces] = number
    beyond = [owner[scene.topology.neighbours_of(cylinder.faces)] for cylinder in found]
    return [
        set(np.unique(numbers).tolist()) - {-1, own} for own, numbers in enumerate(beyond)
    ]


def _are_one(a: CylinderFaces, b: CylinderFaces) -> bool:
    if a.is_internal != b.is_internal or abs(a.diameter - b.diameter) > _SAME_AXIS:
        return False
    if not np.array_equal(a.frame, b.frame):
        return False
    return bool(np.linalg.norm(a.centre - b.centre) <= _SAME_AXIS)


def _merged(pieces: list[CylinderFaces]) -> CylinderFaces:
    if len(pieces) == 1:
        return pieces[0]
    weights: NDArray[np.float64] = np.array([len(p.faces) for p in pieces], dtype=float)
    return replace(
        max(pieces, key=lambda p: len(p.faces)),
        centre=np.average([p.centre for p in pieces], axis=0, weights=weights),
        diameter=float(np.average([p.diameter for p in pieces], weights=weights)),
        faces=np.sort(np.concatenate([p.faces for p in pieces])),
        start=min(p.start for p in pieces),
        end=max(p.end for p in pieces),
        span=min(p.span for p in pieces),
        size_across_flats=min(p.size_across_flats for p in pieces),
        form_deviation=max(p.form_deviation for p in pieces),
    )
