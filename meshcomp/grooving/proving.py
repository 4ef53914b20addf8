"""Measure grooves in sections of the written file, and compare them with the plan.

What is looked at are the points of the outlines: the apex, and on either side of it the
last point of the straight side of the V, where it leaves the surface. That point has to
lie on the side as planned; how far along it the surface decides, which may waver a little.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import unit
from meshcomp.meshes import Mesh
from meshcomp.remeasuring.outlines import Outline, outline_of
from meshcomp.results import Check
from meshcomp.seams import WAVER, Groove, SeamReport
from meshcomp.sections import rings_at
from meshcomp.topology import topology_of

__all__ = ["groove_checks"]

_AT = (0.31, 0.5, 0.73)  # shares of a stretch
_NEAR = 0.02  # mm, an apex to its place
_PLACE_LIMIT = 0.002  # mm
_AREA_SHARE = 0.02
_DECIMALS = 6
_STRAIGHT = 3e-4  # mm, a point to the line of a side
_DIRECTION = 0.3  # of the depth
_MOST_POINTS = 200


@dataclass(frozen=True, slots=True)
class _Seen:
    """What a section shows of a groove: how far off its corners are, and its area."""

    apex: float  # mm
    side: float  # mm, ends of the sides from their lines
    along: float  # mm, the same along those lines
    area: float  # mm²


def groove_checks(report: SeamReport, written: Mesh) -> tuple[Check, ...]:
    """Compare the grooves of a written file with what was planned.

    Parameters
    ----------
    report : SeamReport
        The grooves as planned.
    written : Mesh
        The file, read back; closed.
    """
    if not report.grooves:
        return ()
    places = {g.feature_id: _heights(g) for g in report.grooves}
    heights = sorted({z for own in places.values() for z in own})
    rings = rings_at(written, topology_of(written), np.eye(3), heights)
    outlines = {z: outline_of(r) for z, r in zip(heights, rings, strict=True)}
    seen = [
        (groove, _seen(groove, outlines[z]))
        for groove in report.grooves
        for z in places[groove.feature_id]
    ]
    found = [(groove, what) for groove, what in seen if what is not None]
    wrong = {g.feature_id for g, what in seen if not _is_planned(g, what)}
    total = len(report.grooves)
    figure = f"{total - len(wrong)} of {total} as planned in {len(seen)} sections"
    if found:
        place = max(max(what.apex, what.side) for _, what in found)
        area = max(abs(what.area - groove.area) for groove, what in found)
        figure += f", places within {place * 1000:.2f} µm, areas within {area:.6f} mm²"
    if wrong:
        figure += f"; not so: {', '.join(sorted(wrong))}"
    return (Check(name="grooves for the seam", passed=not wrong, figure=figure),)


def _heights(groove: Groove) -> list[float]:
    return [
        round(low + share * (high - low), _DECIMALS)
        for low, high in groove.stretches
        for share in _AT
    ]


def _is_planned(groove: Groove, seen: _Seen | None) -> bool:
    return (
        seen is not None
        and max(seen.apex, seen.side) <= _PLACE_LIMIT
        and seen.along <= _PLACE_LIMIT + WAVER * _slant(groove)
        and abs(seen.area - groove.area) <= _AREA_SHARE * groove.area + WAVER * groove.width
    )


def _slant(groove: Groove) -> float:
    """Length of a side of the V by its depth: it meets a surface so much farther along."""
    return float(np.hypot(1.0, groove.width / 2 / groove.depth))


def _seen(groove: Groove, outline: Outline) -> _Seen | None:
    """Measure a groove in one section; None where there is no corner at its apex."""
    if not len(outline.points):
        return None
    away = np.linalg.norm(outline.points - groove.apex, axis=1)
    corner = int(np.argmin(away))
    if away[corner] > _NEAR:
        return None
    following = outline.following
    before = np.zeros_like(following)
    before[following] = np.arange(len(following))
    apex = outline.points[corner]
    ends = np.array(
        [_last_straight(outline.points, corner, way, groove) for way in (before, following)]
    )
    one, two = ends - apex
    triangle = abs(float(one[0] * two[1] - one[1] * two[0])) / 2
    side, along = _off(ends, groove)
    return _Seen(
        apex=float(away[corner]),
        side=side,
        along=along,
        area=triangle + groove.bulge,
    )


def _last_straight(
    points: NDArray[np.float64], corner: int, way: NDArray[np.int64], groove: Groove
) -> NDArray[np.float64]:
    """Last point of the straight line that leaves a corner one way round the ring."""
    walked = [int(way[corner])]
    longest = 2 * float(np.hypot(groove.width, groove.depth))
    while len(walked) < _MOST_POINTS:
        following = int(way[walked[-1]])
        if np.linalg.norm(points[following] - points[corner]) > longest:
            break
        walked.append(following)
    away = points[walked] - points[corner]
    far = np.linalg.norm(away, axis=1)
    # Points next to the apex have no direction to speak of.
    first = int(np.argmax(far > _DIRECTION * groove.depth))
    side = away[first] / far[first]
    off = np.abs(away[:, 0] * side[1] - away[:, 1] * side[0])
    straight = np.flatnonzero((off > _STRAIGHT) & (np.arange(len(off)) > first))
    last = int(straight[0]) - 1 if len(straight) else len(off) - 1
    return np.asarray(points[walked[last]])


def _off(found: NDArray[np.float64], groove: Groove) -> tuple[float, float]:
    """How far the ends of two sides lie off the lines planned, and off along them."""
    planned = np.array(groove.mouth)
    if (
        np.linalg.norm(found - planned, axis=1).sum()
        > np.linalg.norm(found - planned[::-1], axis=1).sum()
    ):
        planned = planned[::-1]
    ways = unit(planned - np.array(groove.apex))
    off = found - planned
    across = np.abs(off[:, 0] * ways[:, 1] - off[:, 1] * ways[:, 0])
    return float(across.max()), float(np.abs((off * ways).sum(axis=1)).max())
