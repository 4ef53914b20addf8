"""What a part is: the state of its solid and the features found in it: data only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.features import Cylinder, Feature, Group, Pattern, Wall
from meshcomp.parts import Part

__all__ = ["Inspection", "SolidState", "StandCount"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SolidState:
    """State of a solid, in the file's frame, mm."""

    is_watertight: bool
    bodies: int
    genus: int  # sum over bodies: through holes, counted as handles
    volume: float  # mm³
    bounds: tuple[tuple[float, float, float], tuple[float, float, float]]
    triangles: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StandCount:
    """How many bores would stand, lie or lean with a direction of the file up."""

    up: str
    standing: int
    lying: int
    leaning: int


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Inspection:
    """A part, the state of its solid, its features and what its stand means."""

    part: Part
    solid: SolidState
    features: tuple[Feature, ...]  # in the bed's frame, sorted by id
    internal_faces: NDArray[np.bool_]  # (m,) wall faces that bound a pocket or a bore
    stands: tuple[StandCount, ...]  # the present stand first, then those that do better
    notes: tuple[str, ...]  # doubts for a person: units, sizes that look adjusted
    groups: tuple[Group, ...] = ()  # holes of several steps, shafts, coaxial chains
    patterns: tuple[Pattern, ...] = ()  # bolt circles, grids and rows

    @property
    def cylinders(self) -> tuple[Cylinder, ...]:
        """The bores and bosses."""
        return tuple(f for f in self.features if isinstance(f, Cylinder))

    @property
    def walls(self) -> tuple[Wall, ...]:
        """The walls, slots and profiles."""
        return tuple(f for f in self.features if isinstance(f, Wall))
