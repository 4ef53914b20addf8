"""Small solids taken away from a moved mesh, and a look at whether it is still sound."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import are_in, hashes_of_points
from meshcomp._vectors import dot, turned
from meshcomp.compensation.guard import folded, unsound_pairs
from meshcomp.compensation.refining import Refined
from meshcomp.compensation.rounding import rounded
from meshcomp.meshes import Mesh
from meshcomp.segmentation import Regions, planar_regions
from meshcomp.solids.cutting import cut_away_from
from meshcomp.topology import components, topology_of

__all__ = [
    "Cut",
    "closed_up",
    "known_points",
    "prism",
    "taken_away",
    "unsound_place",
    "worn_faces",
]

_FARTHEST = 5.0  # times the longest edge: how far a row of them may take a point

# The mesh; the face before of each face, -1 where it is new; its cutter, or -1; and which
# vertices are new.
Cut = tuple[Mesh, NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]


def prism(
    outline: NDArray[np.float64], ends: NDArray[np.float64], frame: NDArray[np.float64]
) -> Mesh:
    """Return a closed prism over a convex outline, to be taken away.

    Parameters
    ----------
    outline : (k, 2) float
        Counter-clockwise, in the first two directions of the frame, mm.
    ends : (2,) float
        Where it begins and ends along the third, mm.
    frame : (3, 3) float
        Right-handed unit rows.

    Examples
    --------
    >>> triangle = np.array([(0.0, 0.0), (2.0, 0.0), (0.0, 2.0)])
    >>> prism(triangle, np.array([1.0, 4.0]), np.eye(3)).volume
    6.0
    """
    count = len(outline)
    points = np.vstack([np.column_stack([outline, np.full(count, end)]) for end in ends])
    here = np.arange(count)
    there = np.roll(here, -1)
    fan = np.column_stack([np.zeros(count - 2, np.int64), here[1:-1], here[2:]])
    sides = np.column_stack([here, there, there + count])
    others = np.column_stack([here, there + count, here + count])
    faces = np.vstack([fan[:, ::-1], fan + count, sides, others])
    # Each row by itself: exact where the frame's rows run along coordinates.
    return Mesh(turned(points, frame.T), faces)


def taken_away(
    before: Mesh,
    cutters: Sequence[Mesh],
    *,
    owners: Sequence[int] | None = None,
    adds: bool = False,
    unit: float = 1.0,
) -> Cut:
    """Take solids away from a closed mesh, and round new points to 32 bits.

    Parameters
    ----------
    before : Mesh
        Closed, mm.
    cutters : sequence of Mesh
        Closed solids.
    owners, adds
        As for `cut_away_from`: whose body each is for, and whether it is added instead.
    unit : float, optional
        Of the file, mm, in which 32 bits will hold the points.

    Returns
    -------
    mesh : Mesh
    parents : (k,) int
        The face of `before` that each face was part of; -1 where a cutter made it.
    cutter : (k,) int
        Which one, or -1.
    new : (n,) bool
        Vertices that were not there.
    """
    mesh, parents, made_by = cut_away_from(
        before, cutters, _planes(before).of_face, owners=owners, adds=adds
    )
    new = ~known_points(mesh.vertices, before.vertices)
    places = mesh.vertices.copy()
    places[new] = rounded(places[new], before.bounds[:, 2], unit)
    mesh, kept = closed_up(mesh.moved(places), new)
    return mesh, parents[kept], made_by[kept], new


def unsound_place(
    before: Mesh, after: Mesh, parents: NDArray[np.int64], touched: NDArray[np.bool_]
) -> NDArray[np.float64] | None:
    """Return a place where a mesh is open, folded or crosses itself since it was cut.

    Parameters
    ----------
    before, after : Mesh
    parents : (k,) int
        The face of `before` that each face of `after` is, or goes on from.
    touched : (k,) bool
        Faces to look at.

    Returns
    -------
    place : (3,) float or None
        In mm; None for a sound mesh.
    """
    cut = _as_refined(before, after, parents)
    pairs, _ = unsound_pairs(before, _planes(before), cut, touched)
    if len(pairs):
        return np.asarray(after.corners[pairs[0, 0]].mean(axis=0))
    wrong = worn_faces(before, after, parents, touched)
    return np.asarray(after.corners[wrong[0]].mean(axis=0)) if len(wrong) else None


def worn_faces(
    before: Mesh, after: Mesh, parents: NDArray[np.int64], touched: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Find the faces where a mesh is open or folded since it was cut; crossing or not.

    Parameters are as those of `unsound_place`.

    Returns
    -------
    faces : (f,) int
    """
    turned = folded(before, _planes(before), _as_refined(before, after, parents), touched)
    return np.concatenate([turned, topology_of(after).open_half_edges // 3])


def _planes(mesh: Mesh) -> Regions:
    return planar_regions(mesh, topology_of(mesh))


def _as_refined(before: Mesh, after: Mesh, parents: NDArray[np.int64]) -> Refined:
    return Refined(
        after,
        parents,
        len(before.vertices),
        np.full(len(after.faces), -1),
        np.zeros((0, 3)),
        np.zeros(0, dtype=np.int64),
        np.zeros(0, dtype=bool),
    )


def known_points(
    points: NDArray[np.float64], known: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Whether each point, (n, 3), is one of those known, to the last bit."""
    return are_in(hashes_of_points(points), np.sort(hashes_of_points(known)))


def _one_of_each(new: NDArray[np.bool_], edges: NDArray[np.int64]) -> NDArray[np.int64]:
    """Vertex that stands for those that edges, (e, 2), join: (n,); an old one, if any."""
    label = components(len(new), edges)
    last = np.argsort(new, kind="stable")[::-1]
    first = np.zeros(int(label.max(initial=-1)) + 1, dtype=np.int64)
    first[label[last]] = last
    return np.asarray(first[label])


def closed_up(
    mesh: Mesh, new: NDArray[np.bool_], longest: float = 0.0
) -> tuple[Mesh, NDArray[np.int64]]:
    """Make one of the ends of edges that have next to no length.

    Parameters
    ----------
    mesh : Mesh
    new : (n,) bool
        Vertices that a cut has made: of each edge longer than nothing one end is such a
        one, and goes to the other if that is none.
    longest : float, optional
        Length of an edge to be closed up, mm; those that rounding made nothing always are.

    Returns
    -------
    mesh : Mesh
        On the same vertices.
    kept : (k,) int
        The faces that are left. Edges in a row that would take a point far stay.
    """
    starts = mesh.faces.ravel()
    ends = np.roll(mesh.faces, -1, axis=1).ravel()
    away = mesh.vertices[starts] - mesh.vertices[ends]
    squares = dot(away, away)
    none = np.flatnonzero(
        (squares == 0) | ((squares <= longest**2) & (new[starts] | new[ends]))
    )
    if len(none) == 0:
        return mesh, np.arange(len(mesh.faces))
    edges = np.column_stack([starts[none], ends[none]])
    goes_to = _one_of_each(new, edges)
    ways = mesh.vertices - np.take(mesh.vertices, goes_to, axis=0)
    far = np.bincount(goes_to, dot(ways, ways) > (_FARTHEST * longest) ** 2) > 0
    if far.any():
        near = ~np.append(far, np.zeros(len(new) - len(far), dtype=bool))[
            goes_to[edges[:, 0]]
        ]
        goes_to = _one_of_each(new, edges[near | (squares[none] == 0)])
    faces = goes_to[mesh.faces]
    a, b, c = faces.T
    kept = np.flatnonzero((a != b) & (b != c) & (c != a))
    return Mesh(mesh.vertices, faces[kept]), kept
