"""Faces in whose neighbourhood the surface is a single sheet, before and after a motion.

There nothing can have come to cross: all normals near such a face, before and after, lie
within a cone about one direction, so the surface there lies over a plane as a map does.
Two such sheets one above the other would have a third one between them, looking the other
way, since the solid is closed; and a sheet whose points move by less than the distance to
the border of the neighbourhood stays a single one in its middle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import pieces
from meshcomp._vectors import dot, unit
from meshcomp.meshes import Mesh

__all__ = ["in_single_sheet"]

_WIDEST = np.radians(60.0)  # between a normal and the direction that a sheet looks in
_LARGE = 2.0  # medians: longer faces are looked at by points here and there
_MOST_CELLS = 1 << 23
_MOST_POINTS = 1  # to a face, on average: with more, looking at all pairs is as quick
_FEW = 20_000  # faces: with fewer, looking at all pairs is as quick
_ROUNDING = 1e-3  # mm


def in_single_sheet(
    before: Mesh, after: Mesh, reach: float, *, few: int = _FEW
) -> NDArray[np.bool_]:
    """Mark faces that nothing can have come to cross.

    Parameters
    ----------
    before, after : Mesh
        A closed surface, and where it went.
    reach : float
        Farthest that any point of it went, mm.
    few : int
        With fewer faces, none is marked.

    Returns
    -------
    certain : (m,) bool
        Faces of `after`.
    """
    certain = np.zeros(len(after.faces), dtype=bool)
    if len(after.faces) < few:
        return certain
    extents = _extents(after)
    size = _LARGE * float(np.median(extents))
    grid = _grid(before, after, size, reach)
    second = _samples(after, extents, size, grid)
    first = None if second is None else _samples(before, _extents(before), size, grid)
    if first is None or second is None:
        return certain
    of_point = np.concatenate([first[0], second[0]])
    calm = _calm_cells(of_point, grid.shape, np.concatenate([first[1], second[1]]))
    small = np.flatnonzero(extents <= size)
    certain[small] = calm[second[0][: len(small)]]
    return certain


@dataclass(frozen=True, slots=True, eq=False)
class _Grid:
    """Cells of space."""

    low: NDArray[np.float64]  # (3,) mm
    cell: float  # width, mm
    shape: NDArray[np.int64]  # (3,) cells each way, with an empty one at each end

    def cells(self, points: NDArray[np.float64]) -> NDArray[np.int64]:
        """Return the number of the cell that each point, (n, 3) mm, lies in."""
        x, y, z = (
            ((axis - least) / self.cell).astype(np.int64) + 1
            for axis, least in zip(points.T, self.low.tolist(), strict=True)
        )
        return np.asarray((x * self.shape[1] + y) * self.shape[2] + z)


def _grid(before: Mesh, after: Mesh, size: float, reach: float) -> _Grid:
    """Cells twice as wide as small faces and all motions."""
    low = np.minimum(before.bounds[0], after.bounds[0])
    span = np.maximum(np.maximum(before.bounds[1], after.bounds[1]) - low, size)
    cell = max(2 * size + 2 * reach + _ROUNDING, float(np.cbrt(span.prod() / _MOST_CELLS)))
    # A border of empty cells, so that every cell has its neighbours.
    return _Grid(low, cell, np.floor(span / cell).astype(np.int64) + 3)


def _of_middles(mesh: Mesh, faces: NDArray[np.int64], grid: _Grid) -> NDArray[np.int64]:
    """Cells in which the middles of faces lie, (k,)."""
    cells = np.zeros(len(faces), dtype=np.int64)
    for rows in pieces(len(faces)):
        a, b, c = (np.take(mesh.vertices, k, axis=0) for k in mesh.faces[faces[rows]].T)
        cells[rows] = grid.cells((a + b + c) / 3)
    return cells


def _normals(mesh: Mesh, faces: NDArray[np.int64]) -> NDArray[np.float64]:
    normals = np.zeros((len(faces), 3))
    for rows in pieces(len(faces)):
        normals[rows] = unit(np.take(mesh.area_vectors, faces[rows], axis=0))
    return normals


def _extents(mesh: Mesh) -> NDArray[np.float64]:
    """Longest side of each face, (m,) mm."""
    extents = np.zeros(len(mesh.faces))
    for rows in pieces(len(mesh.faces)):
        a, b, c = (np.take(mesh.vertices, k, axis=0) for k in mesh.faces[rows].T)
        squares = [dot(side, side) for side in (b - a, c - b, a - c)]
        extents[rows] = np.sqrt(np.maximum(np.maximum(*squares[:2]), squares[2]))
    return extents


def _samples(
    mesh: Mesh, extents: NDArray[np.float64], size: float, grid: _Grid
) -> tuple[NDArray[np.int64], NDArray[np.float64]] | None:
    """Cells of points of the faces, and the normals there, the small faces' first.

    No point of a face is farther than `size` from one of those. None where too many would
    be needed.
    """
    large = np.flatnonzero(extents > size)
    few = np.flatnonzero(extents <= size)
    step = size / 1.2
    heights = Mesh(mesh.vertices, mesh.faces[large]).heights
    across = np.ceil(extents[large] / step).astype(np.int64) + 1
    up = np.ceil(heights / step).astype(np.int64) + 1
    counts = across * up
    if counts.sum() > _MOST_POINTS * len(mesh.faces):
        return None
    face = np.repeat(np.arange(len(large)), counts)
    number = np.arange(len(face)) - np.repeat(np.cumsum(counts) - counts, counts)
    row, place = number // across[face], number % across[face]
    t = (row / np.maximum(up[face] - 1, 1))[:, None]
    s = (place / np.maximum(across[face] - 1, 1))[:, None]
    # Rows that run along the longest side, from it up to the corner opposite.
    a, b, c = _longest_first(mesh, large)
    base = a[face] + s * (b - a)[face]
    spread = grid.cells(base + t * (c[face] - base))
    cells = np.concatenate([_of_middles(mesh, few, grid), spread])
    return cells, _normals(mesh, np.concatenate([few, large[face]]))


def _longest_first(
    mesh: Mesh, faces: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Corners of faces, the ends of the longest side first."""
    corners = mesh.vertices[mesh.faces[faces]]
    sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    first, rows = np.argmax(sides, axis=1), np.arange(len(faces))
    return (
        corners[rows, first],
        corners[rows, (first + 1) % 3],
        corners[rows, (first + 2) % 3],
    )


def _calm_cells(
    of_point: NDArray[np.int64], shape: NDArray[np.int64], normals: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Mark cells about which all normals, with those of the cells around, lie in a cone."""
    count = int(shape.prod())
    columns = [np.bincount(of_point, axis, count) for axis in normals.T]
    sums = np.stack(columns, axis=1).astype(np.float64)
    means = unit(sums)
    least = np.full(count, 1.0)
    for rows in pieces(len(of_point)):
        cells = of_point[rows]
        np.minimum.at(least, cells, dot(np.take(means, cells, axis=0), normals[rows]))
    widths = np.arccos(np.clip(least, -1, 1))
    used = np.flatnonzero(np.bincount(of_point, minlength=count))
    steps = np.arange(-1, 2)
    around = ((steps[:, None] * shape[1] + steps)[..., None] * shape[2] + steps).ravel()
    axis = unit(sum((sums[used + step] for step in around), np.zeros((len(used), 3))))
    calm = np.zeros(count, dtype=bool)
    calm[used] = True
    for step in around:
        beside = used + step
        leaning = np.arccos(np.clip(dot(axis, means[beside]), -1, 1))
        is_empty = ~(sums[beside] != 0).any(axis=1) & (least[beside] == 1.0)
        calm[used] &= is_empty | (leaning + widths[beside] <= _WIDEST)
    return calm
