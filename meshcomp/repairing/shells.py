"""Closed surfaces of a mesh: which lies in which, and which are inside out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.boxes import overlapping_boxes
from meshcomp.meshes import Mesh
from meshcomp.repairing.patchwork import Patchwork
from meshcomp.topology import components, topology_of

__all__ = ["Shells", "shells_inside", "shells_of", "turned_outward"]

_MOST_PAIRS = 20_000  # of shells in one another's boxes; each costs a look at the faces
_LEAST_THICKNESS = 1e-4  # mm, a closed surface thinner than that encloses nothing


@dataclass(frozen=True, slots=True, eq=False)
class Shells:
    """The shells of a mesh, numbered from 0."""

    of_face: NDArray[np.int64]  # (m,)
    volumes: NDArray[np.float64]  # (s,) mm³, negative where inside out
    areas: NDArray[np.float64]  # (s,) mm²
    boxes: NDArray[np.float64]  # (s, 2, 3) lowest and highest corner, mm

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.volumes)

    @property
    def are_sheets(self) -> NDArray[np.bool_]:
        """Whether each encloses nothing, (s,)."""
        return 2 * np.abs(self.volumes) <= _LEAST_THICKNESS * self.areas


def shells_of(mesh: Mesh) -> Shells:
    """Measure the connected surfaces of a mesh.

    Examples
    --------
    >>> tetrahedron = Mesh(
    ...     [(0, 0, 0), (6, 0, 0), (0, 1, 0), (0, 0, 1)],
    ...     [(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)],
    ... )
    >>> shells_of(tetrahedron).volumes.tolist()
    [1.0]
    """
    label = components(len(mesh.faces), topology_of(mesh).pairs // 3)
    count = int(label.max(initial=-1)) + 1
    low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    order = np.argsort(label, kind="stable")
    begins = np.flatnonzero(np.diff(label[order], prepend=-1))
    for corner in (a, b, c):
        low = np.minimum(low, np.minimum.reduceat(corner[order], begins))
        high = np.maximum(high, np.maximum.reduceat(corner[order], begins))
    # About a corner of its own box, so that a shell far from the origin loses no digits.
    a, b, c = (corner - low[label] for corner in (a, b, c))
    twice = np.cross(b - a, c - a)
    return Shells(
        of_face=label,
        volumes=np.bincount(label, np.einsum("ij,ij->i", a, twice), count) / 6,
        areas=np.bincount(label, np.linalg.norm(twice, axis=1), count) / 2,
        boxes=np.stack([low, high], axis=1),
    )


def shells_inside(mesh: Mesh, shells: Shells) -> NDArray[np.int64]:
    """Find which shells lie within which others.

    Only shells whose whole box lies in another's are looked at, by the winding number
    of the other about one corner (the sum of solid angles; A. van Oosterom, J. Strackee,
    IEEE Trans. Biomed. Eng. 30 (1983) 125-126).

    Returns
    -------
    pairs : (k, 2) int
        The inner shell and the outer one.
    """
    candidates = _boxes_in_boxes(shells.boxes)[:_MOST_PAIRS]
    if len(candidates) == 0:
        return candidates
    order = np.argsort(shells.of_face, kind="stable")
    ends = np.cumsum(np.bincount(shells.of_face, minlength=shells.count))
    starts = ends - np.bincount(shells.of_face, minlength=shells.count)
    found = []
    for inner, outer in candidates.tolist():
        first = mesh.faces[order[starts[inner]]]
        point = mesh.vertices[first].mean(axis=0)
        corners = mesh.vertices[mesh.faces[order[starts[outer] : ends[outer]]]]
        if abs(_winding(corners - point)) > 0.5:  # noqa: PLR2004 - 0 outside, 1 inside
            found.append((inner, outer))
    return np.array(found, np.int64).reshape(-1, 2)


def _boxes_in_boxes(boxes: NDArray[np.float64]) -> NDArray[np.int64]:
    """Pairs of boxes, the first within the second."""
    if len(boxes) == 1:
        return np.zeros((0, 2), np.int64)
    pairs = overlapping_boxes(boxes, np.ones(len(boxes), dtype=bool))
    pairs = np.concatenate([pairs, pairs[:, ::-1]])
    inner, outer = boxes[pairs[:, 0]], boxes[pairs[:, 1]]
    within = (inner[:, 0] >= outer[:, 0]).all(axis=1) & (inner[:, 1] <= outer[:, 1]).all(
        axis=1
    )
    return pairs[within]


def _winding(corners: NDArray[np.float64]) -> float:
    """Winding number of triangles, (k, 3, 3), about the origin."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    la, lb, lc = (np.linalg.norm(side, axis=1) for side in (a, b, c))
    volume = np.einsum("ij,ij->i", a, np.cross(b, c))
    rest = (
        la * lb * lc
        + np.einsum("ij,ij->i", a, b) * lc
        + np.einsum("ij,ij->i", b, c) * la
        + np.einsum("ij,ij->i", c, a) * lb
    )
    return float(np.arctan2(volume, rest).sum() / (2 * np.pi))


def turned_outward(work: Patchwork) -> tuple[Patchwork, int]:
    """Turn shells that are inside out.

    A shell inside no other must enclose a positive volume; if it does not, it is turned
    with all that lies within it. A shell of negative volume in one of positive volume is
    a cavity, and stays one.

    Returns
    -------
    work : Patchwork
    turned : int
        How many shells were turned.
    """
    shells = shells_of(work.mesh)
    if (shells.volumes >= 0).all():
        return work, 0
    pairs = shells_inside(work.mesh, shells)
    depth = np.bincount(pairs[:, 0], minlength=shells.count)
    turned = (depth == 0) & (shells.volumes < 0)
    turned[pairs[turned[pairs[:, 1]], 0]] = True
    signs = np.where(turned, -1.0, 1.0) * np.sign(shells.volumes)
    for level in range(1, int(depth.max()) + 1):
        # Material about a shell: one for each shell around it, less the cavities.
        about = np.bincount(pairs[:, 0], signs[pairs[:, 1]], shells.count)
        astray = (depth == level) & (about <= 0) & (signs < 0)
        turned ^= astray
        signs[astray] *= -1
    rows = turned[shells.of_face]
    faces = np.where(rows[:, None], work.mesh.faces[:, ::-1], work.mesh.faces)
    return work.with_faces(faces), int(turned.sum())
