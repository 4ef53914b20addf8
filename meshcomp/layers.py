"""The grid of printed layers, and what it does to the heights of a part: data only.

Heights are mm above the bed. A layer is taken to be printed where its middle lies within
the material (common practice, no source), so that a level face prints at the boundary of
layers that is nearest to it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import floor

from meshcomp.errors import OptionError

__all__ = [
    "GRID_LIMIT",
    "Distance",
    "HeightMoves",
    "KeptHeight",
    "LayerGrid",
    "LayerReport",
    "LayerWish",
    "LevelFace",
    "SnapWish",
]

GRID_LIMIT = 5e-4  # mm: a face nearer to a layer than this lies on it
_THICKEST = 10.0  # mm
_DECIMALS = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerGrid:
    """Heights at which layers end: 0, the first layer, and one more layer each.

    Where the printer's Z axis draws too long or too short and that is undone in the mesh,
    layers are drawn `scale` times as high as they are set.

    Examples
    --------
    >>> grid = LayerGrid(layer_height=0.2, first_layer=0.25)
    >>> grid.printed(5.3), grid.printed(0.1), grid.is_on(6.05)
    (5.25, 0.0, True)
    """

    layer_height: float  # mm
    first_layer: float  # mm
    scale: float = 1.0  # drawn over asked for, along Z

    def __post_init__(self) -> None:
        for name in ("layer_height", "first_layer"):
            value = float(getattr(self, name))
            if not 0 < value <= _THICKEST:
                words = name.replace("_", " ")
                raise OptionError(
                    f"the {words} must be above 0 and up to {_THICKEST:g} mm, got "
                    f"{value:g} mm: give what is set in the slicer"
                )
            object.__setattr__(self, name, value)

    def printed(self, height: float) -> float:
        """Return the height at which a level face prints, mm above the bed."""
        asked = height / self.scale
        if asked <= self.first_layer / 2:
            return 0.0
        above = (asked - self.first_layer) / self.layer_height
        # Rounding to the limit of a coordinate must not tip a face that lies midway.
        count = max(floor(above + 0.5 + 1e-9), 0)
        asked = round(self.first_layer + count * self.layer_height, _DECIMALS)
        return asked * self.scale

    def beside(self, height: float) -> tuple[float, float]:
        """Return the ends of layers below and above a height, mm above the bed.

        Examples
        --------
        >>> LayerGrid(layer_height=0.2, first_layer=0.25).beside(5.3)
        (5.25, 5.45)
        """
        asked = height / self.scale
        if asked < self.first_layer:
            return 0.0, self.first_layer * self.scale
        count = floor((asked - self.first_layer) / self.layer_height + 1e-9)
        below, above = (
            round(self.first_layer + n * self.layer_height, _DECIMALS) * self.scale
            for n in (count, count + 1)
        )
        return below, above

    def is_on(self, height: float) -> bool:
        """Whether a height is the end of a layer, within `GRID_LIMIT`."""
        return abs(self.printed(height) - height) <= GRID_LIMIT

    def is_midway(self, height: float) -> bool:
        """Whether a face lies so near the middle of a layer that it may go either way."""
        near = {self.printed(height + way * GRID_LIMIT) for way in (-1, 1)}
        return len(near) > 1

    def in_words(self) -> str:
        """Return the grid in words."""
        words = f"layers of {self.layer_height:g} mm, the first {self.first_layer:g} mm"
        drawn = f", drawn {self.scale:.5f} times as high" if self.scale != 1 else ""
        return words + drawn


@dataclass(frozen=True, slots=True, kw_only=True)
class SnapWish:
    """Which faces to move to the nearest layer: all, or those at some heights, mm."""

    only: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelFace:
    """The level faces at one height that look one way."""

    height: float  # as drawn, mm above the bed
    facing: str  # "up" or "down"
    area: float  # mm²
    count: int  # separate faces
    printed: float  # height in print, mm
    is_midway: bool  # may print a layer higher or lower
    move: float = 0.0  # what it was moved by in the mesh, mm
    reason: str = ""  # why it was not moved to a layer where that was asked
    chosen: str = ""  # why it went to another layer than the nearest

    @property
    def off(self) -> float:
        """Printed height less the height drawn, mm."""
        return self.printed - self.height


@dataclass(frozen=True, slots=True, kw_only=True)
class Distance:
    """A depth or a shoulder between two heights, as drawn and in print, mm."""

    what: str  # "blind depth", "length", "height", "step" or "overall height"
    feature_ids: tuple[str, ...]  # () for a distance between level faces
    low: float  # as drawn, mm above the bed
    high: float
    printed: float  # distance in print

    @property
    def nominal(self) -> float:
        """The distance drawn, mm."""
        return self.high - self.low

    @property
    def off(self) -> float:
        """Printed distance less the one drawn, mm."""
        return self.printed - self.nominal


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptHeight:
    """A distance whose limits a plan states, mm; heights as drawn, above the bed."""

    what: str  # as in `Distance`
    feature_ids: tuple[str, ...]
    low: float
    high: float
    lower: float  # limits of the distance in print
    upper: float
    words: str  # the limits as a person would say them: "9 +0.1/0"
    place: str  # file and line
    nearest: float  # in print, with each face at its nearest layer
    printed: float  # in print as it is now
    could_be: float | None = None  # in print, were heights to move; None: not asked

    def beyond(self, distance: float) -> float:
        """Return by how much a distance in print is outside the limits, mm."""
        off = max(self.lower - distance, distance - self.upper, 0.0)
        return off if off > GRID_LIMIT else 0.0

    @property
    def is_kept(self) -> bool:
        """Whether it prints within its limits."""
        return self.beyond(self.printed) == 0

    @property
    def name(self) -> str:
        """Return what it is of: "blind depth of bore-01"."""
        if self.feature_ids:
            return f"{self.what} of {', '.join(self.feature_ids)}"
        return f"{self.what} from {self.low:g} to {self.high:g} mm"


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightMoves:
    """What snapping did: heights from and to, mm above the bed, linear in between.

    Outside of them the part moves with the nearest. Volumes are mm³.
    """

    heights: tuple[float, ...]
    moved_to: tuple[float, ...]
    rigid: tuple[tuple[float, float, str], ...]  # from, to, and whose height it is
    bed: float  # height of the bed in the part's frame, mm
    bounds_before: tuple[float, float]  # in the part's frame, mm
    volume_before: float
    predicted_volume_change: float  # from area times move
    moved_volume: float  # what is added and taken away, together
    split_faces: int = 0  # triangles that had to be split


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerReport:
    """Level faces and distances of a part against a layer grid."""

    grid: LayerGrid
    faces: tuple[LevelFace, ...]  # by height
    distances: tuple[Distance, ...]
    moves: HeightMoves | None = None  # None: nothing was moved
    kept: tuple[KeptHeight, ...] = ()  # distances that a plan states

    @property
    def off_grid(self) -> tuple[LevelFace, ...]:
        """The faces that as drawn lie on no layer."""
        return tuple(f for f in self.faces if abs(f.off) > GRID_LIMIT)

    @property
    def broken(self) -> tuple[KeptHeight, ...]:
        """The stated distances that do not print within their limits."""
        return tuple(each for each in self.kept if not each.is_kept)

    @property
    def off_distances(self) -> tuple[Distance, ...]:
        """The distances that print otherwise than drawn."""
        return tuple(d for d in self.distances if abs(d.off) > GRID_LIMIT)

    @property
    def sum_of_moves(self) -> tuple[float, float]:
        """Sum of the moves of all heights with their signs, and without, mm."""
        moves = {face.height: face.move for face in self.faces}.values()
        return sum(moves), sum(abs(move) for move in moves)


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerWish:
    """The layers a part is printed in, and which faces to move onto them."""

    grid: LayerGrid
    snap: SnapWish | None = None  # None: heights stay as they are
