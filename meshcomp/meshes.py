"""Triangle meshes as plain arrays: data only.

`trimesh.Trimesh` would serve, but importing it costs as much as a whole run of the
command, so it is met only at the edges: `Mesh.to_trimesh` and `mesh_from_trimesh`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    import trimesh

__all__ = ["Mesh", "concatenate", "mesh_from_trimesh"]


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
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

    def __post_init__(self) -> None:
        for name, kind in (("vertices", np.float64), ("faces", np.int64)):
            array: NDArray[Any] = np.ascontiguousarray(getattr(self, name), dtype=kind)
            array = array.reshape(-1, 3).view()
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    @property
    def corners(self) -> NDArray[np.float64]:
        """Corner points of every triangle, (m, 3, 3) float, mm."""
        return self.vertices[self.faces]

    @property
    def bounds(self) -> NDArray[np.float64]:
        """Lowest and highest coordinate of the used vertices, (2, 3) float, mm."""
        used = self.vertices[np.unique(self.faces)]
        return np.array([used.min(axis=0), used.max(axis=0)])

    @property
    def diagonal(self) -> float:
        """Length of the bounding box's diagonal, mm."""
        low, high = self.bounds
        return float(np.linalg.norm(high - low))

    @property
    def area_vectors(self) -> NDArray[np.float64]:
        """Outward normals as long as the triangle's area, (m, 3) float, mm²."""
        a, b, c = (self.vertices[self.faces[:, k]] for k in range(3))
        return 0.5 * np.cross(b - a, c - a)

    @property
    def heights(self) -> NDArray[np.float64]:
        """Least height of every triangle, (m,) float, mm: small for a sliver."""
        corners = self.corners
        sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
        doubled = 2 * np.linalg.norm(self.area_vectors, axis=1)
        return np.asarray(doubled / np.maximum(sides.max(axis=1), 1e-12))

    @property
    def volume(self) -> float:
        """Enclosed volume by the divergence theorem, mm³; negative when inside out."""
        # About the box's middle, so that a part far from the origin loses no digits.
        corners = self.corners - self.bounds.mean(axis=0)
        a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)

    def moved(self, vertices: ArrayLike) -> Mesh:
        """Return the same triangles on other vertices, (n, 3) float, mm."""
        return Mesh(np.asarray(vertices, dtype=np.float64), self.faces)

    def compact(self) -> Mesh:
        """Return the same triangles without vertices of no face."""
        used = np.zeros(len(self.vertices), dtype=bool)
        used[self.faces] = True
        place = np.cumsum(used) - 1
        return Mesh(self.vertices[used], place[self.faces])

    def to_trimesh(self) -> trimesh.Trimesh:
        """Return a `trimesh.Trimesh` of the same vertices and faces, in mm."""
        import trimesh

        return trimesh.Trimesh(self.vertices, self.faces, process=False, units="mm")


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
