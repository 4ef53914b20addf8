"""Parts of the filter changer's drive: a lobed disc, its ring of pins and a pinion."""

from __future__ import annotations

from meshcomp.meshes import Mesh
from meshcomp.scenario.outlines import (
    circle,
    facets_for,
    keyed_bore,
    on_circle,
    rounded_rectangle,
)
from meshcomp.scenario.prisms import hole, outside, prism, solid
from meshcomp.scenario.profiles import Gear, LobedDisc, gear_outline, lobed_outline
from meshcomp.scenario.truths import Place, TrueFeature, bore, bores, slot, wall

__all__ = [
    "DISC",
    "PINION",
    "lobed_disc",
    "lobed_disc_features",
    "pin_ring",
    "pin_ring_features",
    "pinion",
    "pinion_features",
]

DISC = LobedDisc(ring_radius=30.0, pin_radius=3.0, eccentricity=1.0, pins=11)
PINION = Gear(module=1.25, teeth=16)

_CENTRE: Place = (0.0, 0.0, 0.0)
_OUTPUT_PLACES = on_circle(5, 16.0)
_PIN_PLACES = on_circle(DISC.pins, DISC.ring_radius)
_RING_SCREWS = ((33.0, 33.0), (-33.0, 33.0), (-33.0, -33.0), (33.0, -33.0))
_RING_SAGITTA = 0.01  # mm


def lobed_disc() -> Mesh:
    """Build the disc of the cycloidal drive that steps the wheel down ten to one.

    True sizes in mm, from z = 0 to 6:

    - ten lobes for a ring of 11 pins of radius 3 on a circle of radius 30, eccentricity
      1.0: radius 28 over the lobes, 26 in the hollows, one of which points along X; the
      pins could have a radius up to 11.132 before they undercut the lobes
    - bore of 10 for the eccentric
    - five output holes of 7 on a pitch circle of 32, the first one in the direction of X

    The outline keeps to a sagitta of 0.005 mm; 96 facets for the bore, 48 for each hole.

    Examples
    --------
    >>> lobed_disc().bounds[:, 2].tolist()
    [0.0, 6.0]
    """
    holes = [circle(5.0, 96)]
    holes += [circle(3.5, 48, centre=place) for place in _OUTPUT_PLACES]
    return prism(lobed_outline(DISC, sagitta=0.005), holes, 0.0, 6.0)


def lobed_disc_features() -> tuple[TrueFeature, ...]:
    """Return the true features of `lobed_disc`; its lobes have no size of their own.

    Examples
    --------
    >>> len(lobed_disc_features())
    6
    """
    return (
        bore(10.0, _CENTRE, 0.0, 6.0),
        *bores(7.0, _OUTPUT_PLACES, 0.0, 6.0),
    )


def pin_ring() -> Mesh:
    """Build the housing that holds the pins round the lobed disc.

    True sizes in mm, standing on z = 0:

    - outside 78 square with corners of radius 8, 12 high
    - floor 5 thick with 11 pin holes of 6 through, on a pitch circle of 60, the first
      one in the direction of X, and a bearing seat of 22 through
    - cavity of 70 diameter from z = 5 to 12
    - four screw holes of 3.2 through the whole height at (±33, ±33)

    All circles keep to a sagitta of 0.01 mm.

    Examples
    --------
    >>> pin_ring().bounds.tolist()
    [[-39.0, -39.0, 0.0], [39.0, 39.0, 12.0]]
    """
    corner_facets = -(-facets_for(8.0, _RING_SAGITTA) // 4) * 4
    outer = rounded_rectangle(78.0, 78.0, radius=8.0, facets=corner_facets)
    sides = [
        outside(outer, 0.0, 12.0),
        hole(circle(11.0, facets_for(11.0, _RING_SAGITTA)), 0.0, 5.0),
        hole(circle(35.0, facets_for(35.0, _RING_SAGITTA)), 5.0, 12.0),
    ]
    for radius, places, top in ((3.0, _PIN_PLACES, 5.0), (1.6, _RING_SCREWS, 12.0)):
        facets = facets_for(radius, _RING_SAGITTA)
        sides += [hole(circle(radius, facets, centre=place), 0.0, top) for place in places]
    return solid(sides)


def pin_ring_features() -> tuple[TrueFeature, ...]:
    """Return the true features of `pin_ring`.

    Examples
    --------
    >>> len(pin_ring_features())
    19
    """
    return (
        wall(78.0, (0.0, 0.0, 6.0), "X"),
        wall(78.0, (0.0, 0.0, 6.0), "Y"),
        bore(22.0, _CENTRE, 0.0, 5.0),
        bore(70.0, _CENTRE, 5.0, 12.0),
        *bores(6.0, _PIN_PLACES, 0.0, 5.0),
        *bores(3.2, _RING_SCREWS, 0.0, 12.0),
    )


def pinion() -> Mesh:
    """Build the pinion on the motor's shaft.

    True sizes in mm, from z = 0 to 8: involute spur gear of module 1.25, 16 teeth,
    pressure angle 20 degrees, no profile shift, on the basic rack of ISO 53, profile A:
    20 pitch, 22.5 tip and 16.875 root diameter; a space lies in the direction of X. Bore
    of 5 with one keyway 2 wide in the direction of Y, its bottom 3.5 from the axis. Each
    flank has 10 facets, each root curve 6, the bore 48.

    Examples
    --------
    >>> pinion().bounds[:, 2].tolist()
    [0.0, 8.0]
    """
    return prism(
        gear_outline(PINION, flank=10, fillet=6),
        [keyed_bore(2.5, 48, width=2.0, reach=3.5)],
        0.0,
        8.0,
    )


def pinion_features() -> tuple[TrueFeature, ...]:
    """Return the true features of `pinion`; teeth are neither bosses nor walls.

    Examples
    --------
    >>> len(pinion_features())
    2
    """
    return (
        bore(5.0, _CENTRE, 0.0, 8.0),
        slot(2.0, (0.0, 3.0, 4.0), "X"),
    )
