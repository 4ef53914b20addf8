"""Reading 3MF: the mesh objects that the file builds, where it builds them."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import PartFileError
from meshcomp.files.archives import refuse_unsound_archive
from meshcomp.files.checks import refuse_bad_corners
from meshcomp.files.contents import Contents, Shape
from meshcomp.files.lib3mf_models import (
    mesh_arrays,
    open_model,
    properties_of_triangles,
)
from meshcomp.files.placements import (
    is_turned,
    placements_of,
    refuse_unlike_placements,
)

__all__ = ["UNITS_OF_3MF", "read_3mf"]

# Names of 3MF's own units (3MF Core Specification, 3.4 Model) in those of meshcomp.
UNITS_OF_3MF = {
    "micron": "micron",
    "millimeter": "mm",
    "centimeter": "cm",
    "inch": "inch",
    "foot": "foot",
    "meter": "m",
}
# In the order in which lib3mf numbers them.
_UNITS = tuple(UNITS_OF_3MF.values())
_MODEL, _SURFACE = 1, 4  # types of objects that are the part, not a support


def read_3mf(data: bytes, name: str, stem: str, up: NDArray[np.float64]) -> Contents:
    """Read the mesh objects that are reached from a build item of a 3MF file.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        The file's name, for messages.
    stem : str
        Name of an object that has none.
    up : (3,) float
        Build direction in the file's coordinates.

    Raises
    ------
    PartFileError
        If the file is unsafe, damaged or holds no triangle, or if an object is placed
        several times in different ways.
    """
    import lib3mf

    refuse_unsound_archive(data, name)
    model, warned = open_model(data, name)
    try:
        placements, notes = placements_of(model, name)
        shapes = []
        for number, matrices in placements.items():
            mesh = model.GetMeshObjectByID(number)
            title = mesh.GetName() or stem
            reason = _reason_to_skip(mesh)
            if reason:
                notes.append(f"object '{title}' {reason}, so it is left as it is")
                continue
            refuse_unlike_placements(matrices, up, f"{name}: object '{title}'")
            notes += _doubts(mesh, matrices, title)
            shapes.append(_shape(mesh, matrices, title, name))
        unit = _UNITS[int(model.GetUnit())]
    except (lib3mf.ELib3MFException, UnicodeError) as error:
        raise PartFileError(
            f"{name} has objects that cannot be read ({error}): export it again"
        ) from error
    if not shapes:
        raise PartFileError(f"{name} holds 0 triangles to build: export the part again")
    return Contents(shapes=tuple(shapes), unit=unit, notes=(*warned, *notes))


def _reason_to_skip(mesh: Any) -> str | None:
    if int(mesh.GetType()) not in (_MODEL, _SURFACE):
        return "is a support"
    return None if mesh.GetTriangleCount() else "has no triangles"


def _shape(mesh: Any, matrices: list[NDArray[np.float64]], title: str, name: str) -> Shape:
    points, faces = mesh_arrays(mesh)
    refuse_bad_corners(f"{name}: object '{title}'", points, faces)
    return Shape(
        name=title,
        points=points,
        faces=faces,
        resource=mesh.GetUniqueResourceID(),
        placement=matrices[0],
        copies=len(matrices),
    )


def _doubts(mesh: Any, matrices: list[NDArray[np.float64]], title: str) -> list[str]:
    """Say what new triangles cannot keep, and what is true of one copy only."""
    doubts = []
    if is_turned(matrices):
        doubts.append(
            f"object '{title}' is placed {len(matrices)} times, turned about the build "
            "direction: it is made right for its first placement"
        )
    if _has_many_properties(mesh):
        doubts.append(f"object '{title}': colours of single triangles are not kept")
    if mesh.BeamLattice().GetBeamCount():
        doubts.append(f"object '{title}': its beam lattice is not kept")
    if mesh.GetTriangleSetCount():
        doubts.append(f"object '{title}': its sets of triangles are not kept")
    if mesh.HasSlices(True):
        doubts.append(
            f"object '{title}' has slices, which still show the part as it was read"
        )
    return doubts


def _has_many_properties(mesh: Any) -> bool:
    """Whether triangles have properties other than those of the object."""
    resource, index, _ = mesh.GetObjectLevelProperty()
    rows = properties_of_triangles(mesh)
    return bool((rows != (resource, index, index, index)).any())
