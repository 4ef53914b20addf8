"""Solids of upright and sloped sides, with every outline point kept to the last bit.

A solid is told by its sides alone: each is an outline that goes from one height to
another. Where sides end and others begin, flat faces close what lies between them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import NotASolidError
from meshcomp.meshes import Mesh
from meshcomp.scenario.outlines import Outline, area

__all__ = ["Side", "cut_away", "hole", "laid", "outside", "prism", "solid"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Side:
    """A band of wall between two heights, whose material lies to the left.

    `lower` and `upper` are outlines of equally many points, counter-clockwise round
    material and clockwise round a hole.
    """

    lower: Outline
    upper: Outline
    z0: float  # height of `lower`, mm
    z1: float  # height of `upper`, mm


@dataclass(frozen=True, slots=True, eq=False)
class _Ring:
    """One end of a side: its outline, its first vertex, and how flat faces see it."""

    outline: Outline
    first: int
    sign: int  # +1: material below ends here; -1: material above begins here


def outside(lower: Outline, z0: float, z1: float, *, upper: Outline | None = None) -> Side:
    """Return the side round material: upright, or sloped where `upper` differs.

    Parameters
    ----------
    lower, upper : (n, 2) float
        Counter-clockwise outlines at the heights `z0` and `z1`, mm.
    z0, z1 : float
        Heights, mm.

    Examples
    --------
    >>> from meshcomp.scenario.outlines import circle
    >>> chamfer = outside(circle(5.4, 24), 0.0, 0.6, upper=circle(6.0, 24))
    >>> chamfer.z1
    0.6
    """
    return Side(lower=lower, upper=lower if upper is None else upper, z0=z0, z1=z1)


def hole(lower: Outline, z0: float, z1: float, *, upper: Outline | None = None) -> Side:
    """Return the side of a hole, from counter-clockwise outlines as `outside` takes.

    Examples
    --------
    >>> from meshcomp.scenario.outlines import area, circle
    >>> area(hole(circle(5.0, 24), 0.0, 6.0).lower) < 0
    True
    """
    side = outside(lower, z0, z1, upper=upper)
    return Side(lower=side.lower[::-1], upper=side.upper[::-1], z0=z0, z1=z1)


def prism(outer: Outline, holes: Sequence[Outline], z0: float, z1: float) -> Mesh:
    """Return an upright solid of one outline with holes.

    Parameters
    ----------
    outer : (n, 2) float
        Counter-clockwise, mm.
    holes : sequence of (k, 2) float
        Counter-clockwise too, mm; they neither touch nor cross anything.
    z0, z1 : float
        Heights of the two ends, mm.

    Examples
    --------
    >>> from meshcomp.scenario.outlines import circle
    >>> washer = prism(circle(6.0, 24), [circle(3.2, 24)], 0.0, 1.5)
    >>> washer.vertices.shape, washer.faces.shape
    ((96, 3), (192, 3))
    """
    return solid([outside(outer, z0, z1), *(hole(each, z0, z1) for each in holes)])


def solid(sides: Iterable[Side]) -> Mesh:
    """Close sides with flat faces and return the solid.

    Parameters
    ----------
    sides : iterable of Side
        At any height, outlines are equal or stay clear of each other.

    Raises
    ------
    NotASolidError
        If the sides enclose no material between two heights at which they end.

    Examples
    --------
    A plate 6 mm thick with a counterbore:

    >>> from meshcomp.scenario.outlines import circle
    >>> plate = solid([
    ...     outside(circle(20.0, 48), 0.0, 6.0),
    ...     hole(circle(12.7, 48), 0.0, 3.5),
    ...     hole(circle(14.25, 48), 3.5, 6.0),
    ... ])
    >>> plate.bounds[:, 2].tolist()
    [0.0, 6.0]
    """
    points: list[NDArray[np.float64]] = []
    faces: list[NDArray[np.int64]] = []
    levels: dict[float, list[_Ring]] = {}
    first = 0
    for side in sides:
        n = len(side.lower)
        points += [_raised(side.lower, side.z0), _raised(side.upper, side.z1)]
        faces.append(_band(n) + first)
        levels.setdefault(side.z0, []).append(_Ring(side.lower, first, -1))
        levels.setdefault(side.z1, []).append(_Ring(side.upper, first + n, 1))
        first += 2 * n
    for height, rings in levels.items():
        faces += _flats(_open(rings), height)
    return _welded(np.concatenate(points), np.concatenate(faces))


def _raised(outline: Outline, height: float) -> NDArray[np.float64]:
    return np.column_stack([outline, np.full(len(outline), height)])


def _band(n: int) -> NDArray[np.int64]:
    """Two triangles for each of n panels between rings that begin at 0 and n."""
    here = np.arange(n)
    there = np.roll(here, -1)
    return np.concatenate(
        [
            np.column_stack([here, there, there + n]),
            np.column_stack([here, there + n, here + n]),
        ]
    )


def _open(rings: list[_Ring]) -> list[_Ring]:
    """Drop rings at which one side simply continues another."""
    signs: dict[bytes, int] = {}
    for ring in rings:
        signs[ring.outline.tobytes()] = signs.get(ring.outline.tobytes(), 0) + ring.sign
    return [ring for ring in rings if signs[ring.outline.tobytes()]]


def _flats(rings: list[_Ring], height: float) -> list[NDArray[np.int64]]:
    """Triangles of all flat faces at one height, seen from outside the material."""
    around = [(ring, _turn(ring), _winding(ring, rings)) for ring in rings]
    if any(abs(count) > 1 or count == turn for _, turn, count in around):
        raise NotASolidError(
            f"sides lie inside each other at the height {height} mm with no hole between "
            "them: let one end where the other begins"
        )
    faces = []
    # Counted with their signs, rings wind once round a face that looks up, once the
    # other way round a face that looks down, and not at all round anything else.
    for facing in (1, -1):
        chosen = [ring for ring, turn, count in around if facing in {count, count + turn}]
        if chosen:
            faces.append(_triangles(chosen, facing))
    return faces


def _turn(ring: _Ring) -> int:
    """Direction in which a ring winds, with its sign: +1 counter-clockwise."""
    return ring.sign if area(ring.outline) > 0 else -ring.sign


def _winding(ring: _Ring, rings: list[_Ring]) -> int:
    """How often all other rings wind round this one."""
    return sum(
        _turn(other)
        for other in rings
        if other is not ring and _is_within(ring.outline[0], other.outline)
    )


def _is_within(point: NDArray[np.float64], outline: Outline) -> bool:
    """Whether a ray from the point along X crosses the outline an odd number of times."""
    x, y = (outline - point).T
    next_x, next_y = np.roll(x, -1), np.roll(y, -1)
    crossing = (y > 0) != (next_y > 0)
    rise = np.where(crossing, next_y - y, 1.0)
    return bool(np.count_nonzero(crossing & (x - y * (next_x - x) / rise > 0)) % 2)


def _triangles(rings: list[_Ring], facing: int) -> NDArray[np.int64]:
    """Triangulate faces bounded by rings, and turn them to look up or down."""
    from manifold3d import triangulate

    polygons, corners = [], []
    for ring in rings:
        step = ring.sign * facing  # rings wind as seen from the side the face looks to
        polygons.append(np.ascontiguousarray(ring.outline[::step]))
        corners.append((ring.first + np.arange(len(ring.outline)))[::step])
    # A fast road for convex outlines would fan out slivers: not allowed.
    chosen = np.asarray(triangulate(polygons, allow_convex=False), dtype=np.int64)
    return np.concatenate(corners)[chosen[:, ::facing]]


def _welded(points: NDArray[np.float64], faces: NDArray[np.int64]) -> Mesh:
    """Give equal points one vertex; no other coordinate is changed."""
    unique, first, inverse = np.unique(
        points + 0.0, axis=0, return_index=True, return_inverse=True
    )
    # Keep the order in which the sides came, so that neighbours stay neighbours.
    order = np.argsort(first)
    rank = np.zeros(len(order), np.int64)
    rank[order] = np.arange(len(order))
    return Mesh(unique[order], rank[inverse.reshape(-1)][faces])


def laid(mesh: Mesh, along: str) -> Mesh:
    """Turn a solid so that its Z points along X or Y, exactly: coordinates change places.

    Parameters
    ----------
    mesh : Mesh
        With outlines in its X and Y.
    along : str
        'X': outlines lie in Y, Z; or 'Y': outlines lie in Z, X.

    Examples
    --------
    >>> from meshcomp.scenario.outlines import circle
    >>> laid(prism(circle(1.0, 4), [], 2.0, 9.0), "Y").bounds[:, 1].tolist()
    [2.0, 9.0]
    """
    return Mesh(np.roll(mesh.vertices, {"X": 1, "Y": 2}[along], axis=1), mesh.faces)


def cut_away(blanks: Sequence[Mesh], cutters: Sequence[Mesh]) -> Mesh:
    """Join solids and take others away from them.

    Parameters
    ----------
    blanks : sequence of Mesh
        Closed solids, joined to one.
    cutters : sequence of Mesh
        Closed solids to take away; they should reach beyond the blanks' faces.

    Raises
    ------
    NotASolidError
        If one of them is not closed and outward oriented.

    Examples
    --------
    >>> from meshcomp.scenario.outlines import circle
    >>> rod, drill = prism(circle(5.0, 24), [], 0, 9), prism(circle(2.0, 24), [], -1, 10)
    >>> len(cut_away([rod], [drill]).vertices)
    96
    """
    import manifold3d

    def joined(meshes: Sequence[Mesh]) -> Any:
        return manifold3d.Manifold.batch_boolean(
            [_to_manifold(mesh) for mesh in meshes], manifold3d.OpType.Add
        )

    result = (joined(blanks) - joined(cutters)).to_mesh64()
    return Mesh(
        np.asarray(result.vert_properties)[:, :3] + 0.0,
        np.asarray(result.tri_verts).astype(np.int64),
    )


def _to_manifold(mesh: Mesh) -> Any:
    """Hand a mesh to manifold3d at full precision."""
    import manifold3d

    handed = manifold3d.Manifold(
        manifold3d.Mesh64(np.array(mesh.vertices), np.array(mesh.faces).astype(np.uint64))
    )
    if handed.status() != manifold3d.Error.NoError:
        raise NotASolidError(
            f"a solid of {len(mesh.faces)} triangles cannot be cut: {handed.status()}; "
            "give closed solids only"
        )
    return handed
