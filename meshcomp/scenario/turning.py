"""Parts of the filter changer that turn: the wheel, the spacer on its shaft, the knob."""

from __future__ import annotations

from math import radians, tan

import numpy as np

from meshcomp.meshes import Mesh
from meshcomp.scenario.outlines import (
    Outline,
    circle,
    facets_for,
    notched_circle,
    on_circle,
    scalloped,
)
from meshcomp.scenario.prisms import hole, outside, solid
from meshcomp.scenario.truths import Place, TrueFeature, bore, bores, boss

__all__ = [
    "indexing_wheel",
    "indexing_wheel_features",
    "knob",
    "knob_features",
    "shaft_spacer",
    "shaft_spacer_features",
]

_CENTRE: Place = (0.0, 0.0, 0.0)
_SEAT_PLACES = on_circle(5, 27.5)
_SCREW_PLACES = on_circle(5, 34.0, start=36.0)


def indexing_wheel() -> Mesh:
    """Build the wheel that carries five filters of one inch.

    True sizes in mm, standing on z = 0:

    - disc of 86 diameter, 6 thick; hub of 25 diameter up to z = 10
    - five filter seats on a pitch circle of 55, the first one in the direction of X:
      25.4 diameter through, counterbore of 28.5 from z = 3.5 to 6
    - bearing seat of 22 diameter from z = 5.5 to 10; below it 12 through
    - five screw holes of 3.2 on a pitch circle of 68, midway between the seats
    - five V notches of 90 degrees in the rim, 2.5 deep, in line with the screws

    The rim's facets keep to a sagitta of 0.01 mm; 96 facets for hub, bearing seat and
    shaft hole, 72 for each circle of a filter seat, 48 for each screw hole.

    Examples
    --------
    >>> indexing_wheel().bounds[1].round(3).tolist()
    [43.0, 42.998, 10.0]
    """
    segments = -(-facets_for(43.0, 0.01) // 5)
    rim = notched_circle(43.0, notches=5, depth=2.5, segments=segments, start=36.0)
    bearing = circle(11.0, 96)
    sides = [
        outside(rim, 0.0, 6.0),
        outside(circle(12.5, 96), 6.0, 10.0),
        hole(circle(6.0, 96), 0.0, 5.5),
        hole(bearing, 5.5, 10.0),
    ]
    for place in _SEAT_PLACES:
        sides.append(hole(circle(12.7, 72, centre=place), 0.0, 3.5))
        sides.append(hole(circle(14.25, 72, centre=place), 3.5, 6.0))
    sides += [hole(circle(1.6, 48, centre=place), 0.0, 6.0) for place in _SCREW_PLACES]
    return solid(sides)


def indexing_wheel_features() -> tuple[TrueFeature, ...]:
    """Return the true features of `indexing_wheel`.

    Examples
    --------
    >>> len(indexing_wheel_features())
    19
    """
    return (
        boss(86.0, _CENTRE, 0.0, 6.0),
        boss(25.0, _CENTRE, 6.0, 10.0),
        bore(12.0, _CENTRE, 0.0, 5.5),
        bore(22.0, _CENTRE, 5.5, 10.0),
        *bores(25.4, _SEAT_PLACES, 0.0, 3.5),
        *bores(28.5, _SEAT_PLACES, 3.5, 6.0),
        *bores(3.2, _SCREW_PLACES, 0.0, 6.0),
    )


def shaft_spacer() -> Mesh:
    """Build the spacer that stands between two bearings on the wheel's shaft.

    True sizes in mm, standing on z = 0: 12 outside diameter, bore of 8, 14 long;
    chamfers of 0.6 at 45 degrees at both ends, outside and inside. 48 facets.

    Examples
    --------
    >>> shaft_spacer().bounds[1].tolist()
    [6.0, 6.0, 14.0]
    """
    outer, inner = circle(6.0, 48), circle(4.0, 48)
    outer_end, inner_end = circle(5.4, 48), circle(4.6, 48)
    return solid(
        [
            outside(outer_end, 0.0, 0.6, upper=outer),
            outside(outer, 0.6, 13.4),
            outside(outer, 13.4, 14.0, upper=outer_end),
            hole(inner_end, 0.0, 0.6, upper=inner),
            hole(inner, 0.6, 13.4),
            hole(inner, 13.4, 14.0, upper=inner_end),
        ]
    )


def shaft_spacer_features() -> tuple[TrueFeature, ...]:
    """Return the true features of `shaft_spacer`; its chamfers are none.

    Examples
    --------
    >>> len(shaft_spacer_features())
    2
    """
    return (boss(12.0, _CENTRE, 0.6, 13.4), bore(8.0, _CENTRE, 0.6, 13.4))


def knob() -> Mesh:
    """Build the knob by which the wheel is turned by hand.

    True sizes in mm, standing on z = 0: 34 diameter over its 12 lobes at the foot,
    where lobes and hollows have radii of 3; 14 high, with a draft of 2 degrees, so that
    the top is 2 x 14 tan 2° = 0.978 less; blind bore of 6 from below, 9 deep, with a flat
    floor. Facets keep to a sagitta of 0.01 mm at the foot.

    Examples
    --------
    >>> knob().bounds.round(3).tolist()
    [[-17.0, -17.0, 0.0], [17.0, 17.0, 14.0]]
    """
    drawn_in = 14.0 * tan(radians(2.0))
    outer = outside(_grip(0.0), 0.0, 14.0, upper=_grip(drawn_in))
    return solid([outer, hole(circle(3.0, 64), 0.0, 9.0)])


def _grip(drawn_in: float) -> Outline:
    """Outline of the knob, moved inward by a distance in mm."""
    # Arcs of lobes span 104 degrees, those of hollows less.
    segments = int(np.ceil(facets_for(3.0, 0.01) * 104.3 / 360))
    return scalloped(
        12,
        14.0,
        tip_radius=3.0 - drawn_in,
        valley_radius=3.0 + drawn_in,
        segments=segments,
    )


def knob_features() -> tuple[TrueFeature, ...]:
    """Return the true features of `knob`; lobes and draft have no size of their own.

    Examples
    --------
    >>> len(knob_features())
    1
    """
    return (bore(6.0, _CENTRE, 0.0, 9.0),)
