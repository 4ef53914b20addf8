"""Points that several surfaces have in common, one one of its own for each of them.

Bodies, or two sides of one body, may touch along an edge or in a corner. One point cannot
follow the walls of both: it would drag one, or leave a shell of no thickness between them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp.compensation.crowding import crowded_edges
from meshcomp.compensation.limits import CONTACT_GAP
from meshcomp.contacts import touching_faces
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Plan
from meshcomp.segmentation import planar_regions
from meshcomp.topology import bodies_of, fans, topology_of

__all__ = ["faces_at_joints", "with_points_parted"]

_DUST = 1e-9  # mm


def with_points_parted(inspection: Inspection) -> Inspection:
    """Give every fan of faces about a vertex a vertex of its own, in the same place.

    Those of sides that two bodies have in common stay as they are, since these do not move.
    Faces keep their order and corners. A mesh without such vertices is returned as it is.

    Examples
    --------
    >>> import meshcomp
    >>> found = meshcomp.inspect(meshcomp.demo_part("shaft_spacer"))
    >>> with_points_parted(found) is found
    True
    """
    inspection = _without_dust(inspection)
    mesh, solid = inspection.part.mesh, inspection.solid
    # Euler's formula says how many fans there are.
    count = 2 * (solid.bodies - solid.genus) + len(mesh.faces) // 2
    if count <= len(mesh.vertices):
        return inspection
    corners, own = mesh.faces.ravel(), fans(topology_of(mesh))
    places = np.zeros(int(own.max()) + 1, dtype=np.int64)
    places[own] = corners
    first = np.zeros(len(mesh.vertices), dtype=np.int64)
    first[corners[::-1]] = own[::-1]
    # The first fan about each vertex keeps its number, the others come after all.
    is_first = first[places] == np.arange(len(places))
    others = np.flatnonzero(~is_first & ~_in_contact(inspection)[places])
    numbers = places.copy()
    numbers[others] = len(mesh.vertices) + np.arange(len(others))
    points = np.concatenate([mesh.vertices, mesh.vertices[places[others]]])
    parted = Mesh(points, numbers[own].reshape(-1, 3))
    part = inspection.part.with_mesh(parted, np.arange(len(parted.faces)))
    return replace(inspection, part=part)


def _in_contact(inspection: Inspection) -> NDArray[np.bool_]:
    """Vertices of sides that two bodies have in common, (n,): they stay in common."""
    mesh = inspection.part.mesh
    sides = touching_faces(mesh, bodies_of(mesh), CONTACT_GAP)
    shared = np.zeros(len(mesh.vertices), dtype=bool)
    shared[mesh.faces[sides]] = True
    return shared


def _without_dust(inspection: Inspection) -> Inspection:
    """Take rounding errors about zero for zero, where bodies may touch in that plane.

    What is moved or split there is rounded so, and would cross what is not.
    """
    mesh = inspection.part.mesh
    dust = (mesh.vertices != 0) & (np.abs(mesh.vertices) < _DUST)
    if inspection.solid.bodies == 1 or not dust.any():
        return inspection
    clean = mesh.moved(np.where(dust, 0.0, mesh.vertices))
    part = inspection.part.with_mesh(clean, np.arange(len(clean.faces)))
    return replace(inspection, part=part)


def faces_at_joints(inspection: Inspection, plan: Plan) -> NDArray[np.bool_]:
    """Mark faces that another side of the same part lies against, without any gap, (m,).

    They are looked for where edges have four faces or more, as such a joint begins there.
    If walls grow, one side would pass through the other.
    """
    mesh = inspection.part.mesh
    topology = topology_of(mesh)
    grows = any(c.offset > 0 and not c.is_left_alone for c in plan.corrections)
    if not (topology.crowded and grows):
        return np.zeros(len(mesh.faces), dtype=bool)
    sides = planar_regions(mesh, topology).of_face
    begin = np.isin(sides, sides[crowded_edges(mesh)[1]])
    return touching_faces(mesh, sides, CONTACT_GAP, begin)
