"""Walls: which side of the material they are on, and the profiles among them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import distinct
from meshcomp.detection.scenes import Scene
from meshcomp.sections import Outlines
from meshcomp.topology import components

__all__ = ["LEVEL_LIMIT", "Profile", "internal_faces", "profiles"]

LEVEL_LIMIT = 1e-3  # horizontal part of the normal: less is a level face, no wall


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Profile:
    """A connected wall without a size of its own."""

    is_internal: bool
    curve_length: float  # mm, longest outline seen in a section
    faces: NDArray[np.int64]


def internal_faces(
    scene: Scene, outlines: Outlines, walls: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Tell walls of pockets from outside walls, (m,) bool.

    A wall is internal if most sections see it on a clockwise ring. Walls that no section
    cut take the side of the nearest ones that hang together with them; those left over
    count as outside.
    """
    side = np.where(outlines.areas < 0, 1.0, -1.0)[outlines.ring]
    votes = np.bincount(outlines.faces, side[outlines.panel_of_face], len(walls))
    votes = np.append(np.where(walls, votes, 0.0), 0.0)  # the last: across an open edge
    decided = np.flatnonzero(votes)
    for _ in range(50):
        # Only next to what was decided last can anything change.
        beside = scene.topology.neighbours_of(decided).ravel()
        unsure = distinct(beside[(beside >= 0) & (votes[beside] == 0)], len(walls))
        unsure = unsure[walls[unsure]]
        a, b, c = np.sign(votes[scene.topology.neighbours_of(unsure)]).T
        spread = np.sign(a + b + c)
        if not spread.any():
            break
        votes[unsure] = 0.5 * spread
        decided = unsure[spread != 0]
    return np.asarray(votes[:-1] > 0)


def profiles(
    scene: Scene,
    outlines: Outlines,
    walls: NDArray[np.bool_],
    internal: NDArray[np.bool_],
    paired: NDArray[np.bool_],
) -> list[Profile]:
    """Group the walls that are in no pair by what hangs together.

    Walls in pairs join their neighbours, so that the rounded corners of a plate are one
    profile, not four.
    """
    joined = scene.topology.pairs // 3
    a, b = joined[:, 0], joined[:, 1]
    joined = joined[walls[a] & walls[b] & (internal[a] == internal[b])]
    labels = components(len(walls), joined)
    lengths = _outline_lengths(outlines, labels, walls & ~paired)
    rest = np.flatnonzero(walls & ~paired)
    order = rest[np.argsort(labels[rest], kind="stable")]
    parts = np.split(order, np.flatnonzero(np.diff(labels[order])) + 1)
    return [
        Profile(
            is_internal=bool(internal[faces[0]]),
            curve_length=lengths.get(int(labels[faces[0]]), 0.0),
            faces=np.sort(faces),
        )
        for faces in parts
        if len(faces)
    ]


def _outline_lengths(
    outlines: Outlines, labels: NDArray[np.int64], wanted: NDArray[np.bool_]
) -> dict[int, float]:
    """Longest outline of each component's own panels in any one section, mm."""
    first = np.searchsorted(outlines.panel_of_face, np.arange(len(outlines.points)))
    faces = outlines.faces[first]
    mine = wanted[faces]
    rings = max(len(outlines.heights), 1)
    numbers = labels[faces[mine]] * rings + outlines.ring[mine]
    keys, index = np.unique(numbers, return_inverse=True)
    totals = np.bincount(index, outlines.lengths[mine], len(keys))
    best: dict[int, float] = {}
    for label, total in zip((keys // rings).tolist(), totals.tolist(), strict=True):
        best[label] = max(best.get(label, 0.0), total)
    return best
