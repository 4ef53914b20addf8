"""Move vertices, rounded as they will be written, and make worn regions anew."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import any_of
from meshcomp.compensation.charts import Charts
from meshcomp.compensation.films import joined_ends
from meshcomp.compensation.flattening import flattened
from meshcomp.compensation.refining import Refined
from meshcomp.compensation.rounding import rounded
from meshcomp.meshes import Mesh
from meshcomp.triangulating import Known

__all__ = ["moved_by"]

_NOTHING = 1e-9  # mm


def moved_by(
    charts: Charts,
    refined: Refined,
    d: NDArray[np.float64],
    share: NDArray[np.float64],
    known: Known | None = None,
) -> tuple[Refined, NDArray[np.int64], NDArray[np.bool_]]:
    """Move the vertices of a refined mesh by a share of d.

    Parameters
    ----------
    charts : Charts
        Regions of the refined faces.
    refined : Refined
    d : (n, 3) float
        Displacements, mm; a vertex that is not displaced keeps every bit.
    share : (k,) float
        Of d, for the first k vertices.
    known : Known, optional
        Triangles of earlier tries.

    Returns
    -------
    flat : Refined
        The moved mesh, its worn regions triangulated anew.
    of_face : (m,) int
        Region of each of its faces.
    changed : (m,) bool
        Faces with a moved corner, or made anew.
    """
    mesh = refined.mesh
    d = d.copy()
    d[: len(share)] *= share[:, None]
    d[np.abs(d) < _NOTHING] = 0.0
    # What will be written has 32 bits: what is judged has them too.
    places = rounded(mesh.vertices + d, mesh.bounds[:, 2], refined.unit)
    # Near zero they hold rounding errors too, and bodies that touch there would cross.
    places[np.abs(places) < _NOTHING] = 0.0
    shifted = np.where(d != 0, places, mesh.vertices)
    new = np.arange(len(mesh.vertices)) >= refined.old_vertices
    shifted[new] = places[new]
    changed = any_of(d != 0) | new
    touched = any_of(changed[mesh.faces])
    flat, of_face, fresh = flattened(refined, mesh.moved(shifted), charts, touched, known)
    changed = any_of(changed[flat.mesh.faces]) | fresh
    faces, whole = joined_ends(flat.mesh, changed)
    if not whole.all():
        flat = replace(
            flat,
            mesh=Mesh(flat.mesh.vertices, faces[whole]),
            parents=flat.parents[whole],
        )
    return flat, of_face[whole], changed[whole]
