"""What keeps a mesh from being a sound solid, and where."""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, unit
from meshcomp.errors import NotASolidError
from meshcomp.meshes import Mesh
from meshcomp.parts import Part
from meshcomp.repairing.duplicates import without_repeated
from meshcomp.repairing.patchwork import untouched
from meshcomp.repairing.rims import loops_of
from meshcomp.repairing.shells import Shells, negative_patches, shells_inside, shells_of
from meshcomp.repairing.slivers import flat_limit
from meshcomp.repairing.turning import plain_edges
from meshcomp.repairing.uniting import overlaps_of
from meshcomp.topology import topology_of

__all__ = ["Faults", "find_faults", "refuse_faults"]

_MOST_BODIES = 10_000
_MOST_PLACES = 4  # named in a message
_SHARP = 0.9  # cosine between faces at an edge that is drawn
_MOST_DRAWN = 5_000
_MOST_LOOPS = 2_000  # open edges that are linked to say how many holes there are


@dataclass(frozen=True, slots=True, eq=False)
class Faults:
    """Faults by kind, and the open edges, (k,) half-edges of the part's mesh."""

    counts: dict[str, int]
    open_edges: NDArray[np.int64]

    @property
    def any(self) -> bool:
        """Whether there is one."""
        return bool(self.counts)


def find_faults(part: Part) -> Faults:
    """Look for all that makes a mesh no sound solid, piece by piece.

    What a clean mesh of one body costs is its half-edges, which are needed anyway, and
    a look at the faces' areas.

    Raises
    ------
    NotASolidError
        If the mesh has more bodies than any part.
    """
    counts: dict[str, int] = {}
    open_edges = []
    for rows in _pieces(part):
        mesh = (
            part.mesh if rows is None else Mesh(part.mesh.vertices, part.mesh.faces[rows])
        )
        half_edges = topology_of(mesh).open_half_edges
        for kind, count in _of_piece(mesh, part.name).items():
            counts[kind] = counts.get(kind, 0) + count
        if rows is not None:
            half_edges = 3 * rows[half_edges // 3] + half_edges % 3
        open_edges.append(half_edges)
    return Faults(counts, np.concatenate(open_edges))


def _pieces(part: Part) -> list[NDArray[np.int64] | None]:
    own = part.piece_of_face
    if (own == own[0]).all():
        return [None]
    return [np.flatnonzero(own == k) for k in np.unique(own)]


def _of_piece(mesh: Mesh, name: str) -> dict[str, int]:
    topology = topology_of(mesh)
    found = {
        "open edges": len(topology.open_half_edges),
        "repeated faces": without_repeated(untouched(mesh))[1] if topology.crowded else 0,
    }
    shells = shells_of(mesh)
    found["faces without area"] = _flat_faces(mesh, shells)
    if topology.is_closed:
        _refuse_crowds(shells.count, name)
        found["bodies without thickness"] = int(shells.are_sheets.sum())
        found["bodies inside out"] = _inverted(mesh, shells) or int(
            negative_patches(mesh)[0].sum()
        )
        if not (found["repeated faces"] or found["bodies inside out"]):
            pairs = overlaps_of(mesh).pairs
            found["overlapping bodies"] = len(np.unique(pairs))
    return {kind: count for kind, count in found.items() if count}


def _flat_faces(mesh: Mesh, shells: Shells) -> int:
    limit = flat_limit(mesh)
    # No side is longer than the box, so most faces need no closer look.
    box = shells.boxes[:, 1].max(axis=0) - shells.boxes[:, 0].min(axis=0)
    rows = np.flatnonzero(shells.doubled <= limit * np.linalg.norm(box))
    if len(rows) == 0:
        return 0
    return int((Mesh(mesh.vertices, mesh.faces[rows]).heights <= limit).sum())


def _inverted(mesh: Mesh, shells: Shells) -> int:
    """Count shells of negative volume that are no cavity."""
    negative = shells.volumes < 0
    if not negative.any():
        return 0
    if shells.volumes.sum() <= 0:
        return int(negative.sum())
    pairs = shells_inside(mesh, shells)
    about = np.bincount(pairs[:, 0], np.sign(shells.volumes)[pairs[:, 1]], shells.count)
    return int((negative & (about <= 0)).sum())


def _refuse_crowds(count: int, name: str) -> None:
    if count > _MOST_BODIES:
        raise NotASolidError(
            f"{name}: {count:,} bodies, more than the {_MOST_BODIES:,} that are looked at: "
            "save them as several files"
        )


def refuse_faults(part: Part, tolerated: Container[str] = ()) -> None:
    """Raise where a part is no sound solid.

    Parameters
    ----------
    part : Part
        As read, or as repaired.
    tolerated : container of str
        Kinds of fault that are let pass.

    Raises
    ------
    NotASolidError
        Naming what is wrong, how often, and the first places.

    Examples
    --------
    >>> import meshcomp
    >>> refuse_faults(meshcomp.demo_part("shaft_spacer"))
    """
    faults = find_faults(part)
    found = {kind: n for kind, n in faults.counts.items() if kind not in tolerated}
    if not found:
        return
    listed = ", ".join(_counted(kind, n) for kind, n in found.items())
    raise NotASolidError(
        f"{part.name}: not a closed, sound solid: {listed}{_places(part, faults)}: repair "
        "the mesh, or export it again as one solid",
        open_edges=_segments(part, faults.open_edges),
        outline=_segments(part, _sharp_edges(part.mesh)),
    )


_SINGULAR = {"edges": "edge", "faces": "face", "bodies": "body"}


def _counted(kind: str, count: int) -> str:
    if count > 1:
        return f"{count} {kind}"
    return "1 " + " ".join(_SINGULAR.get(word, word) for word in kind.split())


def _segments(part: Part, half_edges: NDArray[np.int64]) -> NDArray[np.float64]:
    """Both ends of half-edges in the file's frame, (k, 2, 3), mm."""
    following = half_edges - half_edges % 3 + (half_edges + 1) % 3
    ends = part.mesh.faces.ravel()[np.stack([half_edges, following], axis=1)]
    return part.stand.to_file(part.mesh.vertices[ends])


def _sharp_edges(mesh: Mesh) -> NDArray[np.int64]:
    """Half-edges at which faces meet at an angle, for a drawing: the longest of many."""
    pairs, alike = plain_edges(mesh)
    normals = unit(mesh.area_vectors)
    bend = dot(normals[pairs[:, 0] // 3], normals[pairs[:, 1] // 3])
    sharp = pairs[(np.where(alike, bend, -bend) < _SHARP), 0]
    following = sharp - sharp % 3 + (sharp + 1) % 3
    corners = mesh.vertices[mesh.faces.ravel()]
    lengths = np.linalg.norm(corners[sharp] - corners[following], axis=1)
    return np.asarray(sharp[np.argsort(-lengths, kind="stable")[:_MOST_DRAWN]])


def _places(part: Part, faults: Faults) -> str:
    """Say where the first holes are; of a closed mesh, the first bodies that are none."""
    half_edges = faults.open_edges
    if len(half_edges) == 0:
        bodies = _faulty_bodies(part.mesh)
        middles = part.stand.to_file(bodies[:_MOST_PLACES])
        return _listed("about", middles, len(bodies))
    loops = loops_of(part.mesh, half_edges[:_MOST_LOOPS]) or [half_edges[:1]]
    shown = [_segments(part, loop)[:, 0].mean(axis=0) for loop in loops[:_MOST_PLACES]]
    return _listed("open about", np.array(shown), len(loops))


def _faulty_bodies(mesh: Mesh) -> NDArray[np.float64]:
    """Middles of shells that enclose nothing, else of those inside out, (k, 3) mm."""
    shells = shells_of(mesh)
    bad = shells.are_sheets if shells.are_sheets.any() else shells.volumes < 0
    return np.asarray(shells.boxes[bad].mean(axis=1))


def _listed(words: str, places: NDArray[np.float64], count: int) -> str:
    if count == 0:
        return ""
    listed = ", ".join(f"({x:.3f}, {y:.3f}, {z:.3f})" for x, y, z in places)
    return f"; {words} {listed}{' and more' if count > len(places) else ''} mm"
