"""Undo errors of the printer's axes, in the 32 bits that are written."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import unit
from meshcomp.compensation.limits import CONTACT_GAP
from meshcomp.compensation.rounding import rounded
from meshcomp.contacts import touching_faces
from meshcomp.crossings import crossing_pairs
from meshcomp.errors import UnsoundResultError
from meshcomp.files.precision import unit_held
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.printer_axes import PrinterAxes
from meshcomp.topology import bodies_of

__all__ = ["axes_undone"]

_APART = 4  # steps of 32-bit numbers, by which faces in contact are drawn back


def axes_undone(inspection: Inspection, mesh: Mesh, axes: PrinterAxes) -> Mesh:
    """Ask for what the printer's axes draw as the mesh, in 32 bits as it is written.

    Bodies that lie face to face have a plane in common, and once that leans, rounding may
    make them cross; where it does, their faces in contact are drawn back by less than it
    matters to any print.

    Parameters
    ----------
    inspection : Inspection
        Of the part before: its bodies, and the way it stands.
    mesh : Mesh
        As it is to be drawn, mm.
    axes : PrinterAxes
        What the printer makes of it.

    Raises
    ------
    UnsoundResultError
        If bodies cross nevertheless, with the place.
    """
    unit_of_file = unit_held(inspection.part)
    asked = _asked(mesh, axes, unit_of_file)
    if inspection.solid.bodies == 1:
        return asked
    before = len(crossing_pairs(mesh))
    if len(crossing_pairs(asked)) > before:
        asked = _asked(_drawn_back(mesh), axes, unit_of_file)
        _refuse_crossing(inspection, asked, before)
    return asked


def _asked(mesh: Mesh, axes: PrinterAxes, unit_of_file: float) -> Mesh:
    levels = axes.undone(mesh.bounds)[:, 2]
    return mesh.moved(rounded(axes.undone(mesh.vertices), levels, unit_of_file))


def _drawn_back(mesh: Mesh) -> Mesh:
    """Move the faces that another body lies against into their own, by a few roundings."""
    bodies = bodies_of(mesh)
    touching = touching_faces(mesh, bodies, CONTACT_GAP)
    apart = _each_its_own(mesh, bodies)
    inward = np.zeros_like(apart.vertices)
    normals = unit(mesh.area_vectors[touching])
    for k in range(3):
        np.subtract.at(inward, apart.faces[touching, k], normals)
    step = _APART * float(np.spacing(np.float32(np.abs(mesh.vertices).max())))
    return apart.moved(apart.vertices + step * unit(inward))


def _each_its_own(mesh: Mesh, bodies: NDArray[np.int64]) -> Mesh:
    """Give each body vertices of its own; faces keep their order."""
    keys = mesh.faces + bodies[:, None] * len(mesh.vertices)
    kept, faces = np.unique(keys, return_inverse=True)
    return Mesh(mesh.vertices[kept % len(mesh.vertices)], faces.reshape(-1, 3))


def _refuse_crossing(inspection: Inspection, asked: Mesh, before: int) -> None:
    pairs = crossing_pairs(asked)
    if len(pairs) <= before:
        return
    x, y, z = inspection.part.stand.to_file(asked.corners[pairs[0, 0]].mean(axis=0))
    raise UnsoundResultError(
        f"{inspection.part.name}: bodies touch near ({x:.3f}, {y:.3f}, {z:.3f}) mm, and "
        f"{len(pairs)} of their faces would cross by rounding once errors of the axes are "
        "undone: unite the bodies, or leave the axes as they are (--no-axes)"
    )
