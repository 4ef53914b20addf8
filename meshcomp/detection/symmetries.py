"""Outlines that repeat as they go round: lobes, teeth, knurls."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.features import Shape

__all__ = ["lobed"]

_SAMPLES = 2520  # divides by 1 to 10 and more
_LEAST_SWING = 0.04  # mm, between the largest and the smallest radius
_LIKE = 0.06  # of the swing: how far a turned outline may differ
_MOST_OFF = 0.02  # mm
_WHOLE = 0.8  # of the swing
_AS_GOOD = 1.5
_SAME = 0.02  # of the swing
_MOST_ALIKE = 0.95  # share of the turn; edges of teeth are steep
_FEWEST = 3
_MOST = 180
_SMOOTH = np.radians(25)  # a curve's facets bend by less
_KNURL = (20, 0.12)  # at least so many, and no higher than so much of the radius


def lobed(corners: NDArray[np.float64]) -> Shape | None:
    """Name an outline, (n, 2) mm, by how often it repeats around its middle.

    Examples
    --------
    >>> turns = np.linspace(0, 2 * np.pi, 300, endpoint=False)
    >>> radii = 6 + 0.15 * np.cos(3 * turns)
    >>> shape = lobed(radii[:, None] * np.column_stack([np.cos(turns), np.sin(turns)]))
    >>> shape.name, [(name, round(value, 2)) for name, value in shape.measures]
    ('3 lobes', [('inscribed circle', 11.7), ('circumscribed circle', 12.3)])
    """
    away = corners - _middle(corners)
    radii = _radii(away)
    if radii is None or float(np.ptp(radii)) < _LEAST_SWING:
        return None
    count = _order(radii)
    if count is None:
        return None
    measures = (
        ("inscribed circle", 2 * float(radii.min())),
        ("circumscribed circle", 2 * float(radii.max())),
    )
    return Shape(name=f"{count} {_kind(away, radii, count)}", measures=measures)


def _middle(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Centre of the area inside a ring, (2,)."""
    local = corners - corners[0]
    ahead = np.roll(local, -1, axis=0)
    cross = local[:, 0] * ahead[:, 1] - local[:, 1] * ahead[:, 0]
    area = cross.sum()
    if abs(float(area)) < 1e-9:  # noqa: PLR2004 - mm²
        return np.asarray(corners.mean(axis=0))
    middle = ((local + ahead) * cross[:, None]).sum(axis=0) / (3 * area)
    return np.asarray(corners[0] + middle)


def _radii(away: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Radius at even steps of the turn, (s,); None if a ray meets the ring twice."""
    angles = np.unwrap(np.arctan2(away[:, 1], away[:, 0]))
    if angles[-1] < angles[0]:
        angles, away = angles[::-1], away[::-1]
    if np.diff(angles).min() < -np.radians(10) or abs(  # undercut teeth a little
        float(angles[-1] - angles[0]) - 2 * np.pi
    ) > np.radians(125):
        return None
    order = np.argsort(angles, kind="stable")
    angles, away = angles[order], away[order]
    at = angles[0] + 2 * np.pi * np.arange(_SAMPLES) / _SAMPLES
    # Straight between corners, not in polar coordinates.
    x = np.interp(at, np.append(angles, angles[0] + 2 * np.pi), [*away[:, 0], away[0, 0]])
    y = np.interp(at, np.append(angles, angles[0] + 2 * np.pi), [*away[:, 1], away[0, 1]])
    return np.asarray(np.hypot(x, y))


def _order(radii: NDArray[np.float64]) -> int | None:
    """How often radii repeat in a turn; None if they do not, or less than three times."""
    swings = np.maximum.accumulate(radii) - np.minimum.accumulate(radii)
    swing = float(swings[-1])
    counts = np.arange(_FEWEST, _MOST + 1)
    # A curve so turned by little is like itself: each period holds a whole swing.
    counts = counts[swings[_SAMPLES // counts] > _WHOLE * swing]
    if len(counts) == 0:
        return None
    offs = _off(radii, counts)
    best = float(offs.min())
    if best > min(max(_LIKE * swing, _MOST_OFF), swing / 4):
        return None
    # Twelve teeth repeat six times too: the most that is as good counts.
    return int(counts[offs <= _AS_GOOD * best + _SAME * swing].max())


def _off(radii: NDArray[np.float64], counts: NDArray[np.int64]) -> NDArray[np.float64]:
    """How far an outline turned by parts of a turn is off itself, mm, for each part."""
    whole, rest = np.divmod(_SAMPLES / counts, 1)
    at = (np.arange(_SAMPLES) + whole[:, None].astype(np.int64)) % _SAMPLES
    ahead = np.append(radii[1:], radii[0])
    turned = radii[at] + rest[:, None] * (ahead - radii)[at]
    place, share = divmod(_MOST_ALIKE * (_SAMPLES - 1), 1)
    near = [int(place), int(place) + 1]
    low, high = np.partition(np.abs(turned - radii), near, axis=1)[:, near].T
    return np.asarray(low + share * (high - low))


def _kind(away: NDArray[np.float64], radii: NDArray[np.float64], count: int) -> str:
    ways = np.roll(away, -1, axis=0) - away
    headings = np.arctan2(ways[:, 1], ways[:, 0])
    bends = np.abs((np.diff(headings, append=headings[0]) + np.pi) % (2 * np.pi) - np.pi)
    many, low = _KNURL
    if count >= many and float(np.ptp(radii)) < low * float(radii.mean()):
        return "ridges"
    return "lobes" if float(bends.max()) < _SMOOTH else "teeth"
