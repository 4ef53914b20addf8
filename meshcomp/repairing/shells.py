"""Closed surfaces of a mesh: which lies in which, and which are inside out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.boxes import overlapping_boxes
from meshcomp.meshes import Mesh
from meshcomp.repairing.patchwork import Patchwork
from meshcomp.repairing.windings import negative_patches, winding_about
from meshcomp.topology import bodies_of, topology_of

__all__ = ["Shells", "shells_inside", "shells_of", "turned_as_one", "turned_outward"]

_MOST_ROUNDS = 4
_WITHIN = 1e-3  # of the way to the middle: shells within one another may touch
_MOST_PAIRS = 20_000  # of shells in one another's boxes; each costs a look at the faces
_SAME_SIZE = 1e-9  # of the volume
_LEAST_THICKNESS = 1e-4  # mm, a closed surface thinner than that encloses nothing


@dataclass(frozen=True, slots=True, eq=False)
class Shells:
    """The shells of a mesh, numbered from 0."""

    of_face: NDArray[np.int64]  # (m,)
    volumes: NDArray[np.float64]  # (s,) mm³, negative where inside out
    areas: NDArray[np.float64]  # (s,) mm²
    boxes: NDArray[np.float64]  # (s, 2, 3) lowest and highest corner, mm
    doubled: NDArray[np.float64]  # (m,) twice the area of each face, mm²

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
    return mesh.kept("shells", lambda mesh: _measured(mesh, bodies_of(mesh)))


def _measured(mesh: Mesh, label: NDArray[np.int64]) -> Shells:
    boxes = _boxes(mesh, label)
    count = len(boxes)
    # About a corner of its own box, so that a shell far from the origin loses no digits.
    first = mesh.vertices[mesh.faces[:, 0]] - boxes[label, 0]
    twice = 2 * mesh.area_vectors
    volumes = np.einsum("ij,ij->i", first, twice)
    areas = np.sqrt(np.einsum("ij,ij->i", twice, twice))
    return Shells(
        of_face=label,
        volumes=np.bincount(label, volumes, count) / 6,
        areas=np.bincount(label, areas, count) / 2,
        boxes=boxes,
        doubled=areas,
    )


def _boxes(mesh: Mesh, label: NDArray[np.int64]) -> NDArray[np.float64]:
    """Lowest and highest corner of each shell, (s, 2, 3), mm."""
    count = int(label.max(initial=-1)) + 1
    if count == 1 and len(mesh.vertices) < len(mesh.faces):
        # A closed mesh of one shell that uses all of its vertices, as readers leave it.
        return np.array([[mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)]])
    low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    order = np.argsort(label, kind="stable")
    begins = np.flatnonzero(np.diff(label[order], prepend=-1))
    for k in range(3):
        corner = mesh.vertices[mesh.faces[order, k]]
        low = np.minimum(low, np.minimum.reduceat(corner, begins))
        high = np.maximum(high, np.maximum.reduceat(corner, begins))
    return np.stack([low, high], axis=1)


def shells_inside(mesh: Mesh, shells: Shells) -> NDArray[np.int64]:
    """Find which shells lie within which others.

    `shells` are those of `shells_of`. Only such whose whole box lies in another's are
    looked at, by the winding number of the other about a point of each, and about points
    near its outermost corners: what sticks out lies in no other.

    Returns
    -------
    pairs : (k, 2) int
        The inner shell and the outer one.
    """
    return mesh.kept("shells inside", lambda mesh: _inside(mesh, shells))


def _inside(mesh: Mesh, shells: Shells) -> NDArray[np.int64]:
    candidates = _boxes_in_boxes(shells.boxes)[:_MOST_PAIRS]
    sizes = np.abs(shells.volumes)[candidates]
    # Two surfaces that coincide lie in neither.
    candidates = candidates[sizes[:, 0] < (1 - _SAME_SIZE) * sizes[:, 1]]
    if len(candidates) == 0:
        return candidates
    order = np.argsort(shells.of_face, kind="stable")
    ends = np.cumsum(np.bincount(shells.of_face, minlength=shells.count))
    starts = ends - np.bincount(shells.of_face, minlength=shells.count)
    found = []
    for inner, outer in candidates.tolist():
        own, other = (
            mesh.vertices[mesh.faces[order[starts[k] : ends[k]]]] for k in (inner, outer)
        )
        axes = np.ascontiguousarray(other.T)
        if all(abs(winding_about(p, axes)) > 0.5 for p in _inner_points(own)):  # noqa: PLR2004
            found.append((inner, outer))
    return np.array(found, np.int64).reshape(-1, 2)


def _inner_points(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the middle of a face, and points just within outermost corners, (9, 3) mm."""
    points = corners.reshape(-1, 3)
    ways = 1.0 - 2.0 * np.indices((2, 2, 2)).reshape(3, -1).T
    outermost = points[np.argmax(points @ ways.T, axis=0)]
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    return np.vstack([corners[:1].mean(axis=1), outermost + _WITHIN * (middle - outermost)])


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


def turned_as_one(work: Patchwork) -> tuple[Patchwork, int]:
    """Turn all over, where bodies touch and all together enclose less than nothing.

    Of bodies inside out, the sides that they share would pass for walls without thickness,
    and faces of one for neighbours of the other's. Slits and stray faces hardly change the
    sum; where they do, nothing is lost, as each body is turned outward later.

    Returns
    -------
    work : Patchwork
    turned : int
        How many shells were turned.
    """
    if not topology_of(work.mesh).crowded or work.mesh.volume >= 0:
        return work, 0
    turned = work.turned(np.ones(len(work.mesh.faces), dtype=bool))
    return turned, int((shells_of(turned.mesh).volumes > 0).sum())


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
    work, first = _turned_in_order(work)
    work, then = _turned_patches(work)
    return work, first + then


def _turned_in_order(work: Patchwork) -> tuple[Patchwork, int]:
    """Turn shells that are inside out, from the outside inwards."""
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
    return work.turned(turned[shells.of_face]), int(turned.sum())


def _turned_patches(work: Patchwork) -> tuple[Patchwork, int]:
    """Turn surfaces that have less than nothing before them, where bodies touch.

    Along an edge of four faces a body that is inside out goes on smoothly into the one
    that it touches, so that both pass for one shell, whose volume is their difference.
    Its winding number tells: it is -1 within the body that is inside out.
    """
    tried, turned = work, 0
    for _ in range(_MOST_ROUNDS):
        negative, label = negative_patches(tried.mesh)
        if not negative.any():
            return tried, turned
        tried, turned = tried.turned(negative[label]), turned + int(negative.sum())
    return work, 0
