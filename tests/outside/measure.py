"""Sizes measured in a written mesh file, without the product.

Sources: numpy for reading binary STL, cutting and rays, trimesh for other files, shapely
for the rings of a section, scipy for the least-squares circle (ISO 14405-1: least-squares
size). Lengths in mm.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from meshcomp.meshes import Mesh

__all__ = [
    "Circle",
    "bore_circle",
    "bore_diameter",
    "read_mesh",
    "section",
    "volume",
    "wall_position",
    "width_between",
    "z_bounds",
]


def read_mesh(path: Path) -> Mesh:
    """Read a mesh file; corners that are equal to the last bit become one vertex.

    Raises
    ------
    ValueError
        If a binary STL file is not as long as it says.
    """
    if path.suffix.lower() == ".stl":
        corners = _stl_corners(path.read_bytes())
    else:
        import trimesh

        loaded = trimesh.load_mesh(path, process=False)
        corners = np.asarray(loaded.vertices, dtype=float)[loaded.faces]
    # Adding zero makes one of the two zeros.
    vertices, faces = np.unique(corners.reshape(-1, 3) + 0.0, axis=0, return_inverse=True)
    return Mesh(vertices, faces.reshape(-1, 3))


def volume(mesh: Mesh) -> float:
    """Return the enclosed volume, mm³, as a sum of tetrahedra about the middle."""
    corners = mesh.vertices[mesh.faces] - mesh.vertices.mean(axis=0)
    return float(np.linalg.det(corners).sum() / 6)


def z_bounds(mesh: Mesh) -> tuple[float, float]:
    """Return the lowest and the highest z of the faces' corners."""
    heights = mesh.vertices[mesh.faces.ravel(), 2]
    return float(heights.min()), float(heights.max())


def section(mesh: Mesh, direction: ArrayLike, at: float) -> list[NDArray[np.float64]]:
    """Cut a closed mesh and return the rings of the cut, each (n, 3) float, mm.

    Parameters
    ----------
    mesh : Mesh
        Closed and welded.
    direction : (3,) float
        Normal of the cutting plane.
    at : float
        Position of the plane along `direction`, mm.
    """
    axis = _unit(direction)
    _, flat = _cut(mesh, axis, at)
    return [ring @ _across(axis) + at * axis for ring in _rings(flat)]


class Circle(NamedTuple):
    """A circle associated with the wall of a bore or a boss, mm."""

    centre: NDArray[np.float64]  # (3,), in the plane of the section
    diameter: float
    residual: float  # largest distance of a corner from the circle
    flats: float  # twice the least distance of the section's edges from the centre


def bore_circle(
    mesh: Mesh,
    point: ArrayLike,
    direction: ArrayLike,
    at: float,
    *,
    internal: bool = True,
) -> Circle:
    """Fit a circle to the wall of a bore or a boss, by least squares.

    The corners of the faces that a section cuts are fitted, seen along the axis: CAD puts
    them on the true surface, while the section's own points may lie on the flats.

    Parameters
    ----------
    mesh : Mesh
        Closed and welded.
    point, direction : (3,) float
        The nominal axis. Of the section's rings about it the smallest that bounds a void
        is taken, or for a boss the smallest that bounds material.
    at : float
        Position of the section along `direction`, mm: between the ends.
    internal : bool
        True for a bore, False for a boss.

    Raises
    ------
    ValueError
        If no such ring of the section goes about the axis.
    """
    axis = _unit(direction)
    across = _across(axis)
    origin = across @ np.asarray(point, dtype=float)
    faces, flat = _cut(mesh, axis, at)
    about = [r for r in _rings(flat) if shapely.contains_xy(shapely.Polygon(r), *origin)]
    about.sort(key=lambda ring: float(shapely.Polygon(ring).area))
    # An odd number of rings about the axis: it runs in material.
    rank = (0 if len(about) % 2 else 1) - (1 if internal else 0)
    if not 0 <= rank < len(about):
        kind = "bore" if internal else "boss"
        raise ValueError(f"no {kind} about {point!r} along {direction!r} at {at} mm")
    ring = about[rank]
    on_ring = (flat[:, 0, None] == ring).all(axis=-1).any(axis=-1)
    corners = mesh.vertices[np.unique(mesh.faces[faces[on_ring]])] @ across.T
    return _least_squares(corners, ring, axis, at)


def _least_squares(
    corners: NDArray[np.float64],
    ring: NDArray[np.float64],
    axis: NDArray[np.float64],
    at: float,
) -> Circle:
    """Circle of corners, (n, 2), and how near the ring's edges come to its centre."""

    def residuals(circle: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(np.hypot(*(corners - circle[:2]).T) - circle[2])

    middle = corners.mean(axis=0)
    start = [*middle, np.hypot(*(corners - middle).T).mean()]
    found = least_squares(residuals, start, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    edges = shapely.linearrings(ring)
    return Circle(
        centre=found.x[:2] @ _across(axis) + at * axis,
        diameter=float(2 * found.x[2]),
        residual=float(np.abs(found.fun).max()),
        flats=float(2 * shapely.distance(edges, shapely.points(found.x[:2]))),
    )


def bore_diameter(mesh: Mesh, point: ArrayLike, direction: ArrayLike, at: float) -> float:
    """Return the least-squares diameter of a bore, mm: see `bore_circle`."""
    return bore_circle(mesh, point, direction, at).diameter


def width_between(mesh: Mesh, direction: ArrayLike, at: ArrayLike) -> float:
    """Return the distance of the two surfaces on either side of a point, mm.

    Parameters
    ----------
    mesh : Mesh
        Closed.
    direction : (3,) float
        Across the two surfaces.
    at : (3,) float
        A point between them, in material or in void, mm. The distance is that along the
        line through it: of parallel planes, when they lie across `direction`.

    Raises
    ------
    ValueError
        If the line meets no surface on one side.
    """
    axis = _unit(direction)
    hits = _along_line(mesh, np.asarray(at, dtype=float), axis)
    ahead, behind = hits[hits > 0], hits[hits < 0]
    if not len(ahead) or not len(behind):
        raise ValueError(f"no surface on one side of {at!r} along {direction!r}")
    return float(ahead.min() - behind.max())


def wall_position(
    mesh: Mesh, normal: ArrayLike, near: float, within: float = 0.5
) -> tuple[float, float]:
    """Return the lowest and the highest position of a plane wall's corners, mm.

    Parameters
    ----------
    mesh : Mesh
        Any mesh.
    normal : (3,) float
        Outward normal of the wall; faces within 0.5° of it count.
    near, within : float
        Expected position along `normal`, and how far off a face's middle may be, mm.

    Raises
    ------
    ValueError
        If there is no such face.
    """
    axis = _unit(normal)
    corners = mesh.vertices[mesh.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.linalg.norm(normals, axis=1)
    faces_it = normals @ axis > np.cos(np.radians(0.5)) * lengths
    positions = corners @ axis
    chosen = positions[faces_it & (np.abs(positions.mean(axis=1) - near) < within)]
    if not len(chosen):
        raise ValueError(f"no face towards {normal!r} within {within} mm of {near} mm")
    return float(chosen.min()), float(chosen.max())


def _stl_corners(data: bytes) -> NDArray[np.float64]:
    """Corners of a binary STL file's triangles, (m, 3, 3)."""
    count = int(np.frombuffer(data, "<u4", 1, 80)[0]) if len(data) >= 84 else -1
    if len(data) != 84 + 50 * count:
        raise ValueError(f"{len(data)} bytes are no binary STL file of {count} triangles")
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    records = np.frombuffer(data, record, count, 84)
    return np.asarray(records["corners"], dtype=float)


def _unit(vector: ArrayLike) -> NDArray[np.float64]:
    """Vector made one long."""
    array = np.asarray(vector, dtype=float)
    return np.asarray(array / np.linalg.norm(array))


def _across(axis: NDArray[np.float64]) -> NDArray[np.float64]:
    """Two unit vectors across an axis, (2, 3): coordinate directions where it is one."""
    helper = np.eye(3)[(int(np.argmax(np.abs(axis))) + 1) % 3]
    first = _unit(helper - (helper @ axis) * axis)
    return np.array([first, np.cross(axis, first)])


def _cut(
    mesh: Mesh, axis: NDArray[np.float64], at: float
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Faces that a plane cuts, (k,), and their cuts seen along the axis, (k, 2, 2).

    Neighbours name their common edge alike, lower vertex index first, so both compute the
    same point to the last bit.
    """
    heights = mesh.vertices @ axis - at
    above = heights >= 0
    edges = np.stack([mesh.faces, np.roll(mesh.faces, -1, axis=1)], axis=-1)
    crossed = above[edges[..., 0]] != above[edges[..., 1]]
    faces = np.flatnonzero(crossed.any(axis=1))  # then exactly two of the three edges
    low, high = np.sort(edges[crossed], axis=-1).T
    share = (heights[low] / (heights[low] - heights[high]))[:, None]
    points = mesh.vertices[low] + share * (mesh.vertices[high] - mesh.vertices[low])
    return faces, (points @ _across(axis).T).reshape(-1, 2, 2)


def _rings(flat: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """Join segments, (k, 2, 2), to closed rings, (n, 2), no last point repeated."""
    cells = shapely.get_parts(shapely.polygonize(shapely.linestrings(flat)))
    lines = [ring.coords for cell in cells for ring in (cell.exterior, *cell.interiors)]
    # A hole bounds two cells, the material about it and the void in it: keep it once.
    unique = {frozenset(line): np.array(line)[:-1] for line in lines}
    return list(unique.values())


def _along_line(
    mesh: Mesh, point: NDArray[np.float64], axis: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Positions, from `point` along `axis`, where a line meets the faces (Möller)."""
    a, b, c = np.moveaxis(mesh.vertices[mesh.faces], 1, 0)
    u, v, w = b - a, c - a, point - a
    normal = np.cross(u, v)
    slope = normal @ axis
    meets = np.abs(slope) > 1e-9 * np.linalg.norm(normal, axis=1)
    u, v, w, normal, slope = u[meets], v[meets], w[meets], normal[meets], slope[meets]
    turned = np.cross(w, axis)
    s = np.einsum("ij,ij->i", v, turned) / -slope
    t = np.einsum("ij,ij->i", u, turned) / slope
    # A hair beyond the edges, so that a line along an edge slips through no gap.
    inside = (s > -1e-9) & (t > -1e-9) & (s + t < 1 + 1e-9)
    return np.asarray(-np.einsum("ij,ij->i", w, normal)[inside] / slope[inside])
