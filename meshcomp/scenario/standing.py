"""Parts of the filter changer that stay in place: the base plate, the motor's bracket."""

from __future__ import annotations

import numpy as np

from meshcomp.meshes import Mesh
from meshcomp.scenario.outlines import circle, rounded_rectangle
from meshcomp.scenario.outlines import slot as slot_outline
from meshcomp.scenario.prisms import cut_away, hole, laid, outside, prism, solid
from meshcomp.scenario.truths import TrueFeature, bore, bores, slot, wall

__all__ = [
    "bearing_plate",
    "bearing_plate_features",
    "stepper_bracket",
    "stepper_bracket_features",
]

_COARSE = 24
_PLATE_SCREWS = ((39.0, 28.0), (-39.0, 28.0), (-39.0, -28.0), (39.0, -28.0))
_DOWELS = ((-24.0, 26.0), (24.0, -26.0))
_FOOT_SCREWS = ((-12.0, 22.0), (12.0, 22.0))
_MOTOR_SCREWS = ((-15.5, 12.5), (15.5, 12.5), (-15.5, 43.5), (15.5, 43.5))  # x, z


def bearing_plate() -> Mesh:
    """Build the base plate that holds the bearings, coarse as many downloads are.

    True sizes in mm, about the origin, from z = 0 to 6:

    - 92 along X, 70 along Y, corners of radius 6
    - bearing seat of 22 diameter through, at (-22, 0), for a bearing of 8 x 22 x 7
    - bearing seat of 16 diameter from z = 1 to 6, at (22, 0), for one of 8 x 16 x 5;
      below it 10 through
    - four screw holes of 4.3 at (±39, ±28); two dowel holes of 5 at (-24, 26), (24, -26)
    - slot with round ends, 20 over all along X, 6 wide, at (0, -24)

    24 facets for each circle whatever its size: the seat of 22 is 21.81 across its flats.

    Examples
    --------
    >>> bearing_plate().bounds.tolist()
    [[-46.0, -35.0, 0.0], [46.0, 35.0, 6.0]]
    """
    sides = [
        outside(rounded_rectangle(92.0, 70.0, radius=6.0, facets=_COARSE), 0.0, 6.0),
        hole(circle(11.0, _COARSE, centre=(-22.0, 0.0)), 0.0, 6.0),
        hole(circle(5.0, _COARSE, centre=(22.0, 0.0)), 0.0, 1.0),
        hole(circle(8.0, _COARSE, centre=(22.0, 0.0)), 1.0, 6.0),
        hole(slot_outline(20.0, 6.0, facets=_COARSE, centre=(0.0, -24.0)), 0.0, 6.0),
    ]
    for radius, places in ((2.15, _PLATE_SCREWS), (2.5, _DOWELS)):
        sides += [hole(circle(radius, _COARSE, centre=place), 0.0, 6.0) for place in places]
    return solid(sides)


def bearing_plate_features() -> tuple[TrueFeature, ...]:
    """Return the true features of `bearing_plate`; the slot's round ends are no bores.

    Examples
    --------
    >>> len(bearing_plate_features())
    12
    """
    return (
        wall(92.0, (0.0, 0.0, 3.0), "X"),
        wall(70.0, (0.0, 0.0, 3.0), "Y"),
        bore(22.0, (-22.0, 0.0, 0.0), 0.0, 6.0),
        bore(10.0, (22.0, 0.0, 0.0), 0.0, 1.0),
        bore(16.0, (22.0, 0.0, 0.0), 1.0, 6.0),
        *bores(4.3, _PLATE_SCREWS, 0.0, 6.0),
        *bores(5.0, _DOWELS, 0.0, 6.0),
        slot(6.0, (0.0, -24.0, 3.0), "Y"),
    )


def stepper_bracket() -> Mesh:
    """Build the bracket that holds a stepper motor with its shaft lying along Y.

    True sizes in mm, standing on z = 0, x from -25 to 25:

    - foot plate 34 deep (y from 0 to 34), 5 thick, with two upright holes of 4.3 at
      x = ±12, y = 22
    - upright plate 5 thick (y from 0 to 5), up to z = 50, with lying bores along Y: 22
      diameter at x = 0, z = 28, and four of 3.2 on a square of 31 about it
    - one gusset 4 thick (x from -24 to -20), 26 along both plates, at 45 degrees

    96 facets for the bore of 22, 48 for the others. Build direction Z.

    Examples
    --------
    >>> stepper_bracket().bounds.tolist()
    [[-25.0, 0.0, 0.0], [25.0, 34.0, 50.0]]
    """
    # Outlines in Y, Z; the gusset begins inside the plates, so that all become one.
    profile = [(0, 0), (34, 0), (34, 5), (5, 5), (5, 50), (0, 50)]
    gusset = [(2.5, 2.5), (33.5, 2.5), (2.5, 33.5)]
    blanks = [
        laid(prism(np.array(profile, dtype=float), [], -25.0, 25.0), "X"),
        laid(prism(np.array(gusset, dtype=float), [], -24.0, -20.0), "X"),
    ]
    # Lying outlines are in Z, X; cutters reach 1 mm beyond the faces they pierce.
    lying = [prism(circle(11.0, 96, centre=(28.0, 0.0)), [], -1.0, 6.0)]
    lying += [
        prism(circle(1.6, 48, centre=(z, x)), [], -1.0, 6.0) for x, z in _MOTOR_SCREWS
    ]
    upright = [
        prism(circle(2.15, 48, centre=place), [], -1.0, 6.0) for place in _FOOT_SCREWS
    ]
    return cut_away(blanks, [*(laid(each, "Y") for each in lying), *upright])


def stepper_bracket_features() -> tuple[TrueFeature, ...]:
    """Return the true features of `stepper_bracket`.

    The face y = 0 belongs to two walls: the plate's thickness and the foot's depth.

    Examples
    --------
    >>> len(stepper_bracket_features())
    11
    """
    return (
        wall(50.0, (0.0, 17.0, 2.5), "X"),
        wall(34.0, (0.0, 17.0, 2.5), "Y"),
        wall(5.0, (0.0, 2.5, 28.0), "Y"),
        wall(4.0, (-22.0, 12.0, 12.0), "X"),
        *bores(4.3, _FOOT_SCREWS, 0.0, 5.0),
        bore(22.0, (0.0, 0.0, 28.0), 0.0, 5.0, along="Y"),
        *(bore(3.2, (x, 0.0, z), 0.0, 5.0, along="Y") for x, z in _MOTOR_SCREWS),
    )
