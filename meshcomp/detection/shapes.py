"""Name the shapes of pockets and outlines that are no cylinders."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import median, quantile
from meshcomp.association import associate_circle
from meshcomp.detection.evidence import with_evidence
from meshcomp.detection.helices import section_middles, winds
from meshcomp.detection.outline_shapes import is_round, shape_of
from meshcomp.detection.repeating import with_one_curve
from meshcomp.detection.scenes import Scene
from meshcomp.errors import AssociationError
from meshcomp.features import Feature, Shape, Wall
from meshcomp.sections import Outlines
from meshcomp.topology import components

__all__ = ["shaped"]

_THREAD = Shape(name="thread")
_LEAST_WINDING = 0.02  # mm, by which the middle of a thread's section goes round
_LEVELS = 48
_LEAST_FACES = 100
_FLANK = 0.3  # sine: a thread's flanks lean, its root does not
_CONE_SPREAD = np.radians(3.0)  # of coarse facets, from one end to the other
_DRAFT = 1e-3  # sine
_LEAST_LEAN = 1e-4  # sine
_TEXT = (3, 1.2, 20.0)  # shapes without a name, no deeper, no larger than, mm
_SAME = 0.02  # mm, or degrees, between measures of one shape
_ARC = 0.02  # mm, a corner off the arc of a fillet
_MOST_RINGS = 4000  # of different walls: more are not named, as for a lattice


def shaped(scene: Scene, outlines: Outlines, features: Sequence[Feature]) -> list[Feature]:
    """Give walls the shape of the outline that they are on.

    Parameters
    ----------
    scene : Scene
        The part.
    outlines : Outlines
        Of level sections.
    features : sequence of Feature
        All of them; walls get shapes, cylinders stay as they are.
    """
    rings = _rings_of_walls(scene, outlines, features)
    areas, around = np.abs(outlines.areas), _lengths(outlines)
    shapes: dict[int, Shape | None] = dict(_threads(scene, rings, features))
    for members, mine in list(rings.items())[:_MOST_RINGS]:
        if members[0] in shapes and shapes[members[0]] is _THREAD:
            continue
        if all(shapes.get(index, _THREAD) is None for index in members):
            continue  # they have no one shape, whatever this ring's is
        largest = max(mine, key=lambda ring: float(areas[ring]))
        shape = _shape(scene, _points(outlines, largest), [features[i] for i in members])
        for index in members:
            # A wall whose outline changes with the height has no one shape.
            known = shapes.setdefault(index, shape)
            if known is not None and (shape is None or not _is_same(shape, known)):
                shapes[index] = None
    shapes.update(_fillets(outlines, features, rings, shapes))
    named = [
        replace(f, shape=shapes.get(i)) if isinstance(f, Wall) else f
        for i, f in enumerate(features)
    ]
    lengths = {
        id(shape): max(float(around[ring]) for ring in mine)
        for members, mine in rings.items()
        for index in members
        if (shape := shapes[index]) is not None
    }
    return with_evidence(with_one_curve(scene, _with_text(scene, named), lengths))


def _is_same(one: Shape, other: Shape) -> bool:
    return one.name == other.name and all(
        abs(a - b) < _SAME
        for (_, a), (_, b) in zip(one.measures, other.measures, strict=False)
    )


def _lengths(outlines: Outlines) -> NDArray[np.float64]:
    """Length of each ring, (r,) mm."""
    rings = len(outlines.heights)
    return np.asarray(np.bincount(outlines.ring, outlines.lengths, rings), np.float64)


def _rings_of_walls(
    scene: Scene, outlines: Outlines, features: Sequence[Feature]
) -> dict[tuple[int, ...], list[int]]:
    """Rings by the walls that they run along; those along a cylinder are left out."""
    owner = np.full(len(scene.mesh.faces), -1)
    for index, feature in enumerate(features):
        owner[feature.faces] = index if isinstance(feature, Wall) else -2
    first = np.searchsorted(outlines.panel_of_face, np.arange(len(outlines.points)))
    owners = owner[outlines.faces[np.minimum(first, len(outlines.faces) - 1)]].tolist()
    found: dict[tuple[int, ...], list[int]] = {}
    for ring, (begin, end) in enumerate(pairwise(outlines.firsts.tolist())):
        members = sorted(set(owners[begin:end]))
        if members and members[0] >= 0:
            found.setdefault(tuple(members), []).append(ring)
    return found


def _points(outlines: Outlines, ring: int) -> NDArray[np.float64]:
    return outlines.points[outlines.firsts[ring] : outlines.firsts[ring + 1]]


def _shape(scene: Scene, points: NDArray[np.float64], walls: list[Feature]) -> Shape | None:
    """Name the shape of the ring, (n, 2) mm, that runs along some walls."""
    if is_round(points):
        return _revolved(scene, walls)
    shape = shape_of(points)
    if shape is None or not _is_drafted(scene, walls):
        return shape
    # Its sizes change with the height: none of them is the shape's.
    return Shape(name=f"{shape.name}, drafted")


def _is_drafted(scene: Scene, walls: list[Feature]) -> bool:
    """Whether most faces of walls lean, and one way on the whole.

    Facets whose rims were faceted each for itself are twisted: they lean to both ways.
    """
    faces = np.concatenate([wall.faces for wall in walls])
    lean = median(np.abs(scene.regions.face_normals[faces, 2]))
    areas = scene.mesh.area_vectors[faces]
    whole = float(np.linalg.norm(areas, axis=1).sum())
    return lean > _DRAFT and abs(float(areas[:, 2].sum())) > _DRAFT * whole


def _threads(
    scene: Scene, rings: dict[tuple[int, ...], list[int]], features: Sequence[Feature]
) -> dict[int, Shape]:
    """Name walls as thread whose section's middle goes round as the height grows."""
    edges = np.array([pair for m in rings for pair in pairwise(m)]).reshape(-1, 2)
    labels = components(len(features), edges.astype(np.int64))
    walls = np.unique([index for members in rings for index in members]).astype(int)
    found = {}
    for label in np.unique(labels[walls]).tolist():
        mine = walls[labels[walls] == label].tolist()
        faces = np.concatenate([features[index].faces for index in mine])
        if _is_thread(scene, faces):
            found.update(dict.fromkeys(mine, _THREAD))
    return found


def _is_thread(scene: Scene, faces: NDArray[np.int64]) -> bool:
    lean = np.abs(scene.regions.face_normals[faces, 2])
    if len(faces) < _LEAST_FACES or float(np.ptp(lean)) < _FLANK:
        return False
    corners = scene.mesh.vertices[scene.mesh.faces[faces]]
    low, high = float(corners[..., 2].min()), float(corners[..., 2].max())
    at = low + (np.arange(_LEVELS) + 0.5) / _LEVELS * (high - low)
    middles = section_middles(corners[..., :2], corners[..., 2], at)
    middles = middles - np.median(middles, axis=0)
    usual = median(np.hypot(middles[:, 0], middles[:, 1]))
    return usual > _LEAST_WINDING and winds(at, middles / usual)


def _revolved(scene: Scene, walls: list[Feature]) -> Shape | None:
    """Name a round outline that is no cylinder by how its faces lean."""
    faces = np.concatenate([wall.faces for wall in walls])
    lean = np.arcsin(np.clip(np.abs(scene.regions.face_normals[faces, 2]), 0, 1))
    corners = scene.mesh.vertices[scene.mesh.vertices_of(faces)]
    spread = quantile(lean, 0.9) - quantile(lean, 0.1)
    if spread > _CONE_SPREAD or median(lean) < _LEAST_LEAN:
        return Shape(name="round, of changing width") if spread > 0.1 else None  # noqa: PLR2004
    low, high = corners[:, 2].min(), corners[:, 2].max()
    ends = [corners[np.abs(corners[:, 2] - at) < 1e-3] for at in (low, high)]  # noqa: PLR2004
    try:
        sizes = sorted(associate_circle(end[:, :2])[1] for end in ends)
    except AssociationError:
        return None
    angle = 2 * float(np.degrees(np.arctan2(sizes[1] - sizes[0], 2 * (high - low))))
    measures = (("angle", angle), ("from", sizes[0]), ("to", sizes[1]))
    return Shape(name="cone", measures=measures)


def _fillets(
    outlines: Outlines,
    features: Sequence[Feature],
    rings: dict[tuple[int, ...], list[int]],
    shapes: dict[int, Shape | None],
) -> dict[int, Shape]:
    """Name profiles without another shape whose stretches of outline are arcs."""
    found = {}
    for members, mine in rings.items():
        for index in members:
            if shapes.get(index) is not None or features[index].kind != "profile":
                continue
            radius = _arc_radius(outlines, mine[0], features[index])
            if radius is not None:
                found[index] = Shape(name="fillet", measures=(("radius", radius),))
    return found


def _arc_radius(outlines: Outlines, ring: int, feature: Feature) -> float | None:
    """Radius of all stretches of a ring that are a feature's, if they are equal arcs."""
    begin, end = outlines.firsts[ring : ring + 2].tolist()
    panels = np.arange(begin, end)
    first = np.searchsorted(outlines.panel_of_face, panels)
    own = np.isin(outlines.faces[first], feature.faces)
    if own.all() or not own.any():
        return None
    start = int(np.flatnonzero(~own)[0])
    own, panels = np.roll(own, -start), np.roll(panels, -start)
    cuts = np.flatnonzero(np.diff(own.astype(int))) + 1
    radii = []
    for part in np.split(np.arange(len(own)), cuts):
        if not own[part[0]]:
            continue
        last = int(panels[part[-1]])
        rows = np.append(panels[part], last + 1 if last + 1 < end else begin)
        try:
            centre, diameter = associate_circle(outlines.points[rows])
        except AssociationError:
            return None
        off = np.hypot(*(outlines.points[rows] - centre).T) - diameter / 2
        if len(rows) < 4 or np.abs(off).max() > _ARC:  # noqa: PLR2004 - three say nothing
            return None
        radii.append(diameter / 2)
    return radii[0] if np.ptp(radii) < _ARC else None


def _with_text(scene: Scene, features: list[Feature]) -> list[Feature]:
    """Name shallow walls, several on one level without a shape, as text."""
    least, depth, largest = _TEXT
    levels: dict[float, list[int]] = {}
    for index, feature in enumerate(features):
        if feature.kind != "profile":
            continue
        corners = scene.mesh.vertices[scene.mesh.vertices_of(feature.faces)]
        size = np.ptp(corners, axis=0)
        if size[2] <= depth and size[:2].max() <= largest:
            levels.setdefault(round(float(corners[:, 2].min()), 2), []).append(index)
    shape, named = Shape(name="text"), list(features)
    for members in levels.values():
        walls = [(i, w) for i in members if isinstance(w := features[i], Wall)]
        # The counter of an O may be an ellipse, and is part of the text all the same.
        if sum(wall.shape is None for _, wall in walls) >= least:
            for index, wall in walls:
                named[index] = replace(wall, shape=shape)
    return named
