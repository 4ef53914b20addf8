"""Cut seats for the seam into round features and profiles, and prove them."""

from meshcomp.grooving.cutting import grooved, grooves_planned
from meshcomp.grooving.proving import groove_checks

__all__ = ["groove_checks", "grooved", "grooves_planned"]
