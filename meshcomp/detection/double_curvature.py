"""Where a finely divided surface is curved both ways, so that no cylinder or cone is there.

Faces of a small cell of space that look about the same way tell the curvature of their
surface: how their normals turn from place to place (Weingarten's map), by least squares.
A cylinder's turn one way only. Of the faces of a ball, a ring or a drawn shape, whose rows
all run round circles, hundreds of thousands need then not be looked at any more.
"""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import bases_across, turned, unit
from meshcomp.cells import cells_of
from meshcomp.meshes import Mesh
from meshcomp.topology import Topology

__all__ = ["are_doubly_curved"]

_WIDTH = 14.0  # of a cell, in roots of the median area of a face
_MOST_CELLS = 1 << 19  # along the diagonal
_LEAST_FACES = 24  # of a cell that tells its curvature
_LEAST_RATIO = 0.02  # of the lesser curvature to the greater
_UNEXPLAINED = 0.08  # of how normals vary along either direction, by what is no such turn
_ROUNDING = 1e-6  # of a plane's normals
# Rows of a right-handed frame none of whose axes, or planes midway, are those of the part.
_TURNED = np.array([(2.0, 3.0, 6.0), (3.0, -6.0, 2.0), (6.0, 2.0, -3.0)]) / 7
_LONGEST = 0.5  # side of a face, of a cell's width
_FRAMES = 2  # in which cells are laid
_TOO_FEW, _OTHER, _DOUBLE = range(3)  # what the faces of a cell tell


def are_doubly_curved(
    mesh: Mesh, topology: Topology, normals: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Mark faces about which a surface is surely curved both ways.

    Parameters
    ----------
    mesh, topology
        A closed mesh and its half-edges.
    normals : (m, 3) float
        Unit normals of its faces.

    Returns
    -------
    marked : (m,) bool
        Faces of doubly curved cells beside no others: what adjoins a cylinder is kept.
    """
    middles = _middles(mesh)
    areas = np.linalg.norm(mesh.area_vectors, axis=1)
    width = max(_WIDTH * float(np.sqrt(np.median(areas))), mesh.diagonal / _MOST_CELLS)
    sides = topology.pairs.T // 3
    told = np.full(len(middles), _TOO_FEW)
    # Facets that reach through several cells are those of cylinders, or of no curve.
    told[2 * areas >= _LONGEST * width * mesh.heights] = _OTHER
    for _ in range(_FRAMES):
        rest = np.flatnonzero(told == _TOO_FEW)
        here = middles[rest], normals[rest]
        told[rest[_marked(*here, _at(rest, sides, told), width)]] = _DOUBLE
        # Where cells were cut off, those of a turned frame end elsewhere.
        middles, normals = turned(middles, _TURNED), turned(normals, _TURNED)
    return np.asarray(told == _DOUBLE)


def _at(
    rest: NDArray[np.int64], sides: NDArray[np.int64], told: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Neighbours, (2, e), numbered as the faces that nothing is told of come.

    Of others -1 stands for a doubly curved one, -2 for one that is not.
    """
    place = np.where(told == _DOUBLE, -1, -2)
    place[rest] = np.arange(len(rest))
    return np.asarray(place[sides])


def _marked(
    middles: NDArray[np.float64],
    normals: NDArray[np.float64],
    sides: NDArray[np.int64],
    width: float,
) -> NDArray[np.bool_]:
    """Mark faces of doubly curved cells beside no others, (m,).

    `sides` are neighbours, (2, e), as `_at` tells them.
    """
    cells = cells_of(middles, normals, width)
    # Two more for what is told already.
    told = np.append(_told(cells, middles, normals), [_OTHER, _DOUBLE])
    first, second = np.append(cells, [len(told) - 2, len(told) - 1])[sides]
    apart = np.flatnonzero(first != second)
    first, second = first[apart], second[apart]
    beside = np.zeros((len(told), 3), dtype=bool)
    beside[first, told[second]] = beside[second, told[first]] = True
    surely = (told == _DOUBLE) & ~beside[:, _OTHER]
    surely |= (told == _TOO_FEW) & (beside == [False, False, True]).all(axis=1)
    return np.asarray(surely[cells])


def _middles(mesh: Mesh) -> NDArray[np.float64]:
    """Middles of all faces, (m, 3) mm, about the box's."""
    points = mesh.vertices - mesh.bounds.mean(axis=0)
    a, b, c = (np.take(points, corner, axis=0) for corner in mesh.faces.T)
    a += b
    a += c
    return np.asarray(a / 3)


def _told(
    cells: NDArray[np.int64], middles: NDArray[np.float64], normals: NDArray[np.float64]
) -> NDArray[np.int64]:
    """Curvature of each cell, as far as its faces tell, (c,)."""
    counts = np.bincount(cells)
    sums = [np.bincount(cells, column) for column in normals.T]
    across = bases_across(unit(np.array(sums, dtype=np.float64).T))
    turned = across.transpose(0, 2, 1)
    # How places, and normals, vary across the mean normal, and both together, (c, 2, 2).
    places = across @ _covariances(cells, counts, middles, middles) @ turned
    both = across @ _covariances(cells, counts, normals, middles) @ turned
    looks = across @ _covariances(cells, counts, normals, normals) @ turned
    many = np.flatnonzero(counts >= _LEAST_FACES)
    told = np.full(len(counts), _TOO_FEW)
    told[many] = np.where(
        _are_double(places[many], both[many], looks[many]), _DOUBLE, _OTHER
    )
    return told


def _covariances(
    cells: NDArray[np.int64],
    counts: NDArray[np.int64],
    first: NDArray[np.float64],
    second: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Covariances of two vectors of each face, within each cell, (c, 3, 3)."""
    found = np.zeros((len(counts), 3, 3))
    means = [
        [np.bincount(cells, column) / counts for column in rows.T]
        for rows in (first, second)
    ]
    for i, j in product(range(3), repeat=2):
        if first is second and j < i:
            found[:, i, j] = found[:, j, i]
            continue
        shared = np.bincount(cells, first[:, i] * second[:, j]) / counts
        found[:, i, j] = shared - means[0][i] * means[1][j]
    return found


def _are_double(
    places: NDArray[np.float64], both: NDArray[np.float64], looks: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Whether normals turn with the place along both directions in which a cell bends."""
    tilt = np.eye(2) * (1e-9 * np.trace(places, axis1=1, axis2=2) + 1e-300)[:, None, None]
    turns = both @ np.linalg.inv(places + tilt)
    curvatures, ways = np.linalg.eigh((turns + turns.transpose(0, 2, 1)) / 2)
    explained = ways.transpose(0, 2, 1) @ turns @ places @ turns.transpose(0, 2, 1) @ ways
    whole = ways.transpose(0, 2, 1) @ looks @ ways
    rest = np.diagonal(whole - explained, axis1=1, axis2=2)
    turned = np.diagonal(explained, axis1=1, axis2=2)
    sizes = np.abs(curvatures)
    return np.asarray(
        (sizes.min(axis=1) >= _LEAST_RATIO * sizes.max(axis=1))
        & (rest <= _UNEXPLAINED * turned - _ROUNDING**2).all(axis=1)
    )
