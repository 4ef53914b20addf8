"""Closed forms of profiles and of their parallel curves: lobed disc, involute, circle.

Sources, all mathematics: the lobed disc is the parallel curve, at the ring pins' radius,
of a shortened epitrochoid, so its own parallel curves are the same formula with another
pin radius; the parallel curve of an involute of a circle of radius r_b at a distance δ
is the same involute turned by δ / r_b; a facet of a circle in n facets lies
r (1 - cos(π / n)) inside it. Check values: metric gear handbooks for the base tangent
span; tests/test_outside.py names them. Lengths in mm, angles in radian, plane points
(n, 2). An `offset` is positive outward, out of the material.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

__all__ = [
    "Gear",
    "LobedDisc",
    "facets_for",
    "involute",
    "involute_function",
    "involute_turn",
    "sagitta",
]

Points = NDArray[np.float64]


def sagitta(radius: float, facets: int) -> float:
    """Return how far the facets of an inscribed polygon lie inside its circle, mm.

    Examples
    --------
    >>> round(2 * sagitta(5.0, 24), 5)
    0.08555
    """
    return float(radius * (1 - np.cos(np.pi / facets)))


def facets_for(radius: float, largest_sagitta: float) -> int:
    """Return the least number of facets whose sagitta stays within a limit.

    Examples
    --------
    >>> facets_for(5.0, 0.01), facets_for(10.0, 0.005)
    (50, 100)
    """
    return int(np.ceil(np.pi / np.arccos(1 - largest_sagitta / radius)))


@dataclass(frozen=True, slots=True, kw_only=True)
class LobedDisc:
    """Disc of a cycloidal drive: `pins` - 1 lobes, for a ring of pins about its centre.

    Examples
    --------
    >>> disc = LobedDisc(pins=12, ring_radius=40, pin_radius=4, eccentricity=1.5)
    >>> disc.points([0.0]).tolist()
    [[34.5, 0.0]]
    """

    pins: int
    ring_radius: float
    pin_radius: float
    eccentricity: float

    def points(self, parameter: ArrayLike, offset: float = 0.0) -> Points:
        """Return points of the outline moved outward by `offset`, clockwise with t."""
        t = np.asarray(parameter, dtype=float)
        psi = self._pin_angle(t)
        reach = self.pin_radius - offset
        away = np.column_stack([-np.cos(t + psi), np.sin(t + psi)])
        return self.trochoid(t) + reach * away

    def trochoid(self, parameter: ArrayLike) -> Points:
        """Return points of the shortened epitrochoid, the path of the pins' centres."""
        t, n = np.asarray(parameter, dtype=float), self.pins
        r, e = self.ring_radius, self.eccentricity
        x = r * np.cos(t) - e * np.cos(n * t)
        return np.column_stack([x, -r * np.sin(t) + e * np.sin(n * t)])

    def outline(self, count: int, offset: float = 0.0) -> Points:
        """Return a closed ring of `count` points, counter-clockwise."""
        return self.points(np.linspace(0, 2 * np.pi, count, endpoint=False), offset)[::-1]

    def offsets(self, points: ArrayLike) -> NDArray[np.float64]:
        """Return the distance of points from the outline, (n,), positive outside the disc.

        Exact while the pin radius is below the trochoid's least convex radius: the
        distance from the trochoid is found by Newton's method from a dense start.
        """
        places = np.asarray(points, dtype=float)
        start = np.linspace(0, 2 * np.pi, 200 * self.pins, endpoint=False)
        t = start[cKDTree(self.trochoid(start)).query(places)[1]]
        for _ in range(8):
            gap = self.trochoid(t) - places
            first, second = self._derivatives(t)
            slope = (gap * first).sum(axis=1)
            t = t - slope / ((first**2).sum(axis=1) + (gap * second).sum(axis=1))
        distance = np.linalg.norm(self.trochoid(t) - places, axis=1)
        return np.asarray(self.pin_radius - distance)

    def _pin_angle(self, t: Points) -> Points:
        """Angle by which the contact lies off the radius to the pin."""
        turn = (1 - self.pins) * t
        ratio = self.ring_radius / (self.eccentricity * self.pins)
        return np.asarray(np.arctan2(np.sin(turn), ratio - np.cos(turn)))

    def _derivatives(self, t: Points) -> tuple[Points, Points]:
        """First and second derivative of the trochoid."""
        n, r, e = self.pins, self.ring_radius, self.eccentricity
        x1 = -r * np.sin(t) + e * n * np.sin(n * t)
        y1 = -r * np.cos(t) + e * n * np.cos(n * t)
        x2 = -r * np.cos(t) + e * n * n * np.cos(n * t)
        y2 = r * np.sin(t) - e * n * n * np.sin(n * t)
        return np.column_stack([x1, y1]), np.column_stack([x2, y2])


def involute(roll: ArrayLike, base_radius: float, turn: float = 0.0) -> Points:
    """Return points of an involute of a circle that starts at the angle `turn`.

    Parameters
    ----------
    roll : (n,) float
        Angle by which the string is unwound counter-clockwise, >= 0.
    base_radius : float
        In mm.
    turn : float
        Adding -δ / `base_radius` gives the parallel curve on the far side of the base
        circle's tangent, where the string's free end points, at the distance δ.
    """
    t = np.asarray(roll, dtype=float)
    angle = t + turn
    x = np.cos(angle) + t * np.sin(angle)
    return np.asarray(base_radius * np.column_stack([x, np.sin(angle) - t * np.cos(angle)]))


def involute_turn(offset: float, base_radius: float) -> float:
    """Return the angle that turns an involute into its parallel curve, radian.

    Examples
    --------
    >>> involute_turn(0.05, 20.0)
    0.0025
    """
    return offset / base_radius


def involute_function(angle: ArrayLike) -> NDArray[np.float64]:
    """Return the involute function, the tangent of an angle less the angle."""
    alpha = np.asarray(angle, dtype=float)
    return np.asarray(np.tan(alpha) - alpha)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gear:
    """Spur gear with involute flanks; a tooth stands on the X axis.

    `root_radius` and `tip_radius` bound the flanks; the root must not lie below the
    base circle, where an involute ends.
    """

    teeth: int
    module: float
    root_radius: float
    tip_radius: float
    pressure_angle: float = np.pi / 9  # 20°
    profile_shift: float = 0.0

    @property
    def base_radius(self) -> float:
        """Radius of the base circle, mm."""
        return float(self.module * self.teeth / 2 * np.cos(self.pressure_angle))

    def half_angle(self, radius: ArrayLike, offset: float = 0.0) -> NDArray[np.float64]:
        """Return half the angle a tooth takes at a radius, its flanks moved by `offset`."""
        alpha = np.arccos(self.base_radius / np.asarray(radius, dtype=float))
        slant = np.tan(self.pressure_angle)
        at_pitch = (np.pi / 2 + 2 * self.profile_shift * slant) / self.teeth
        inv = involute_function(self.pressure_angle) - involute_function(alpha)
        return np.asarray(at_pitch + inv + involute_turn(offset, self.base_radius))

    def span(self, teeth_spanned: int, offset: float = 0.0) -> float:
        """Return the base tangent span over a number of teeth, mm."""
        at_base = 2 * float(self.half_angle(self.base_radius, offset))
        pitches = 2 * np.pi * (teeth_spanned - 1) / self.teeth
        return float(self.base_radius * (at_base + pitches))

    def outline(self, per_flank: int = 12, offset: float = 0.0) -> Points:
        """Return a closed ring, counter-clockwise, all of it moved outward by `offset`.

        Flanks carry `per_flank` points on the involute, from the root circle to the tip
        circle; tips and roots are arcs of five edges.

        Raises
        ------
        ValueError
            If the flanks would begin below the base circle.
        """
        root, tip = self.root_radius + offset, self.tip_radius + offset
        if root < self.base_radius:
            raise ValueError(f"root {root} mm is below the base circle {self.base_radius}")
        radii = np.linspace(root, tip, per_flank)
        half = self.half_angle(radii, offset)
        pitch = 2 * np.pi / self.teeth
        over_tip = np.linspace(-half[-1], half[-1], 6)[1:-1]
        in_root = np.linspace(half[0], pitch - half[0], 6)[1:-1]
        angles = np.concatenate([-half, over_tip, half[::-1], in_root])
        reach = np.concatenate([radii, np.full(4, tip), radii[::-1], np.full(4, root)])
        turned = angles + pitch * np.arange(self.teeth)[:, None]
        x, y = reach * np.cos(turned), reach * np.sin(turned)
        return np.column_stack([x.ravel(), y.ravel()])

    def flank_offsets(self, points: ArrayLike) -> NDArray[np.float64]:
        """Return the distance of points from the nearest flank, (n,), positive outside."""
        x, y = np.asarray(points, dtype=float).T
        pitch = 2 * np.pi / self.teeth
        angle = np.arctan2(y, x)
        from_tooth = np.abs(angle - pitch * np.round(angle / pitch))
        return np.asarray(self.base_radius * (from_tooth - self.half_angle(np.hypot(x, y))))
