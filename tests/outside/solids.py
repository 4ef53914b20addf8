"""Exact solids of the B-rep kernel, and what can be asked of them.

Source: OpenCASCADE through build123d and OCP. Volumes come from its Gauss integration of
the exact faces (BRepGProp), distances and bounds from its extrema of exact faces
(BRepExtrema), triangles from BRepMesh. Lengths in mm; parts stand as built, Z up.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from build123d import Face, Plane, Shape, Shell, Solid, Vertex, Wire
from numpy.typing import ArrayLike, NDArray
from OCP.BRep import BRep_Tool
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.BRepGProp import BRepGProp
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.BRepTools import BRepTools
from OCP.GProp import GProp_GProps
from OCP.TopAbs import TopAbs_REVERSED
from OCP.TopLoc import TopLoc_Location
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from meshcomp.meshes import Mesh
from outside.truths import TrueFeature, TrueWall

__all__ = [
    "ExactPart",
    "cut_bores",
    "cylinder",
    "distance_to_surface",
    "exact_part",
    "frustum",
    "tessellate",
    "tessellated",
    "triangles_of",
    "write_stl",
]

FAR = 1000.0  # mm, beyond every part


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ExactPart:
    """An exact solid, its true features and walls, volume (mm³) and bounds (2, 3)."""

    name: str
    solid: Solid
    features: tuple[TrueFeature, ...]
    walls: tuple[TrueWall, ...]
    volume: float
    bounds: NDArray[np.float64]


def exact_part(
    name: str,
    solid: Solid,
    *,
    features: Iterable[TrueFeature] = (),
    walls: Iterable[TrueWall] = (),
) -> ExactPart:
    """Measure a solid and put it together with its true features.

    Raises
    ------
    ValueError
        If the kernel finds the solid invalid.

    Examples
    --------
    >>> cube = exact_part("cube", frustum((2, 2), (2, 2), 0.0, 2.0))
    >>> round(cube.volume, 9), cube.bounds.round(9).tolist()
    (8.0, [[-1.0, -1.0, 0.0], [1.0, 1.0, 2.0]])
    """
    if not BRepCheck_Analyzer(solid.wrapped).IsValid():
        raise ValueError(f"{name}: the kernel finds the solid invalid")
    mass = GProp_GProps()
    # The kernel's default rule is 2e-7 off where bores cross; this one is adaptive.
    BRepGProp.VolumeProperties_s(solid.wrapped, mass, 1e-9, False, False)
    return ExactPart(
        name=name,
        solid=solid,
        features=tuple(features),
        walls=tuple(walls),
        volume=float(mass.Mass()),
        bounds=np.array(
            [[_reach(solid, axis, sign) for axis in range(3)] for sign in (-1, 1)]
        ),
    )


def _reach(solid: Solid, axis: int, sign: int) -> float:
    """Lowest or highest coordinate of a solid, from its distance to a far plane.

    The kernel's boxes are wider than the solid by its tolerance, up to 1e-7 mm.
    """
    normal = np.eye(3)[axis]
    plane = Plane(origin=tuple(sign * FAR * normal), z_dir=tuple(normal))
    face = Face.make_rect(2 * FAR, 2 * FAR, plane)
    return sign * (FAR - _gap(face, solid)) + 0.0  # no negative zero


def _gap(a: Shape[Any], b: Shape[Any]) -> float:
    """Distance of two shapes, mm."""
    found = BRepExtrema_DistShapeShape(a.wrapped, b.wrapped)
    if not found.IsDone():
        raise ArithmeticError("the kernel finds no distance")
    return float(found.Value())


def cylinder(feature: TrueFeature) -> Solid:
    """Return the full cylinder of a bore or a boss."""
    direction = np.array(feature.direction)
    point = np.array(feature.point)
    foot = point + (feature.start - point @ direction) * direction
    return Solid.make_cylinder(
        feature.diameter / 2,
        feature.end - feature.start,
        Plane(origin=tuple(foot), z_dir=feature.direction),
    )


def cut_bores(solid: Solid, features: Iterable[TrueFeature]) -> Solid:
    """Take the cylinders of the bores among the features out of a solid."""
    tools = [cylinder(feature) for feature in features if feature.internal]
    return (solid - tools).solid()


def frustum(
    low: tuple[float, float], high: tuple[float, float], z0: float, z1: float
) -> Solid:
    """Return the solid between two upright-centred rectangles, all faces exact planes.

    Parameters
    ----------
    low, high : (2,) float
        Sides along X and Y of the rectangles at `z0` and `z1`, mm; for planes the two
        must differ by as much in X as in Y.
    """
    signs = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    foot = [(sx * low[0] / 2, sy * low[1] / 2, z0) for sx, sy in signs]
    head = [(sx * high[0] / 2, sy * high[1] / 2, z1) for sx, sy in signs]
    sides = [[foot[k - 1], foot[k], head[k], head[k - 1]] for k in range(4)]
    loops = [foot[::-1], head, *sides]
    return Solid(Shell([Face(Wire.make_polygon(loop, close=True)) for loop in loops]))


def tessellate(
    part: ExactPart, linear_deflection: float, angular_deflection: float
) -> Mesh:
    """Return a closed and oriented mesh of a part, its vertices on the exact surface.

    Faces of the solid share the points of their common edges, so the mesh is closed by
    construction; this is checked, not repaired. Coordinates are rounded to 1e-12 mm.

    Parameters
    ----------
    part : ExactPart
        Any old triangles the kernel keeps with it are thrown away.
    linear_deflection : float
        Largest distance of a facet from the surface, mm, as asked of the kernel; about
        doubly curved fillets it went 5 % beyond (measured).
    angular_deflection : float
        Largest turn of the surface over a facet, radian. With a large linear deflection
        a full circle gets 4 π / `angular_deflection` facets (measured, OCP 8.0).

    Raises
    ------
    ValueError
        If the mesh is not closed, or inside out.

    Examples
    --------
    >>> block = exact_part("block", frustum((3, 2), (3, 2), 0.0, 1.0))
    >>> mesh = tessellate(block, 0.01, 0.1)
    >>> len(mesh.vertices), len(mesh.faces), round(mesh.volume, 9)
    (8, 12, 6.0)
    """
    return tessellated(part.solid, linear_deflection, angular_deflection)


def tessellated(
    shape: Shape[Any], linear_deflection: float, angular_deflection: float
) -> Mesh:
    """Return the mesh of a shape that holds one solid: see `tessellate`."""
    solid = shape.solid()
    BRepTools.Clean_s(solid.wrapped)
    BRepMesh_IncrementalMesh(
        solid.wrapped, linear_deflection, False, angular_deflection, False
    )
    pieces = [triangles_of(face) for face in solid.faces()]
    mesh = _weld([points for points, _ in pieces], [faces for _, faces in pieces])
    edges = mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    there = {tuple(edge) for edge in edges.tolist()}
    if len(there) != len(edges) or there != {(b, a) for a, b in there}:
        raise ValueError("the kernel's triangles do not close")
    if mesh.volume <= 0:
        raise ValueError("the kernel's triangles are inside out")
    return mesh


def triangles_of(face: Face) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Points and outward triangles of one face."""
    place = TopLoc_Location()
    net = BRep_Tool.Triangulation_s(face.wrapped, place)
    move = place.Transformation()
    nodes = [net.Node(k).Transformed(move) for k in range(1, net.NbNodes() + 1)]
    faces = np.array([net.Triangle(k).Get() for k in range(1, net.NbTriangles() + 1)]) - 1
    if face.wrapped.Orientation() == TopAbs_REVERSED:
        faces = faces[:, ::-1]
    return np.array([(node.X(), node.Y(), node.Z()) for node in nodes]), faces


def _weld(points: list[NDArray[np.float64]], faces: list[NDArray[np.int64]]) -> Mesh:
    """One mesh of the pieces, points within 1e-7 mm made one, collapsed faces dropped."""
    starts = np.cumsum([0] + [len(piece) for piece in points[:-1]])
    # The kernel's z of a level face strays by 1e-15: enough for its triangles to cross.
    everything = np.asarray(np.concatenate(points).round(12) + 0.0, dtype=np.float64)
    pairs = cKDTree(everything).query_pairs(1e-7, output_type="ndarray")
    size = len(everything)
    links = coo_matrix((np.ones(len(pairs)), pairs.T), shape=(size, size))
    _, label = connected_components(links, directed=False)
    _, first = np.unique(label, return_index=True)
    welded = label[np.concatenate([f + s for f, s in zip(faces, starts, strict=True)])]
    a, b, c = welded.T
    return Mesh(everything[first], welded[(a != b) & (b != c) & (c != a)])


def distance_to_surface(part: ExactPart, points: ArrayLike) -> NDArray[np.float64]:
    """Return the exact distance of points from a part's surface, (n,) float, mm.

    Parameters
    ----------
    part : ExactPart
        The exact solid; its surface is meant, so points inside have a distance too.
    points : (n, 3) float
        In mm; some 0.1 ms each.

    Raises
    ------
    ArithmeticError
        If the kernel finds no distance.

    Examples
    --------
    >>> block = exact_part("block", frustum((4, 4), (4, 4), 0.0, 4.0))
    >>> distance_to_surface(block, [(0, 0, 1), (2, 0, 2), (5, 0, 2)]).round(9).tolist()
    [1.0, 0.0, 3.0]
    """
    shell = part.solid.shell()
    places = np.asarray(points, dtype=float).reshape(-1, 3).tolist()
    return np.array([_gap(Vertex(*place), shell) for place in places])


def write_stl(mesh: Mesh, path: Path) -> None:
    """Write a binary STL file: 32-bit coordinates in mm, normals by the right hand."""
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    records = np.zeros(len(mesh.faces), dtype=record)
    records["corners"] = mesh.corners
    a, b, c = np.moveaxis(records["corners"].astype(float), 1, 0)
    normals = np.cross(b - a, c - a)
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    records["normal"] = normals / np.where(lengths > 0, lengths, 1.0)
    head = b"binary STL, mm".ljust(80) + np.uint32(len(records)).tobytes()
    path.write_bytes(head + records.tobytes())
