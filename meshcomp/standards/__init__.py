"""Bought parts that printed ones must fit: bearings, dowels, screws, nuts, inserts.

`standard_part("bearing 608")` returns the sizes that matter and where they are from.
"""

from meshcomp.standards.bearings import BEARINGS, Bearing, bearing
from meshcomp.standards.fasteners import CLEARANCE_HOLES, INSERT_HOLES, NUTS
from meshcomp.standards.naming import standard_part
from meshcomp.standards.pins import DOWELS
from meshcomp.standards.stocks import StandardPart

__all__ = [
    "BEARINGS",
    "CLEARANCE_HOLES",
    "DOWELS",
    "INSERT_HOLES",
    "NUTS",
    "Bearing",
    "StandardPart",
    "bearing",
    "standard_part",
]
