"""The only door to manifold3d: outlines, sections and solids in double precision."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh

__all__ = ["Solid", "sections_at", "solid_of", "triangulate_outline"]

_FOLDED = -1e-9  # mm², twice the area below which a triangle is turned over


def triangulate_outline(loops: list[NDArray[np.float64]]) -> NDArray[np.int64] | None:
    """Triangulate a plane outline, keeping every point of it.

    Parameters
    ----------
    loops : list of (n, 2) float
        Outer loops counter-clockwise, holes clockwise, mm.

    Returns
    -------
    triangles : (k, 3) int or None
        Counter-clockwise, indices into the loops put end to end; None where the outline
        crosses itself, so that some triangle would be turned over.

    Examples
    --------
    >>> triangulate_outline([np.array([(0.0, 0.0), (1, 0), (1, 1), (0, 1)])]).shape
    (2, 3)
    """
    import manifold3d

    points = np.concatenate(loops)
    origin = points.mean(axis=0)
    triangles = manifold3d.triangulate([loop - origin for loop in loops], -1, False)
    triangles = np.asarray(triangles, dtype=np.int64).reshape(-1, 3)
    a, b, c = (points[triangles[:, k]] - origin for k in range(3))
    ab, ac = b - a, c - a
    doubled = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    return None if (doubled < _FOLDED).any() else triangles


@dataclass(frozen=True, slots=True, eq=False)
class Solid:
    """A closed mesh that manifold3d can cut, in double precision."""

    body: Any  # manifold3d.Manifold

    def sections(
        self, frame: NDArray[np.float64], heights: Sequence[float]
    ) -> list[list[NDArray[np.float64]]]:
        """Cut across the last row of a frame.

        Parameters
        ----------
        frame : (3, 3) float
            Right-handed unit rows.
        heights : sequence of float
            Positions along the last row, mm.

        Returns
        -------
        sections : list of list of (n, 2) float
            Rings at each height, in the first two directions, mm; material to the left.
        """
        turned = self.body.transform(np.column_stack([frame, np.zeros(3)]))
        return [
            [np.asarray(r, dtype=np.float64) for r in turned.slice(height).to_polygons()]
            for height in heights
        ]


def solid_of(mesh: Mesh) -> Solid:
    """Hand a closed mesh to manifold3d.

    Examples
    --------
    >>> tetrahedron = Mesh(
    ...     [(0, 0, 0), (2, 0, 0), (0, 2, 0), (0, 0, 2)],
    ...     [(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)],
    ... )
    >>> ((ring,),) = solid_of(tetrahedron).sections(np.eye(3), [1.0])
    >>> ring.shape
    (3, 2)
    """
    import manifold3d

    # It takes no read-only arrays.
    vertices, faces = mesh.vertices.copy(), mesh.faces.astype(np.uint64)
    return Solid(manifold3d.Manifold(manifold3d.Mesh64(vertices, faces)))


def sections_at(
    mesh: Mesh, frame: NDArray[np.float64], heights: list[float]
) -> list[list[NDArray[np.float64]]]:
    """Cut a closed mesh by manifold3d: `solid_of` and `Solid.sections` in one.

    Examples
    --------
    >>> tetrahedron = Mesh(
    ...     [(0, 0, 0), (2, 0, 0), (0, 2, 0), (0, 0, 2)],
    ...     [(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)],
    ... )
    >>> [len(rings) for rings in sections_at(tetrahedron, np.eye(3), [0.5, 1.0])]
    [1, 1]
    """
    return solid_of(mesh).sections(frame, heights) if heights else []
