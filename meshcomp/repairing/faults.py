"""What keeps a mesh from being a sound solid, and where."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import NotASolidError
from meshcomp.meshes import Mesh
from meshcomp.parts import Part
from meshcomp.repairing.cracks import rim_edges
from meshcomp.repairing.duplicates import repeated_alike, without_repeated
from meshcomp.repairing.patchwork import untouched
from meshcomp.repairing.planes import PLANES_JOINED
from meshcomp.repairing.redrawn import without_redrawn
from meshcomp.repairing.shells import Shells, shells_inside, shells_of
from meshcomp.repairing.slivers import flat_limit
from meshcomp.repairing.turning import plain_edges
from meshcomp.repairing.uniting import overlaps_of
from meshcomp.repairing.windings import doubled_faces, negative_patches
from meshcomp.topology import edge_ends, topology_of

__all__ = ["Faults", "find_faults"]

_MOST_BODIES = 10_000

_Found = dict[str, NDArray[np.float64]]  # by kind the place of each fault, (k, 3) mm


@dataclass(frozen=True, slots=True, eq=False)
class Faults:
    """Faults by kind with their places in the bed's frame, (k, 3) mm, and open edges.

    `rims` are half-edges of the part's mesh with one face at their edge, (k,); `open_edges`
    are those and all others that have no neighbour.
    """

    places: dict[str, NDArray[np.float64]]
    open_edges: NDArray[np.int64]
    rims: NDArray[np.int64]

    @property
    def any(self) -> bool:
        """Whether there is one."""
        return bool(self.places)


def find_faults(part: Part) -> Faults:
    """Look for all that makes a mesh no sound solid, piece by piece.

    What a clean mesh of one body costs is its half-edges, which are needed anyway, and
    a look at the faces' areas.

    Raises
    ------
    NotASolidError
        If the mesh has more bodies than any part.
    """
    found: list[_Found] = []
    edges: list[tuple[NDArray[np.int64], NDArray[np.int64]]] = []
    for rows in _pieces(part):
        mesh = (
            part.mesh if rows is None else Mesh(part.mesh.vertices, part.mesh.faces[rows])
        )
        opened = topology_of(mesh).open_half_edges
        rims = np.intersect1d(rim_edges(mesh), opened) if len(opened) else opened
        found.append(_of_piece(mesh, part, (opened, rims)))
        edges.append((_in_part(opened, rows), _in_part(rims, rows)))
    kinds = dict.fromkeys(kind for each in found for kind in each)
    return Faults(
        {k: np.concatenate([each[k] for each in found if k in each]) for k in kinds},
        *(np.concatenate(column) for column in zip(*edges, strict=True)),
    )


def _pieces(part: Part) -> list[NDArray[np.int64] | None]:
    own = part.piece_of_face
    if (own == own[0]).all():
        return [None]
    return [np.flatnonzero(own == k) for k in np.unique(own)]


def _in_part(
    half_edges: NDArray[np.int64], rows: NDArray[np.int64] | None
) -> NDArray[np.int64]:
    """Half-edges of the part's mesh, from those of some of its faces."""
    if rows is None:
        return half_edges
    return np.asarray(3 * rows[half_edges // 3] + half_edges % 3, np.int64)


def _of_piece(
    mesh: Mesh, part: Part, edges: tuple[NDArray[np.int64], NDArray[np.int64]]
) -> _Found:
    topology = topology_of(mesh)
    found = _open_edges(mesh, *edges)
    found["repeated faces"] = _middles(mesh, _repeated(mesh) if topology.crowded else [])
    shells = shells_of(mesh)
    found["faces without area"] = _middles(mesh, _flat_faces(mesh, shells))
    if topology.is_closed:
        _refuse_crowds(shells.count, part.name)
        found["bodies without thickness"] = _middles_of(shells, shells.are_sheets)
        found["bodies inside out"] = _inside_out(mesh, shells)
        if not (len(found["repeated faces"]) or len(found["bodies inside out"])):
            if topology.crowded or _was_patched(part):  # elsewhere nothing was joined to it
                found["surfaces drawn twice"] = _middles(mesh, doubled_faces(mesh))
            overlapping = np.unique(overlaps_of(mesh).pairs)
            found["overlapping bodies"] = shells.boxes[overlapping].mean(axis=1)
    return {kind: places for kind, places in found.items() if len(places)}


def _was_patched(part: Part) -> bool:
    """Whether a repair may have joined surfaces: planes of fewer faces are as they were."""
    return any(repair.kind != PLANES_JOINED for repair in part.repairs)


def _open_edges(mesh: Mesh, opened: NDArray[np.int64], rims: NDArray[np.int64]) -> _Found:
    """Edges with one face, with two that look to opposite sides, and with too many."""
    if len(opened) == len(rims):
        return {"open edges": _amid(mesh, rims)}
    pairs, alike = plain_edges(mesh)
    opposed = np.intersect1d(pairs[~alike, 0], opened)
    crowded = np.setdiff1d(opened, np.union1d(rims, pairs))
    return {
        "open edges": _amid(mesh, rims),
        "edges between faces that look to opposite sides": _amid(mesh, opposed),
        "edges at which one face is too many": _amid(mesh, crowded),
    }


def _amid(mesh: Mesh, half_edges: NDArray[np.int64]) -> NDArray[np.float64]:
    """Middles of half-edges, (k, 3) mm."""
    return np.asarray(edge_ends(mesh, half_edges).mean(axis=1))


def _middles(mesh: Mesh, faces: NDArray[np.int64] | list[int]) -> NDArray[np.float64]:
    """Middles of faces, (k, 3) mm."""
    rows = np.asarray(faces, dtype=np.int64)
    return np.asarray(mesh.vertices[mesh.faces[rows]].mean(axis=1))


def _middles_of(shells: Shells, which: NDArray[np.bool_]) -> NDArray[np.float64]:
    return np.asarray(shells.boxes[which].mean(axis=1))


def _repeated(mesh: Mesh) -> NDArray[np.int64]:
    """Faces that would be dropped, as they stand in the file more than once."""
    once, count = without_repeated(untouched(mesh))
    again, more = without_redrawn(once)
    alike = repeated_alike(mesh.faces)  # also where two bodies touch
    if not count + more:
        return alike
    return np.union1d(alike, np.setdiff1d(np.arange(len(mesh.faces)), again.parents))


def _flat_faces(mesh: Mesh, shells: Shells) -> NDArray[np.int64]:
    limit = flat_limit(mesh)
    # No side is longer than the box, so most faces need no closer look.
    box = shells.boxes[:, 1].max(axis=0) - shells.boxes[:, 0].min(axis=0)
    rows = np.flatnonzero(shells.doubled <= limit * np.linalg.norm(box))
    if len(rows) == 0:
        return rows
    return np.asarray(rows[Mesh(mesh.vertices, mesh.faces[rows]).heights <= limit])


def _inside_out(mesh: Mesh, shells: Shells) -> NDArray[np.float64]:
    """Places of bodies that are inside out, and of surfaces of such where bodies touch."""
    inverted = _inverted(mesh, shells)
    if inverted.any():
        return _middles_of(shells, inverted)
    negative, label = negative_patches(mesh)
    first = np.unique(label, return_index=True)[1]
    return _middles(mesh, first[: len(negative)][negative])


def _inverted(mesh: Mesh, shells: Shells) -> NDArray[np.bool_]:
    """Mark shells of negative volume that are no cavity."""
    negative = shells.volumes < 0
    if not negative.any() or shells.volumes.sum() <= 0:
        return negative
    pairs = shells_inside(mesh, shells)
    about = np.bincount(pairs[:, 0], np.sign(shells.volumes)[pairs[:, 1]], shells.count)
    return np.asarray(negative & (about <= 0))


def _refuse_crowds(count: int, name: str) -> None:
    if count > _MOST_BODIES:
        raise NotASolidError(
            f"{name}: {count:,} bodies, more than the {_MOST_BODIES:,} that are looked at: "
            "save them as several files"
        )
