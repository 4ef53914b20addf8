"""Features of size found in a part: data only, in the bed's frame (Z up), mm."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

__all__ = ["Cylinder", "Feature", "Flare", "Group", "Pattern", "Shape", "Wall"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Flare:
    """A surface of revolution that ends a cylinder: a cone or a rounding.

    kind "countersink": a cone at least half as wide again as the cylinder; "chamfer": a
    narrower one; "drill point": a cone that closes a bore; "fillet" and "round end": the
    same with a curve for the cone.
    """

    kind: str
    angle: float | None  # included angle of a cone, degrees
    size: float  # widest diameter, mm
    start: float  # positions of its ends along the cylinder's direction, mm
    end: float


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
    # Of a bore: "through", "flat", "drill point", "round end", "step" (goes on narrower)
    # or "other"; of a boss: "".
    ending: str = ""
    flares: tuple[Flare, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def is_internal(self) -> bool:
        """Whether material lies outside the cylinder."""
        return self.kind == "bore"

    @property
    def sagitta(self) -> float:
        """Largest gap between a facet's middle and the circle, mm."""
        return (self.nominal_size - self.size_across_flats) / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """What an outline is, if it is no circle; one object for all walls of the outline.

    `name` is such as "hexagon", "slot", "rectangle", "D", "ellipse", "cone", "3 lobes",
    "17 teeth", "40 ridges", "thread", "text" or "fillet".
    """

    name: str
    measures: tuple[tuple[str, float], ...] = ()  # by name, mm, or degrees of an "angle"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Wall:
    """Upright faces that are not part of a cylinder.

    kind "wall": two parallel planes with material between, nominal size their distance;
    kind "slot": two parallel planes of a pocket, or of an open slot, with void between;
    kind "distance": two such planes that belong to other features: its size follows from
    theirs, so that it owns no faces and takes no correction of its own;
    kind "profile": every other wall, with no size of its own.
    """

    id: str
    kind: str  # "wall", "slot", "distance" or "profile"
    is_internal: bool
    nominal_size: float | None  # distance of the two planes, mm
    point: NDArray[np.float64]  # (3,) midway between the planes, or a profile's middle
    direction: NDArray[np.float64]  # (3,) unit: across the planes, or build direction
    start: float  # positions of the planes, or of a profile's ends, along `direction`
    end: float
    level: tuple[float, float]  # lowest and highest point, mm
    curve_length: float | None  # length of a profile's outline, mm
    faces: NDArray[np.int64]
    shape: Shape | None = None
    notes: tuple[str, ...] = ()
    # Of a distance: which features own its two planes, in order, and the planes' faces.
    between: tuple[str, ...] = ()
    is_through: bool = False  # of an inside wall: void goes on at its top and its foot
    planes: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))

    @property
    def measured_faces(self) -> NDArray[np.int64]:
        """Faces that its size lies between, whoever owns them."""
        return self.planes if self.between else self.faces

    @property
    def owners_in_words(self) -> str:
        """Name the features that a distance follows from, each once."""
        return " and ".join(dict.fromkeys(self.between))


Feature = Cylinder | Wall


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Features that belong together, by their ids, cylinders from one end to the other.

    kind "counterbored": a bore that begins wider, with a flat shoulder; "countersunk": a
    bore that begins as a cone; "grooved": a bore with a wider one amid its length;
    "stepped": any other bores, or bosses, that touch;
    "coaxial": bores that do not touch, a chain. Of walls about one pocket, the name of
    its shape.
    """

    id: str  # "hole-01", "shaft-01", "chain-01" or "pocket-01"
    kind: str
    members: tuple[str, ...]
    is_through: bool  # every bore, or pocket's wall, of it; False for bosses


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """Cylinders of one size and length at an even pitch, by their ids.

    kind "circle": evenly around a circle; "grid": in rows and columns at right angles;
    "row": three or more in a line. One place of a circle or a grid may be empty.
    """

    id: str  # "circle-01", "grid-01", "row-01"
    kind: str
    members: tuple[str, ...]
    nominal_size: float  # of its members, mm
    pitch: tuple[float, ...]  # mm between neighbours: two of a grid, else one
    counts: tuple[int, ...]  # places along each pitch
    circle_size: float | None  # diameter of the circle that the axes lie on, mm
    empty: tuple[tuple[float, float, float], ...] = ()  # where a member is missing, mm
