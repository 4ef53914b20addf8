"""The circle that most of a patch lies on, where other walls hang together with it.

Least squares over a whole patch is led astray by what is not on the circle. Circles
through three corners of the patch, drawn at random, are judged by how much of its area
lies on them instead (random sample consensus).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import median
from meshcomp._vectors import along, dot, highest, turned
from meshcomp.association import associate_circle
from meshcomp.detection.growing import ON_CYLINDER_LIMIT
from meshcomp.detection.rough import rough_limit
from meshcomp.detection.scenes import Prospect
from meshcomp.errors import AssociationError

__all__ = ["are_near", "circle_of", "consensus", "upright_half"]

_OUTLIER = 3.0  # median absolute deviations
_MOST_CORNERS = 4000
_DRAWS = 128
_MOST_FACES = 1000
_NEAR = 0.01  # mm off a circle at which a face counts half
_FLAT = 1e-3  # of its longest side, height of a triangle that tells no circle


def circle_of(
    view: Prospect, faces: NDArray[np.int64]
) -> tuple[NDArray[np.float64], float] | None:
    """Associate a circle to a patch, without what lies elsewhere.

    Parameters
    ----------
    view : Prospect
        The scene along the axis looked for.
    faces : (k,) int
        Of the patch.

    Returns
    -------
    centre : (2,) float
        In mm.
    radius : float
        In mm. None if the corners make no circle, or too little of one.
    """
    mesh = view.scene.mesh
    vertices = mesh.vertices_of(faces)
    # A circle to begin with needs no more: it is associated anew to what is grown.
    vertices = vertices[:: max(1, len(vertices) // _MOST_CORNERS)]
    corners = turned(mesh.vertices[vertices], view.frame[:2])
    try:
        circle = associate_circle(corners)
        if median(_off(corners, circle)) > ON_CYLINDER_LIMIT:
            corners = _on_consensus(view, faces, corners)
            circle = associate_circle(corners)
        centre, diameter = _without_outliers(corners, circle, view.scene.limit)
    except AssociationError:
        return None
    reach = max(float(np.ptp(corners[:, 0])), float(np.ptp(corners[:, 1])))
    # What goes round by more than half a turn is no smaller than its circle.
    return None if diameter / 2 > reach else (centre, diameter / 2)


def _without_outliers(
    corners: NDArray[np.float64], circle: tuple[NDArray[np.float64], float], limit: float
) -> tuple[NDArray[np.float64], float]:
    """Associate a circle, by centre and diameter, anew to the corners near it."""
    for _ in range(3):
        off = _off(corners, circle)
        near = off <= _OUTLIER * median(off) + limit
        if near.all():
            break
        corners = corners[near]
        circle = associate_circle(corners)
    return circle


def _off(
    corners: NDArray[np.float64], circle: tuple[NDArray[np.float64], float]
) -> NDArray[np.float64]:
    """How far corners are from a circle by centre and diameter, (n,) mm."""
    return np.asarray(np.abs(np.hypot(*(corners - circle[0]).T) - circle[1] / 2))


def _on_consensus(
    view: Prospect, faces: NDArray[np.int64], corners: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Those corners that lie near the circle which most of the area lies on."""
    scene = view.scene
    vectors = scene.mesh.area_vectors[faces]
    across = turned(scene.mesh.vertices[scene.mesh.faces[faces]], view.frame[:2])
    circle = consensus(across, np.sqrt(dot(vectors, vectors)))
    if circle is None:
        return corners
    off = np.abs(np.hypot(*(corners - circle[0]).T) - circle[1])
    return np.asarray(corners[off <= rough_limit(circle[1])])


def are_near(
    view: Prospect, faces: NDArray[np.int64], circle: tuple[NDArray[np.float64], float]
) -> NDArray[np.bool_]:
    """Whether all corners of each face lie near a circle, (k,)."""
    mesh = view.scene.mesh
    away = turned(mesh.vertices[mesh.faces[faces]], view.frame[:2]) - circle[0]
    off = np.abs(np.sqrt(dot(away, away)) - circle[1])
    return np.asarray(highest(off) <= rough_limit(circle[1]))


def upright_half(view: Prospect, faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Rows of the faces that lean least along the axis and make up half of a patch's area.

    A rounding that ends a short wall has more corners than the wall, but its bands lean.
    """
    scene = view.scene
    vectors = scene.mesh.area_vectors[faces]
    areas = np.sqrt(dot(vectors, vectors))
    leaning = np.abs(along(scene.regions.face_normals[faces], view.frame[2]))
    order = np.argsort(leaning, kind="stable")
    enough = int(np.searchsorted(np.cumsum(areas[order]), areas.sum() / 2)) + 1
    return np.asarray(order[:enough])


def consensus(
    corners: NDArray[np.float64], areas: NDArray[np.float64]
) -> tuple[NDArray[np.float64], float] | None:
    """Find the circle that most of the area of some faces lies on.

    Parameters
    ----------
    corners : (m, 3, 2) float
        Corners of the faces across an axis, mm.
    areas : (m,) float
        In any unit.

    Returns
    -------
    centre : (2,) float
        In mm.
    radius : float
        In mm. None if the corners lie on lines.

    References
    ----------
    M. A. Fischler, R. C. Bolles, "Random sample consensus", Communications of the ACM 24
    (1981) 381-395.

    Examples
    --------
    >>> turns = np.linspace(0, 2 * np.pi, 60)
    >>> ring = 3 * np.column_stack([np.cos(turns), np.sin(turns)])
    >>> astray = np.random.default_rng(1).uniform(-4, 4, (30, 2))
    >>> corners = np.concatenate([ring, astray]).reshape(-1, 3, 2)
    >>> centre, radius = consensus(corners, np.ones(30))
    >>> bool(np.abs(centre).max() < 1e-9), round(radius, 9)
    (True, 3.0)
    """
    rng = np.random.default_rng(len(corners))  # the same draws for the same patch
    chance = areas / areas.sum()
    if len(corners) > _MOST_FACES:
        kept = rng.choice(len(corners), _MOST_FACES, replace=False, p=chance)
        corners, areas = corners[kept], np.ones(_MOST_FACES)
        chance = areas / _MOST_FACES
    faces = rng.choice(len(corners), (_DRAWS, 3), p=chance)
    centres, radii = _through(corners[faces, rng.integers(0, 3, (_DRAWS, 3))])
    if len(radii) == 0:
        return None
    worst = _worst_off(corners, centres, radii)
    best = int(np.argmax((areas / (1 + (worst / _NEAR) ** 2)).sum(axis=1)))
    return centres[best], float(radii[best])


def _worst_off(
    corners: NDArray[np.float64], centres: NDArray[np.float64], radii: NDArray[np.float64]
) -> NDArray[np.float64]:
    """How far the farthest corner of each face is from each circle, (n, m) mm."""
    x, y = np.ascontiguousarray(corners.transpose(2, 1, 0)).reshape(2, -1)
    off, aside = x - centres[:, :1], y - centres[:, 1:]
    off *= off  # in place: four times as quick, and the most of a patch's time
    off += aside * aside
    np.sqrt(off, out=off)
    off -= radii[:, None]
    return highest(np.abs(off, out=off).reshape(len(radii), 3, -1))


def _through(
    points: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Centres and radii of the circles through triples of points, (n, 3, 2)."""
    a, b = points[:, 1] - points[:, 0], points[:, 2] - points[:, 0]
    cross = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    squares = dot(a, a), dot(b, b)
    good = np.abs(cross) > _FLAT * np.maximum(*squares)
    a, b, cross = a[good], b[good], 2 * cross[good]
    squares = squares[0][good], squares[1][good]
    x = (b[:, 1] * squares[0] - a[:, 1] * squares[1]) / cross
    y = (a[:, 0] * squares[1] - b[:, 0] * squares[0]) / cross
    return points[good, 0] + np.column_stack([x, y]), np.hypot(x, y)
