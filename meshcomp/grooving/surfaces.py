"""The surface of one feature in the reshaped mesh, and where a groove finds room on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._stretches import in_common, merged
from meshcomp._vectors import unit
from meshcomp.association import associate_circle
from meshcomp.features import Cylinder, Feature
from meshcomp.grooving.lines import level_lines, upright_lines
from meshcomp.meshes import Mesh
from meshcomp.seams import WAVER

__all__ = ["REFUSALS", "Seat", "Surface", "seat_at", "surface_of"]

_STANDING = 0.9999  # cosine
_LEAST_HEIGHT = 0.5  # mm of a stretch
_FLAT = 0.4  # of the depth: how far a surface may bend over the groove's mouth
_AS_LONG = 0.95  # of the longest outline of a feature
_MOST_LOOKS = 40  # heights at which an outline is looked for
_MOUTH = 0.8  # widths to either side that have to be upright: the cutter's, and more
_NOTHING = 1e-9  # mm
_JUST_HERE = 1e-3  # mm
_WITHIN = 1.01  # of a radius
_LEAST_WALL = 1.0  # widths of the groove that are left behind it
# Why there is no seat at a bearing, by how near it came to one.
REFUSALS = (
    "no bearing from its middle meets it upright",
    "its surface is bent, drafted or lower than 0.5 mm wherever it was looked at",
    "what is behind it is thinner than a groove and one line wherever it was looked at",
    "a groove's sides would not leave its surface cleanly",
    "something stands before or close behind it, so that no groove would be even",
)
_LEAST_WIDTHS = 4.0  # diameters that hold a groove, in its widths


@dataclass(frozen=True, slots=True, eq=False)
class Boxes:
    """Boxes of triangles or lines as seen from above: four columns, mm."""

    low: tuple[NDArray[np.float64], NDArray[np.float64]]  # x and y, (k,) each
    high: tuple[NDArray[np.float64], NDArray[np.float64]]

    @classmethod
    def of(cls, points: NDArray[np.float64]) -> Boxes:
        """Make them of corners, (k, 2 or 3, 2 or 3)."""
        low, high = points.min(axis=1), points.max(axis=1)
        columns = [np.ascontiguousarray(each[:, k]) for each in (low, high) for k in (0, 1)]
        return cls((columns[0], columns[1]), (columns[2], columns[3]))

    def near(self, point: NDArray[np.float64], distance: float) -> NDArray[np.bool_]:
        """Mark those within a distance of a point along both X and Y, (k,)."""
        x, y = point.tolist()
        return np.asarray(
            (self.low[0] <= x + distance)
            & (self.high[0] >= x - distance)
            & (self.low[1] <= y + distance)
            & (self.high[1] >= y - distance)
        )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Surface:
    """Faces of a feature that stands, after compensation."""

    feature: Feature
    corners: NDArray[np.float64]  # (m, 3, 3) of its faces, its entries last
    own: int  # how many of them are no entries
    centre: NDArray[np.float64]  # (2,) that bearings are about
    height: float  # at which most of it is seen, mm
    around: NDArray[np.float64]  # (k, 2, 2) lines of the whole mesh at that height
    faces: NDArray[np.int64]  # (own,) numbers of its faces in the mesh
    boxes: Boxes  # of its own faces, as seen from above
    line_boxes: Boxes  # of the lines around

    def rows_near(self, point: NDArray[np.float64], distance: float) -> NDArray[np.int64]:
        """Return which of its own faces may be within a distance of a point, (k,)."""
        return np.flatnonzero(self.boxes.near(point, distance))

    def lines_near(
        self, point: NDArray[np.float64], distance: float
    ) -> NDArray[np.float64]:
        """Return the lines around that may be within a distance of a point, (k, 2, 2)."""
        return self.around[self.line_boxes.near(point, distance)]

    @property
    def is_round(self) -> bool:
        """Whether it is a bore or a boss."""
        return isinstance(self.feature, Cylinder)

    @property
    def side(self) -> float:
        """Which way its material ends, seen from its centre: outwards or inwards."""
        return -1.0 if self.feature.is_internal else 1.0

    def first_hit(self, bearing: float) -> float:
        """Distance from the centre to the first line at a bearing; 0 if there is none."""
        hits = self._hits(bearing)
        return float(hits.min()) if len(hits) else 0.0

    def last_hit(self, bearing: float, radius: float) -> float:
        """Distance to the last line within a radius, or that radius without one."""
        hits = self._hits(bearing)
        return float(hits[hits <= _WITHIN * radius].max(initial=0.0)) or radius

    def radii(self, bearings: NDArray[np.float64]) -> NDArray[np.float64]:
        """Distance of the surface from the centre at some bearings; NaN where it is not.

        That of the outermost of an outside, of the innermost of a pocket.
        """
        lines = level_lines(self.corners[: self.own], self.height)[0] - self.centre
        angles = np.radians(bearings)
        rays = np.stack([np.cos(angles), np.sin(angles)])
        across = np.stack([-rays[1], rays[0]])
        side, along = lines @ across, lines @ rays  # (k, 2, bearings)
        # Ends that neighbours share differ by rounding: a ray may not slip between them.
        passing = (side.min(axis=1) <= _NOTHING) & (side.max(axis=1) >= -_NOTHING)
        gap = side[:, 0] - side[:, 1]
        share = side[:, 0] / np.where(np.abs(gap) > _NOTHING, gap, 1.0)
        at = along[:, 0] + np.clip(share, 0.0, 1.0) * (along[:, 1] - along[:, 0])
        nowhere = -self.side * np.inf
        at = np.where(passing & (at > 0), at, nowhere)
        best = at.max(axis=0) if self.side > 0 else at.min(axis=0)
        return np.where(np.isfinite(best), best, np.nan)

    def _hits(self, bearing: float) -> NDArray[np.float64]:
        ray = np.array([np.cos(np.radians(bearing)), np.sin(np.radians(bearing))])
        return _distances(self.around, self.centre, ray)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Seat:
    """A place on a surface for a groove."""

    bearing: float  # degrees
    point: NDArray[np.float64]  # (2,) on the surface
    outward: NDArray[np.float64]  # (2,) unit, out of the material
    stretches: NDArray[np.float64]  # (k, 2) heights between which the surface is upright
    face: int  # of the mesh, at the point

    @property
    def length(self) -> float:
        """Height of all stretches together, mm."""
        return float((self.stretches[:, 1] - self.stretches[:, 0]).sum())


def surface_of(
    feature: Feature, mesh: Mesh, parents: NDArray[np.int64], width: float, look: int = 0
) -> Surface | str:
    """Find the faces of a feature in a reshaped mesh, or say why it has no seat.

    Walls of several heights have several outlines: `look` says which of them to take, the
    longest first.

    Parameters
    ----------
    feature : Feature
        As found in the part before.
    mesh : Mesh
        After compensation.
    parents : (m,) int
        The old face of each of its faces.
    width : float
        Of the groove, mm.
    look : int, optional
        0, 1 and so on: which of its outlines.
    """
    if feature.kind not in {"bore", "boss", "profile"}:
        return f"a {feature.kind} has no seam of its own: its outline goes on round it"
    entries = np.zeros(0, dtype=np.int64)
    if isinstance(feature, Cylinder):
        if abs(float(feature.direction[2])) < _STANDING:
            return "it does not stand: its seam lies elsewhere in every layer"
        if feature.nominal_size < _LEAST_WIDTHS * width:
            return (
                f"too small: {feature.nominal_size:.3f} mm is less than "
                f"{_LEAST_WIDTHS:g} widths of the groove"
            )
        entries = np.flatnonzero(np.isin(parents, feature.entry_faces))
    faces = np.flatnonzero(np.isin(parents, feature.faces))
    corners = mesh.corners[np.concatenate([faces, entries])]
    own = corners[: len(faces)]
    heights = _heights(own)
    if len(heights) <= look:
        return "it has no upright stretch" if look == 0 else "it has no other outline"
    height = heights[look]
    around = level_lines(mesh.corners, height)[0]
    return Surface(
        feature=feature,
        corners=corners,
        own=len(faces),
        centre=_centre(feature, own, height),
        height=height,
        around=around,
        faces=faces,
        boxes=Boxes.of(own),
        line_boxes=Boxes.of(around),
    )


def _centre(
    feature: Feature, corners: NDArray[np.float64], height: float
) -> NDArray[np.float64]:
    """Axis of a cylinder, or the centroid of a profile's outline: of all its lobes."""
    if isinstance(feature, Cylinder):
        return associate_circle(np.unique(corners.reshape(-1, 3)[:, :2], axis=0))[0]
    lines, _ = level_lines(corners, height)
    lengths = np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1)
    return np.asarray(lengths @ lines.mean(axis=1) / max(float(lengths.sum()), 1e-12))


def _heights(corners: NDArray[np.float64]) -> list[float]:
    """Return heights at which the faces have different outlines, each amid a stretch.

    The longest outline comes first, then those of the tallest stretches.
    """
    ends = np.unique(corners[..., 2].round(4))
    if len(ends) < 2:  # noqa: PLR2004 - a stretch has two
        return []
    spans, middles = np.diff(ends), (ends[:-1] + ends[1:]) / 2
    tallest = np.argsort(-spans, kind="stable")[:_MOST_LOOKS]
    heights = middles[tallest]
    lengths = np.array([_length(level_lines(corners, z)[0]) for z in heights])
    # A foot drawn in makes little difference; the taller stretch comes first.
    best = int(np.argmax(lengths >= _AS_LONG * lengths.max()))
    if lengths[best] <= 0:
        return []
    found = [best]
    for k in range(len(heights)):
        differs = np.abs(lengths[found] - lengths[k]) > (1 - _AS_LONG) * lengths[best]
        if lengths[k] > 0 and spans[tallest[k]] >= _LEAST_HEIGHT and differs.all():
            found.append(k)
    return [float(z) for z in heights[found]]


def _length(lines: NDArray[np.float64]) -> float:
    return float(np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1).sum())


def seat_at(surface: Surface, bearing: float, width: float, depth: float) -> Seat | str:
    """Find the place of a groove at a bearing, or say why the surface has no room for it.

    Parameters
    ----------
    surface : Surface
    bearing : float
        Degrees, about the surface's centre.
    width, depth : float
        Of the groove, mm.
    """
    ray = np.array([np.cos(np.radians(bearing)), np.sin(np.radians(bearing))])
    corners = surface.corners[: surface.own]
    lines, rows = upright_lines(corners, surface.centre, ray)
    passing = (lines[..., 1].min(1) <= surface.height) & (
        lines[..., 1].max(1) >= surface.height
    )
    found = np.flatnonzero(passing & (lines[..., 0].min(axis=1) > 0))
    if len(found) == 0:
        return REFUSALS[0]
    at = _at_height(lines[found], surface.height)
    # The outermost of an outside, the innermost of a pocket.
    best = int(np.argmax(surface.side * at))
    point = surface.centre + at[best] * ray
    outward = surface.side * ray if surface.is_round else _normal(surface, point, width)
    here = corners[surface.rows_near(point, width)]
    stretches = _stretches(here, point, outward, surface.height, (width, depth))
    if len(stretches) == 0:
        return REFUSALS[1]
    least = depth + _LEAST_WALL * width
    wall = _distances(surface.lines_near(point, least), point, -outward)
    if wall.min(initial=np.inf) < least:
        return REFUSALS[2]
    return Seat(
        bearing=bearing,
        point=point,
        outward=outward,
        stretches=stretches,
        face=int(surface.faces[rows[found[best]]]),
    )


def _distances(
    lines: NDArray[np.float64], point: NDArray[np.float64], ray: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Distances at which a ray passes lines, (k, 2, 2), other than one it begins on."""
    across = np.array([-ray[1], ray[0]])
    side = (lines - point) @ across
    passing = (side.min(axis=1) <= _NOTHING) & (side.max(axis=1) >= -_NOTHING)
    passing &= np.abs(side[:, 0] - side[:, 1]) > _NOTHING
    start, end = lines[passing, 0], lines[passing, 1]
    share = np.clip(side[passing, 0] / (side[passing, 0] - side[passing, 1]), 0.0, 1.0)
    hits = (start + share[:, None] * (end - start) - point) @ ray
    return np.asarray(hits[hits > _JUST_HERE])


def _at_height(lines: NDArray[np.float64], height: float) -> NDArray[np.float64]:
    """Position along of lines, (k, 2, 2), at a height."""
    rise = lines[:, 1, 1] - lines[:, 0, 1]
    share = (height - lines[:, 0, 1]) / np.where(rise == 0, 1.0, rise)
    return np.asarray(lines[:, 0, 0] + share * (lines[:, 1, 0] - lines[:, 0, 0]))


def _normal(
    surface: Surface, point: NDArray[np.float64], width: float
) -> NDArray[np.float64]:
    """Mean outward direction of the outline within the groove's mouth."""
    corners = surface.corners[surface.rows_near(point, width)]
    lines, rows = level_lines(corners, surface.height)
    way = lines[:, 1] - lines[:, 0]
    square = np.maximum(np.einsum("ij,ij->i", way, way), 1e-18)
    nearest = np.clip(np.einsum("ij,ij->i", point - lines[:, 0], way) / square, 0.0, 1.0)
    away = np.linalg.norm(lines[:, 0] + nearest[:, None] * way - point, axis=1)
    near = away <= width / 2
    a, b, c = (corners[rows[near], k] for k in range(3))
    normals = unit(np.cross(b - a, c - a)[:, :2])
    weights = np.minimum(np.sqrt(square[near]), width)
    return unit((normals * weights[:, None]).sum(axis=0))


def _stretches(
    corners: NDArray[np.float64],
    point: NDArray[np.float64],
    outward: NDArray[np.float64],
    height: float,
    shape: tuple[float, float],
) -> NDArray[np.float64]:
    """Heights between which the surface is upright all over the groove's mouth."""
    width, depth = shape
    across = np.array([-outward[1], outward[0]])
    common: NDArray[np.float64] | None = None
    for share in (0.0, -_MOUTH, _MOUTH):
        lines, _ = upright_lines(corners, point + share * width * across, outward)
        passing = (lines[..., 1].min(1) <= height) & (lines[..., 1].max(1) >= height)
        at = _at_height(lines[passing], height)
        at = at[np.abs(at) <= _FLAT * depth]
        if len(at) == 0:
            return np.zeros((0, 2))
        near = (np.abs(lines[..., 0] - at[0]) <= WAVER).all(axis=1)
        heights = merged(np.sort(lines[near][..., 1], axis=1))
        common = heights if common is None else in_common(common, heights)
    assert common is not None  # noqa: S101 - three turns were made
    return common[common[:, 1] - common[:, 0] >= _LEAST_HEIGHT]
