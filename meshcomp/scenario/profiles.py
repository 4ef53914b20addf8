"""Outlines of involute gears and of the lobed discs of cycloidal drives.

Like all outlines: (n, 2) float in mm, counter-clockwise, corners on the true curves.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi, radians, sin, sqrt, tan

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meshcomp.errors import OptionError
from meshcomp.scenario.outlines import Outline, turned

__all__ = ["Gear", "LobedDisc", "gear_outline", "involute", "lobed_outline"]

_ADDENDUM = 1.0  # ISO 53 basic rack tooth profile A, times the module
_DEDENDUM = 1.25
_TIP_ROUNDING = 0.38


@dataclass(frozen=True, slots=True, kw_only=True)
class Gear:
    """An external spur gear on the basic rack of ISO 53, profile A; lengths in mm.

    Examples
    --------
    >>> pinion = Gear(module=1.25, teeth=16)
    >>> pinion.tip_radius, pinion.root_radius
    (11.25, 8.4375)
    """

    module: float
    teeth: int
    shift: float = 0.0  # profile shift coefficient
    pressure_angle: float = 20.0  # degrees

    @property
    def pitch_radius(self) -> float:
        """Radius of the reference circle."""
        return self.module * self.teeth / 2

    @property
    def base_radius(self) -> float:
        """Radius of the circle the involutes unroll from."""
        return self.pitch_radius * cos(radians(self.pressure_angle))

    @property
    def tip_radius(self) -> float:
        """Radius over the teeth."""
        return self.pitch_radius + (_ADDENDUM + self.shift) * self.module

    @property
    def root_radius(self) -> float:
        """Radius at the bottom of the spaces."""
        return self.pitch_radius - (_DEDENDUM - self.shift) * self.module


def involute(base_radius: float, rolls: ArrayLike) -> Outline:
    """Return points of the involute of a circle that begins on X.

    Parameters
    ----------
    base_radius : float
        Of the circle, mm.
    rolls : (n,) float
        Angles unrolled, radian: the tangents of the pressure angles at the points.

    Returns
    -------
    points : (n, 2) float
        In mm.

    Examples
    --------
    >>> involute(10.0, [0.0]).tolist()
    [[10.0, 0.0]]
    """
    t = np.asarray(rolls, dtype=float)
    return base_radius * np.column_stack(
        [np.cos(t) + t * np.sin(t), np.sin(t) - t * np.cos(t)]
    )


def gear_outline(gear: Gear, *, flank: int, fillet: int) -> Outline:
    """Return the outline of a gear as a rack-shaped tool with rounded tips cuts it.

    The flanks are involutes, the roots the parallel curve of the trochoid that the
    centre of the tool's tip rounding runs through.

    Parameters
    ----------
    gear : Gear
        Its sizes. A tooth space lies in the direction of X.
    flank, fillet : int
        Facets of each involute and of each root curve.

    Raises
    ------
    OptionError
        If the teeth would end in points below the tip circle.

    Examples
    --------
    >>> gear_outline(Gear(module=1.25, teeth=16), flank=10, fillet=6).shape
    (560, 2)
    """
    root = _root_curve(gear, fillet)
    # Roll angle = tangent of the pressure angle, at both ends of the involute.
    start, end = _roll(gear, float(np.hypot(*root[-1]))), _roll(gear, gear.tip_radius)
    flank_points = involute(gear.base_radius, np.linspace(start, end, flank + 1)[1:])
    flank_points = turned(flank_points, _involute_start(gear))
    half_pitch = pi / gear.teeth
    if np.arctan2(*flank_points[-1, ::-1]) >= half_pitch:
        raise OptionError(
            f"the teeth of module {gear.module} mm, {gear.teeth} teeth and shift "
            f"{gear.shift} end in points below the tip circle: take less shift"
        )
    tip = gear.tip_radius * np.array([[cos(half_pitch), sin(half_pitch)]])
    half = np.concatenate([root, flank_points])
    # The second half mirrors the first in the tooth's middle line.
    mirrored = turned(half[::-1] * (1, -1), 2 * half_pitch)
    one = np.concatenate([half, tip, mirrored])
    return np.concatenate([turned(one, 2 * half_pitch * k) for k in range(gear.teeth)])


def _roll(gear: Gear, radius: float) -> float:
    """Roll angle of the involute at a radius, radian."""
    return sqrt(max((radius / gear.base_radius) ** 2 - 1, 0.0))


def _involute_start(gear: Gear) -> float:
    """Angle from the middle of a space to where its involute begins, radian."""
    angle = radians(gear.pressure_angle)
    half_space = (pi / 2 - 2 * gear.shift * tan(angle)) / gear.teeth
    return half_space - (tan(angle) - angle)


def _root_curve(gear: Gear, segments: int) -> Outline:
    """Root from the bottom of the space about X to the involute, ends included."""
    return _root_points(gear, np.linspace(0.0, _last_reach(gear), segments + 1))


def _tip_centre(gear: Gear) -> tuple[float, float]:
    """Place of the tool's tip rounding: from its tooth's middle, below the pitch line."""
    angle = radians(gear.pressure_angle)
    depth = (_DEDENDUM - _TIP_ROUNDING) * gear.module
    across = pi * gear.module / 4 - depth * tan(angle)
    across -= _TIP_ROUNDING * gear.module / cos(angle)
    return across, depth - gear.shift * gear.module


def _root_points(gear: Gear, reaches: ArrayLike) -> Outline:
    """Root curve where the rounding's centre is a reach past the pitch point, mm."""
    reach = np.asarray(reaches, dtype=float)
    across, depth = _tip_centre(gear)
    # The common normal of tool and root runs through the pitch point: that is the
    # law of gearing, and gives the point of the rounding that cuts.
    lengths = np.hypot(reach, depth)
    stretch = 1 + _TIP_ROUNDING * gear.module / lengths
    x = gear.pitch_radius - depth * stretch
    y = reach * stretch
    roll = (across - reach) / gear.pitch_radius  # turns the gear as the tool moves
    c, s = np.cos(roll), np.sin(roll)
    return np.column_stack([c * x - s * y, s * x + c * y])


def _last_reach(gear: Gear) -> float:
    """Where the root curve meets the involute, as a reach for `_root_points`."""
    angle = radians(gear.pressure_angle)
    end = _tip_centre(gear)[1] / tan(angle)  # the rounding ends at the straight flank
    flank_depth = _DEDENDUM - _TIP_ROUNDING * (1 - sin(angle)) - gear.shift
    if flank_depth * gear.module <= gear.pitch_radius * sin(angle) ** 2:
        return end  # no undercut: both meet tangentially

    from scipy.optimize import brentq

    def gap(reach: float) -> float:
        point = _root_points(gear, [reach])[0]
        roll = _roll(gear, float(np.hypot(*point)))
        on_involute = turned(involute(gear.base_radius, [roll]), _involute_start(gear))
        return float(np.arctan2(*point[::-1]) - np.arctan2(*on_involute[0, ::-1]))

    def above_base(reach: float) -> float:
        return float(np.hypot(*_root_points(gear, [reach])[0]) - gear.base_radius)

    lowest = brentq(above_base, 0.0, end, xtol=1e-13)
    return float(brentq(gap, lowest, end, xtol=1e-13))


@dataclass(frozen=True, slots=True, kw_only=True)
class LobedDisc:
    """Disc of a cycloidal drive, which has one lobe fewer than its ring has pins.

    Its outline is the parallel curve, at the pins' radius, of a shortened epitrochoid.

    Examples
    --------
    >>> disc = LobedDisc(ring_radius=40.0, pin_radius=4.0, eccentricity=1.5, pins=12)
    >>> disc.greatest_radius, disc.least_radius
    (37.5, 34.5)
    """

    ring_radius: float  # of the circle on which the pins stand, mm
    pin_radius: float  # mm
    eccentricity: float  # mm
    pins: int

    @property
    def greatest_radius(self) -> float:
        """Radius over the lobes, mm."""
        return self.ring_radius + self.eccentricity - self.pin_radius

    @property
    def least_radius(self) -> float:
        """Radius at the bottom of the hollows, mm."""
        return self.ring_radius - self.eccentricity - self.pin_radius

    @property
    def undercut_radius(self) -> float:
        """Least convex radius of the trochoid, mm: thicker pins would undercut."""
        radii = _trochoid_radius(self, np.linspace(0, pi / (self.pins - 1), 20001))
        return float(radii[radii > 0].min())

    def points(self, angles: ArrayLike) -> Outline:
        """Return points of the outline, (n, 2) float, mm, at parameters in radian.

        Growing parameters run clockwise.
        """
        t = np.asarray(angles, dtype=float)
        n, e = self.pins, self.eccentricity
        ratio = self.ring_radius / (e * n)
        psi = np.arctan2(np.sin((1 - n) * t), ratio - np.cos((1 - n) * t))
        x = self.ring_radius * np.cos(t) - e * np.cos(n * t)
        y = -self.ring_radius * np.sin(t) + e * np.sin(n * t)
        inward = np.column_stack([-np.cos(t + psi), np.sin(t + psi)])
        return np.column_stack([x, y]) + self.pin_radius * inward


def _trochoid_radius(disc: LobedDisc, t: NDArray[np.float64]) -> NDArray[np.float64]:
    """Radius of curvature of the pins' trochoid, positive where convex, mm."""
    r, e, n = disc.ring_radius, disc.eccentricity, disc.pins
    turn = r * e * n * np.cos((n - 1) * t)
    speed = r**2 + (e * n) ** 2 - 2 * turn
    return np.asarray(speed**1.5 / (r**2 + e**2 * n**3 - (n + 1) * turn))


def lobed_outline(disc: LobedDisc, *, sagitta: float) -> Outline:
    """Return the outline of a lobed disc, finer where it bends more.

    Parameters
    ----------
    disc : LobedDisc
        Its sizes. The bottom of a hollow lies in the direction of X.
    sagitta : float
        Gap between the middle of a facet and the curve, mm, which the facets keep to
        within a few hundredths of it.

    Raises
    ------
    OptionError
        If the ring's pins are so thick that they would undercut the lobes.

    Examples
    --------
    >>> disc = LobedDisc(ring_radius=30.0, pin_radius=3.0, eccentricity=1.0, pins=11)
    >>> outline = lobed_outline(disc, sagitta=0.005)
    >>> round(float(outline[0, 0]), 9), len(outline) % 10
    (26.0, 0)
    """
    if disc.pin_radius >= disc.undercut_radius:
        raise OptionError(
            f"pins of radius {disc.pin_radius} mm undercut the lobes: the trochoid bends "
            f"as sharply as {disc.undercut_radius:.3f} mm; take thinner pins or less "
            "eccentricity"
        )
    lobe = 2 * pi / (disc.pins - 1)
    t = np.linspace(0.0, lobe, 4001)
    radii = _trochoid_radius(disc, t) - disc.pin_radius
    steps = np.linalg.norm(np.diff(disc.points(t), axis=0), axis=1)
    # A facet of length c over a curve of radius r has the sagitta c² / 8 r.
    facets = steps / np.sqrt(8 * sagitta * np.abs(radii[:-1] + radii[1:]) / 2)
    progress = np.concatenate([[0.0], np.cumsum(facets)])
    count = int(np.ceil(progress[-1]))
    chosen = np.interp(np.arange(count) / count * progress[-1], progress, t)
    turns = lobe * np.arange(disc.pins - 1)
    points = disc.points((turns[:, None] + chosen).reshape(-1))
    return np.roll(points[::-1], 1, axis=0)  # counter-clockwise from the first point
