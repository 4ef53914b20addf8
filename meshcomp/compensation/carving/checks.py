"""Whether a mesh that solids were taken away from, or added to, is as sound as before."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import are_in
from meshcomp._vectors import all_of, any_of
from meshcomp.compensation.carving.cutting import closed_up, worn_faces
from meshcomp.compensation.carving.unfolding import NEEDLE, folded_back, unfolded
from meshcomp.compensation.films import in_films
from meshcomp.compensation.refining import Refined
from meshcomp.crossings import crossing_pairs
from meshcomp.files.welding import weld
from meshcomp.meshes import Mesh
from meshcomp.repairing.patchwork import Patchwork
from meshcomp.repairing.slivers import without_slivers
from meshcomp.topology import bodies_and_holes

__all__ = [
    "crossing_near",
    "holes_of",
    "is_sound",
    "mended",
    "unsound_faces",
    "with_rims",
]

# Shortest edges of rims, and heights of needles, that stay, mm: ever larger ones.
_MENDED = ((2e-3, 1e-5), (2e-3, 2e-4), (5e-3, 1e-3))
_LOWER = 10.0  # times: how much lower needles are for which planes are made anew


def with_rims(cut: Refined, new: NDArray[np.bool_]) -> Iterator[Refined]:
    """Yield a cut as it is, then with rims mended, as `mended` does."""
    yield cut
    holes = holes_of(cut.mesh)
    yield from (after for after in mended(cut, new) if holes_of(after.mesh) == holes)


def mended(cut: Refined, new: NDArray[np.bool_]) -> Iterator[Refined]:
    """Yield a cut with rims mended where rounding may have turned faces, more each time.

    Edges too short go, then films, and needles whose corners lie on a line; that may
    change bodies and holes. `new` marks the vertices that the cut has made, (n,).
    """
    known = np.zeros((0, 3), dtype=np.int64)
    for shortest, flattest in _MENDED:
        mesh, kept = closed_up(cut.mesh, new, shortest)
        left = np.flatnonzero(~in_films(mesh, any_of(new[mesh.faces])))
        mesh, kept = Mesh(mesh.vertices, mesh.faces[left]), kept[left]
        limits = np.where(any_of(new[mesh.faces]), flattest, -1.0)
        mesh, parents = _without_needles(mesh, limits)
        kept = kept[parents]
        mesh, parents = unfolded(
            mesh, np.flatnonzero(any_of(new[mesh.faces])), max(NEEDLE, flattest / _LOWER)
        )
        kept = kept[parents]
        if np.array_equal(mesh.faces, known):
            continue
        known = mesh.faces
        yield replace(cut, mesh=mesh, parents=cut.parents[kept])


def _without_needles(
    mesh: Mesh, limits: NDArray[np.float64]
) -> tuple[Mesh, NDArray[np.int64]]:
    """Take up faces no higher than their limits; tell the face that each is or lies beside.

    Done among the faces around them, two rings wide: those are few.
    """
    low = mesh.heights <= limits
    if not low.any():
        return mesh, np.arange(len(low))
    near = low
    for _ in range(2):
        at = np.zeros(len(mesh.vertices), dtype=bool)
        at[mesh.faces[near]] = True
        near = any_of(at[mesh.faces])
    rows, others = np.flatnonzero(near), np.flatnonzero(~near)
    few = Patchwork(Mesh(mesh.vertices, mesh.faces[rows]), rows)
    work, _ = without_slivers(few, limits[rows])
    faces = np.concatenate([mesh.faces[others], work.mesh.faces])
    return Mesh(mesh.vertices, faces), np.concatenate([others, work.parents])


def is_sound(before: Refined, after: Refined) -> bool:
    """Whether no face that was not there crosses another, is open or folded."""
    return len(unsound_faces(before, after)) == 0


def unsound_faces(
    before: Refined, after: Refined, *, needles: bool = False
) -> NDArray[np.int64]:
    """Find faces that were not there and cross others, are open or folded.

    Parameters
    ----------
    before, after : Refined
        Parents of `after` are faces of `before`; those with none, -1, may look any way.
    needles : bool, optional
        Whether faces so low that rounding may have turned them count too.

    Returns
    -------
    faces : (k,) int
        Some of them.
    """
    touched = ~are_in(after.mesh.hashes, np.sort(before.mesh.hashes))
    rows = np.flatnonzero(touched)
    low = Mesh(after.mesh.vertices, after.mesh.faces[rows]).heights < NEEDLE
    # Not even faces that crossed before may: cutting those would make more of them.
    pairs = crossing_pairs(after.mesh, touched).ravel()
    found = np.unique(np.concatenate([pairs, rows[low]]) if needles else pairs)
    if len(found):
        return found
    back = folded_back(after.mesh, rows)
    if len(back):
        return back
    touched &= after.parents >= 0
    return worn_faces(before.mesh, after.mesh, after.parents, touched)


def crossing_near(mesh: Mesh, tools: Sequence[Mesh]) -> NDArray[np.int64]:
    """Find faces that cross others already where they reach into the box of a tool.

    Returns
    -------
    faces : (k,) int
    """
    near = np.zeros(len(mesh.faces), dtype=bool)
    corners = [np.take(mesh.vertices, corner, axis=0) for corner in mesh.faces.T]
    low = np.minimum(np.minimum(corners[0], corners[1]), corners[2])
    high = np.maximum(np.maximum(corners[0], corners[1]), corners[2])
    for tool in tools:
        least, most = tool.bounds
        near |= all_of(low <= most) & all_of(high >= least)
    rows = np.flatnonzero(near)
    return np.unique(rows[crossing_pairs(Mesh(mesh.vertices, mesh.faces[rows]))])


def holes_of(mesh: Mesh) -> tuple[int, int]:
    """Count bodies, and holes through them, as whoever reads the file will."""
    return mesh.kept("holes", _holes_as_read)


def _holes_as_read(mesh: Mesh) -> tuple[int, int]:
    welded = weld(mesh.vertices, mesh.faces)  # equal points are one there
    return bodies_and_holes(Mesh(welded.points, welded.faces))
