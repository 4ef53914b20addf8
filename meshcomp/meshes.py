"""Triangle meshes as plain arrays: data only.

`trimesh.Trimesh` would serve, but importing it costs as much as a whole run of the
command, so it is met only at the edges: `Mesh.to_trimesh` and `mesh_from_trimesh`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meshcomp._numbers import distinct, hashes_of_points, pieces
from meshcomp._vectors import lengths

if TYPE_CHECKING:
    import trimesh

__all__ = [
    "Mesh",
    "concatenate",
    "largest_faces",
    "mesh_from_trimesh",
    "with_points_joined",
]

_Kept = TypeVar("_Kept")
_OF_FACES = {"topology", "bodies"}  # found in a mesh, that do not go by coordinates


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """Triangles with outward orientation (counter-clockwise from outside).

    Parameters
    ----------
    vertices : (n, 3) float
        Coordinates in mm. Made read-only.
    faces : (m, 3) int
        Vertex indices of each triangle. Made read-only.

    Examples
    --------
    >>> corner = Mesh([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [(0, 1, 2)])
    >>> corner.vertices.shape, len(corner.faces)
    ((3, 3), 1)
    """

    vertices: NDArray[np.float64]
    faces: NDArray[np.int64]
    _found: dict[str, Any] = field(default_factory=dict, init=False, repr=False)

    def __post_init__(self) -> None:
        for name, kind in (("vertices", np.float64), ("faces", np.int64)):
            array: NDArray[Any] = np.ascontiguousarray(getattr(self, name), dtype=kind)
            array = array.reshape(-1, 3).view()
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    def kept(self, name: str, find: Callable[[Mesh], _Kept]) -> _Kept:
        """Return what a function finds in the mesh; it is called once a name."""
        if name not in self._found:
            self._found[name] = find(self)
        found: _Kept = self._found[name]
        return found

    def forget(self) -> None:
        """Drop what was found in the mesh, save which faces hang together: it takes long.

        What is asked for again is found again; for a time when memory is short.
        """
        for name in self._found.keys() - _OF_FACES:
            del self._found[name]

    def vertices_of(self, faces: NDArray[np.int64]) -> NDArray[np.int64]:
        """Vertices of some faces, (k,) int, ascending."""
        return distinct(self.faces[faces], len(self.vertices))

    @property
    def corners(self) -> NDArray[np.float64]:
        """Corner points of every triangle, (m, 3, 3) float, mm."""
        return np.take(self.vertices, self.faces, axis=0)

    @property
    def bounds(self) -> NDArray[np.float64]:
        """Lowest and highest coordinate of the used vertices, (2, 3) float, mm."""
        return self.kept("bounds", _bounds)

    @property
    def diagonal(self) -> float:
        """Length of the bounding box's diagonal, mm."""
        low, high = self.bounds
        return float(np.linalg.norm(high - low))

    @property
    def area_vectors(self) -> NDArray[np.float64]:
        """Outward normals as long as the triangle's area, (m, 3) float, mm²; read-only."""
        return self.kept("area vectors", _area_vectors)

    @property
    def heights(self) -> NDArray[np.float64]:
        """Least height of every triangle, (m,) float, mm: small for a sliver."""
        return self.kept("heights", _heights)

    @property
    def hashes(self) -> NDArray[np.uint64]:
        """A number of every triangle, (m,): the same for the same corners to the last bit.

        Whichever corner comes first, and whichever way it runs.
        """
        return self.kept("hashes", _hashes)

    @property
    def volume(self) -> float:
        """Enclosed volume by the divergence theorem, mm³; negative when inside out."""
        # About the box's middle, so that a part far from the origin loses no digits.
        first = np.take(self.vertices - self.bounds.mean(axis=0), self.faces[:, 0], axis=0)
        return float(np.einsum("ij,ij->", first, self.area_vectors) / 3)

    def moved(self, vertices: ArrayLike) -> Mesh:
        """Return the same triangles on other vertices, (n, 3) float, mm."""
        moved = Mesh(np.asarray(vertices, dtype=np.float64), self.faces)
        topology = self._found.get("topology")
        # Which faces share an edge is a matter of places only where more than two do.
        if topology is not None and not topology.crowded:
            moved._found.update((k, self._found[k]) for k in _OF_FACES & self._found.keys())
        return moved

    def compact(self) -> Mesh:
        """Return the same triangles without vertices of no face."""
        used = np.zeros(len(self.vertices), dtype=bool)
        used[self.faces] = True
        if used.all():
            return self
        place = np.cumsum(used) - 1
        return Mesh(self.vertices[used], place[self.faces])

    def to_trimesh(self) -> trimesh.Trimesh:
        """Return a `trimesh.Trimesh` of the same vertices and faces, in mm."""
        import trimesh

        return trimesh.Trimesh(self.vertices, self.faces, process=False, units="mm")


def _columns(mesh: Mesh, rows: slice) -> NDArray[np.float64]:
    """Coordinates of the corners of some triangles, (3 axes, 3 corners, k).

    Numbers of one kind side by side are several times as quick to fetch and to work on.
    """
    corners = np.ascontiguousarray(mesh.faces[rows].T)
    if corners.size < len(mesh.vertices):  # of few faces, not through all vertices
        points = np.take(mesh.vertices, corners, axis=0)
        return np.ascontiguousarray(np.moveaxis(points, 2, 0))
    return np.take(np.ascontiguousarray(mesh.vertices.T), corners, axis=1)


def _bounds(mesh: Mesh) -> NDArray[np.float64]:
    used = np.zeros(len(mesh.vertices), dtype=bool)
    used[mesh.faces.ravel()] = True
    points = mesh.vertices if used.all() else mesh.vertices[used]
    bounds = np.array([points.min(axis=0), points.max(axis=0)])
    bounds.flags.writeable = False
    return bounds


def _area_vectors(mesh: Mesh) -> NDArray[np.float64]:
    vectors = np.zeros((len(mesh.faces), 3))
    for rows in pieces(len(mesh.faces)):
        _cross_sides(_columns(mesh, rows), vectors[rows])
    vectors.flags.writeable = False
    return vectors


def _cross_sides(corners: NDArray[np.float64], vectors: NDArray[np.float64]) -> None:
    """Fill in half the cross product of two sides of triangles, (k, 3)."""
    a, b, c = np.moveaxis(corners, 1, 0)
    (ux, uy, uz), (vx, vy, vz) = b - a, c - a
    vectors[:, 0] = 0.5 * (uy * vz - uz * vy)
    vectors[:, 1] = 0.5 * (uz * vx - ux * vz)
    vectors[:, 2] = 0.5 * (ux * vy - uy * vx)


def _heights(mesh: Mesh) -> NDArray[np.float64]:
    heights, vectors = np.zeros(len(mesh.faces)), np.zeros((len(mesh.faces), 3))
    for rows in pieces(len(mesh.faces)):
        corners = _columns(mesh, rows)
        _cross_sides(corners, vectors[rows])
        longest = np.zeros(rows.stop - rows.start)
        for one, other in ((0, 1), (1, 2), (2, 0)):
            x, y, z = corners[:, other] - corners[:, one]
            np.maximum(longest, x * x + y * y + z * z, out=longest)
        heights[rows] = 2 * lengths(vectors[rows]) / np.maximum(np.sqrt(longest), 1e-12)
    for array in (heights, vectors):
        array.flags.writeable = False
    mesh.kept("area vectors", lambda _: vectors)
    return heights


def _hashes(mesh: Mesh) -> NDArray[np.uint64]:
    points = hashes_of_points(mesh.vertices)
    a, b, c = (np.take(points, corner) for corner in mesh.faces.T)
    hashes: NDArray[np.uint64] = a + b + c
    hashes.flags.writeable = False
    return hashes


def mesh_from_trimesh(mesh: trimesh.Trimesh) -> Mesh:
    """Take the vertices and faces of a `trimesh.Trimesh`, in mm."""
    return Mesh(np.array(mesh.vertices), np.array(mesh.faces))


def concatenate(meshes: list[Mesh]) -> Mesh:
    """Put meshes side by side into one, sharing no vertices."""
    starts = np.cumsum([0] + [len(mesh.vertices) for mesh in meshes[:-1]])
    return Mesh(
        np.concatenate([mesh.vertices for mesh in meshes]),
        np.concatenate(
            [mesh.faces + start for mesh, start in zip(meshes, starts, strict=True)]
        ),
    )


def largest_faces(mesh: Mesh, labels: NDArray[np.int64]) -> NDArray[np.int64]:
    """Find the largest face of each label: the plane of a small one may be far off.

    Parameters
    ----------
    mesh : Mesh
    labels : (m,) int
        Of its faces, numbered from 0; faces with -1 have none.

    Returns
    -------
    faces : (k,) int
        By label; -1 for a label of no face.

    Examples
    --------
    >>> corners = [(0, 0, 0), (3, 0, 0), (0, 3, 0), (3, 1, 0)]
    >>> pair = Mesh(corners, [(0, 1, 2), (1, 3, 2)])
    >>> largest_faces(pair, np.array([1, 1])).tolist()
    [-1, 0]
    """
    rows = np.flatnonzero(labels >= 0)
    rows = rows[np.argsort(lengths(mesh.area_vectors[rows]), kind="stable")]
    largest = np.full(int(labels.max(initial=-1)) + 1, -1)
    largest[labels[rows]] = rows  # the last one stays
    return largest


def with_points_joined(mesh: Mesh) -> Mesh:
    """Give points in one place one number, the first; all vertices are kept.

    Examples
    --------
    >>> strip = Mesh([(0, 0, 0), (1, 0, 0), (0, 0, 0), (0, 1, 0)], [(0, 1, 3), (2, 3, 1)])
    >>> with_points_joined(strip).faces.tolist()
    [[0, 1, 3], [0, 3, 1]]
    """
    order = np.lexsort(mesh.vertices.T)
    places = mesh.vertices[order]
    is_new = np.ones(len(order), dtype=bool)
    is_new[1:] = (places[1:] != places[:-1]).any(axis=1)
    numbers = np.zeros(len(order), dtype=np.int64)
    numbers[order] = order[is_new][np.cumsum(is_new) - 1]
    return Mesh(mesh.vertices, numbers[mesh.faces])
