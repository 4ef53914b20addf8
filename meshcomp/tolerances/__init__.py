"""Limits and fits by ISO 286-1, for sizes to 500 mm.

`parse_zone("22 H7")` and `parse_fit("8 H7/p6")` read what stands on a drawing; `zone`
and `Fit` are the same from numbers.
"""

from meshcomp.tolerances.fits import Fit, parse_fit
from meshcomp.tolerances.grades import GRADES, grade_of_width, standard_tolerance
from meshcomp.tolerances.letters import HOLES, SHAFTS, fundamental_deviation
from meshcomp.tolerances.zones import Zone, limit_pair, parse_zone, zone, zone_at

__all__ = [
    "GRADES",
    "HOLES",
    "SHAFTS",
    "Fit",
    "Zone",
    "fundamental_deviation",
    "grade_of_width",
    "limit_pair",
    "parse_fit",
    "parse_zone",
    "standard_tolerance",
    "zone",
    "zone_at",
]
