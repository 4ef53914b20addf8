"""Where the objects of a 3MF file stand: walking from the build items to the meshes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import PartFileError
from meshcomp.files.lib3mf_models import transform_matrix
from meshcomp.files.nesting import MOST_PLACEMENTS

__all__ = ["is_turned", "placements_of", "refuse_unlike_placements"]

Matrix = NDArray[np.float64]

# Files write turns with 4 to 6 decimals; 1e-4 is 0.01 mm on 100 mm, of a mere copy.
_TURN_LIMIT = 1e-4
_LARGEST = 1e9  # of the numbers in a transform
_FLAT_LIMIT = 1e-12  # of the volume a transform leaves


def placements_of(model: Any, name: str) -> tuple[dict[int, list[Matrix]], list[str]]:
    """Find every place at which each mesh object is built.

    Parameters
    ----------
    model
        A model of lib3mf.
    name : str
        The file's name, for messages.

    Returns
    -------
    dict
        By the object's unique number, in the order of the build: (4, 4) matrices to
        build coordinates, in the file's unit.
    notes : list of str
        What to tell of a file that builds nothing, or builds what is no mesh.

    Raises
    ------
    PartFileError
        If components are nested without end, or nearly so.
    """
    roots = list(_build_items(model))
    notes = []
    if not roots:
        roots = list(_objects_of_no_other(model))
        notes.append(
            "the file has no build item, so its objects are read where they are drawn"
        )
    found: dict[int, list[Matrix]] = {}
    for part, matrix in _leaves(model, roots, name):
        if part.IsMeshObject():
            found.setdefault(part.GetUniqueResourceID(), []).append(matrix)
        else:
            notes.append(f"object '{part.GetName()}' is no mesh, so it is left as it is")
    return found, notes


def _leaves(
    model: Any, roots: list[tuple[Any, Matrix]], name: str
) -> Iterator[tuple[Any, Matrix]]:
    """Objects without components, and where they are built, in the order of the build."""
    waiting = roots[::-1]
    children: dict[int, list[tuple[Any, Matrix]]] = {}
    for _ in range(MOST_PLACEMENTS):
        if not waiting:
            return
        part, matrix = waiting.pop()
        _refuse_wild(matrix, name)
        if not part.IsComponentsObject():
            yield part, matrix
            continue
        number = part.GetUniqueResourceID()
        if number not in children:
            children[number] = list(_components(model, number))
        # From the end, since the last one put on the stack is taken first.
        waiting.extend((child, matrix @ m) for child, m in children[number][::-1])
    raise PartFileError(
        f"{name} places its objects more than {MOST_PLACEMENTS:,} times by nested "
        "components: save the part as one object"
    )


def _refuse_wild(matrix: Matrix, name: str) -> None:
    # A comparison with NaN is false, so it counts as wild as well.
    if not (np.abs(matrix) <= _LARGEST).all():
        raise PartFileError(
            f"{name} has a transform with a number that is not finite or beyond "
            f"{_LARGEST:g}: export it again"
        )


def _build_items(model: Any) -> Iterator[tuple[Any, Matrix]]:
    items = model.GetBuildItems()
    while items.MoveNext():
        item = items.GetCurrent()
        yield item.GetObjectResource(), transform_matrix(item.GetObjectTransform())


def _components(model: Any, number: int) -> Iterator[tuple[Any, Matrix]]:
    whole = model.GetComponentsObjectByID(number)
    for k in range(whole.GetComponentCount()):
        component = whole.GetComponent(k)
        yield component.GetObjectResource(), transform_matrix(component.GetTransform())


def _objects_of_no_other(model: Any) -> Iterator[tuple[Any, Matrix]]:
    """Objects that are components of no other object."""
    objects = []
    used = set()
    iterator = model.GetObjects()
    while iterator.MoveNext():
        part = iterator.GetCurrentObject()
        number = part.GetUniqueResourceID()
        objects.append(part)
        if part.IsComponentsObject():
            used |= {c.GetUniqueResourceID() for c, _ in _components(model, number)}
    for part in objects:
        if part.GetUniqueResourceID() not in used:
            yield part, np.eye(4)


def refuse_unlike_placements(
    matrices: list[Matrix], up: NDArray[np.float64], label: str
) -> None:
    """Refuse an object whose copies do not print alike.

    Parameters
    ----------
    matrices : list of (4, 4) float
        As `placements_of` finds them.
    up : (3,) float
        Build direction in the file's coordinates.
    label : str
        The file and the object, for messages.

    Raises
    ------
    PartFileError
        Unless all differ by a shift and a turn about the build direction only.
    """
    first = matrices[0][:3, :3]
    lengths = np.linalg.norm(first, axis=0)
    if not abs(np.linalg.det(first)) > _FLAT_LIMIT * float(lengths.max()) ** 3:
        raise PartFileError(
            f"{label} is flattened by its transform (determinant "
            f"{np.linalg.det(first):g}): give it a transform that keeps its volume"
        )
    turns = np.stack(matrices)[:, :3, :3] @ np.linalg.inv(first)
    is_turn = (
        (
            np.abs(turns @ np.swapaxes(turns, 1, 2) - np.eye(3)).max(axis=(1, 2))
            < _TURN_LIMIT
        )
        & (np.linalg.det(turns) > 0)
        & (np.abs(turns @ up - up).max(axis=1) < _TURN_LIMIT)
    )
    if not is_turn.all():
        raise PartFileError(
            f"{label} is placed {len(matrices)} times, and placement "
            f"{int(np.argmin(is_turn)) + 1} stands, is mirrored or is scaled differently "
            "from placement 1, so that one mesh cannot be right for all: save them as "
            "separate objects"
        )


def is_turned(matrices: list[Matrix]) -> bool:
    """Whether copies are turned other than by half turns, which keep X along X."""
    turns = np.stack(matrices)[:, :3, :3] @ np.linalg.inv(matrices[0][:3, :3])
    diagonal = np.abs(np.diagonal(turns, axis1=1, axis2=2))
    return bool((diagonal < 1 - _TURN_LIMIT).any())
