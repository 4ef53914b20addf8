"""Cylinders about axes that no coordinate axis is parallel to."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.axes import Proposal, is_coordinate, oblique_axes
from meshcomp.detection.cylinders import (
    CylinderFaces,
    cylinders_along,
    cylinders_on,
    take,
)
from meshcomp.detection.scenes import Scene
from meshcomp.detection.tilting import is_nearly_round, settled_axis

__all__ = ["oblique_cylinders"]

_MOST_IN_VAIN = 8  # in a row, of surfaces finely curved both ways: their rims propose many
_SAME_DIRECTION = 1 - 1e-8  # cosine


def oblique_cylinders(scene: Scene, taken: NDArray[np.bool_]) -> list[CylinderFaces]:
    """Find cylinders about other axes; those that share a direction together.

    Parameters
    ----------
    scene : Scene
        The part.
    taken : (m,) bool
        Faces of cylinders about coordinate axes; those of the ones found are added.
    """
    found: list[CylinderFaces] = []
    searched: list[NDArray[np.float64]] = []
    is_fine = bool(scene.bends.is_double.any())
    in_vain = 0
    for proposal in oblique_axes(scene, ~taken):
        if is_fine and in_vain == _MOST_IN_VAIN:
            break
        in_vain += 1
        faces = proposal.faces[~taken[proposal.faces]]
        if len(faces) < len(proposal.faces) / 2:
            continue
        direction, is_bare = _settled(scene, proposal, faces)
        if direction is None or is_coordinate(direction):
            continue
        across = cylinders_along(scene, direction, taken, whole=False)[0]
        take(taken, across)
        if is_bare and not across:
            continue  # looked at once already
        mine = cylinders_on(scene, direction, faces[~taken[faces]])
        take(taken, mine)
        found += across + mine
        in_vain = 0 if across + mine else in_vain
        if across + mine and not _is_one_of(direction, searched):
            # Where no facet runs along the axis, others about it show as patches only.
            take(taken, others := cylinders_on(scene, direction, np.flatnonzero(~taken)))
            found += others
            searched.append(direction)
    return found


def _is_one_of(direction: NDArray[np.float64], others: list[NDArray[np.float64]]) -> bool:
    return any(abs(float(direction @ other)) > _SAME_DIRECTION for other in others)


def _settled(
    scene: Scene, proposal: Proposal, faces: NDArray[np.int64]
) -> tuple[NDArray[np.float64] | None, bool]:
    """Direction as the largest cylinder among some faces has it; None for a bad patch.

    And whether no cylinder was seen about that direction.
    """
    direction = proposal.direction
    seen = cylinders_on(scene, direction, faces)
    if not seen and (proposal.is_patch or is_nearly_round(scene, faces, direction)):
        settled = settled_axis(scene, faces, direction)
        if settled is not direction:
            direction, seen = settled, cylinders_on(scene, settled, faces)
    if seen:
        # What was found may still lean: tilt the axis as its own faces want it.
        largest = max(seen, key=lambda cylinder: len(cylinder.faces))
        return settled_axis(scene, largest.faces, direction), False
    return (None if proposal.is_patch else direction), True
