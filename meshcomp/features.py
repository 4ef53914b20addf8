"""Features of size found in a part: data only, in the bed's frame (Z up), mm."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

__all__ = ["Cylinder", "Feature", "Wall"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Cylinder:
    """A bore or a boss: faces on one cylinder, with the flares that end it.

    `entry_faces` are the chamfers, countersinks and fillets about the same axis at its
    ends: they follow the cylinder, so that they keep their depth and their angle.
    """

    id: str
    kind: str  # "bore" or "boss"
    nominal_size: float  # diameter of the vertices' circle, mm
    point: NDArray[np.float64]  # (3,) on the axis, midway between the ends
    direction: NDArray[np.float64]  # (3,) unit
    start: float  # position of the lower end along `direction`, mm
    end: float
    is_through: bool
    span: float  # angle covered, degrees
    build_angle: float  # axis to build direction, degrees
    facets: int
    size_across_flats: float  # mm
    form_deviation: float  # largest distance of a vertex from the cylinder, mm
    faces: NDArray[np.int64]
    entry_faces: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))
    notes: tuple[str, ...] = ()

    @property
    def is_internal(self) -> bool:
        """Whether material lies outside the cylinder."""
        return self.kind == "bore"

    @property
    def sagitta(self) -> float:
        """Largest gap between a facet's middle and the circle, mm."""
        return (self.nominal_size - self.size_across_flats) / 2


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Wall:
    """Upright faces that are not part of a cylinder.

    kind "wall": two parallel planes with material between, nominal size their distance;
    kind "slot": two parallel planes of a pocket, with void between;
    kind "profile": every other wall, with no size of its own.
    """

    id: str
    kind: str  # "wall", "slot" or "profile"
    is_internal: bool
    nominal_size: float | None  # distance of the two planes, mm
    point: NDArray[np.float64]  # (3,) midway between the planes, or a profile's middle
    direction: NDArray[np.float64]  # (3,) unit: across the planes, or build direction
    start: float  # positions of the planes, or of a profile's ends, along `direction`
    end: float
    level: tuple[float, float]  # lowest and highest point, mm
    curve_length: float | None  # length of a profile's outline, mm
    faces: NDArray[np.int64]
    notes: tuple[str, ...] = ()


Feature = Cylinder | Wall
