"""Horizontal growth of a convex part as a Minkowski sum with a thin plate.

Source: manifold3d's `minkowski_sum`, which for convex bodies is the hull of all sums of
corners. The sum with a flat disc moves every wall outward by the disc's radius,
horizontally whatever its slope, and rounds upright corners; the sum with a square does
so with the mitred corners of a part whose walls face along X and Y.

The plate must have some height, by which the sum is higher than the part; 1e-6 mm is
the default. Upward its top, downward its foot: the part's lowest face keeps its height.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meshcomp.meshes import Mesh
from outside.plane import prism

__all__ = ["disc", "minkowski_growth", "square"]


def disc(radius: float, sides: int = 64) -> NDArray[np.float64]:
    """Return a ring of corners on a circle, (sides, 2), one of them on the X axis.

    Walls that face a corner grow by the radius, those that face a flat by
    radius cos(π / sides): 0.0012 radius less for 64.
    """
    turn = 2 * np.pi * np.arange(sides) / sides
    return np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])


def square(half: float) -> NDArray[np.float64]:
    """Return the corners of a square with sides along X and Y, (4, 2)."""
    return half * np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)])


def minkowski_growth(mesh: Mesh, outline: ArrayLike, height: float = 1e-6) -> Mesh:
    """Return the Minkowski sum of a convex part and a thin plate.

    Parameters
    ----------
    mesh : Mesh
        Closed and convex, in mm.
    outline : (n, 2) float
        Convex outline of the plate about the origin, counter-clockwise: `disc`, `square`.
    height : float
        Of the plate, mm.

    Raises
    ------
    ValueError
        If manifold3d takes the mesh for no solid, or the part is not convex.

    Examples
    --------
    >>> cube = prism([[(0, 0), (4, 0), (4, 4), (0, 4)]], 0, 4)
    >>> minkowski_growth(cube, square(0.5)).bounds.round(5).tolist()
    [[-0.5, -0.5, 0.0], [4.5, 4.5, 4.0]]
    """
    import manifold3d

    part, plate = (
        manifold3d.Manifold(
            manifold3d.Mesh64(np.array(each.vertices), np.array(each.faces, np.uint64))
        )
        for each in (mesh, prism([outline], 0.0, height))
    )
    if part.status() != manifold3d.Error.NoError:
        raise ValueError(f"no solid: {part.status()}")
    if not np.isclose(part.hull().volume(), part.volume(), rtol=1e-9, atol=0):
        raise ValueError("the part is not convex")
    found = part.minkowski_sum(plate).to_mesh64()
    return Mesh(np.asarray(found.vert_properties)[:, :3], np.asarray(found.tri_verts))
