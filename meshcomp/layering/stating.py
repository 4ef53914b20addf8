"""From the heights of a plan file to level faces: which ones, within which limits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from meshcomp.errors import OptionError
from meshcomp.inspections import Inspection
from meshcomp.intents import HeightWish
from meshcomp.intents.aiming import is_far
from meshcomp.intents.picking import all_picked
from meshcomp.layering.faces import Levels, levels_in
from meshcomp.layering.looking import ends_of, what_of
from meshcomp.layers import KeptHeight, LayerGrid
from meshcomp.tolerances import Zone, zone_at

__all__ = ["stated_heights"]

_SAME_HEIGHT = 0.01  # mm, a height that was said to the face's own
_Span = tuple[str, tuple[str, ...], float, float]  # what, ids, low, high


def stated_heights(
    wishes: Sequence[HeightWish], inspection: Inspection, grid: LayerGrid
) -> tuple[KeptHeight, ...]:
    """Return the depths and shoulders that a plan states, as they print at nearest layers.

    Parameters
    ----------
    wishes : sequence of HeightWish
    inspection : Inspection
        The part as drawn, and its features.
    grid : LayerGrid

    Raises
    ------
    OptionError
        If one is of no feature between level faces, of no such heights, or its limits are
        those of quite another size; with file and line.
    """
    levels = levels_in(inspection)
    return tuple(
        _kept(wish, span, grid)
        for wish in wishes
        for span in _spans(wish, inspection, levels)
    )


def _spans(wish: HeightWish, inspection: Inspection, levels: Levels) -> Iterator[_Span]:
    bed = float(inspection.part.mesh.bounds[0, 2])
    if wish.between is not None:
        low, high = (_height_at(wish, z, levels, bed) for z in wish.between)
        yield "step", (), low, high
    elif wish.pick is not None:
        for feature in all_picked(inspection, wish.pick, wish.place):
            ends = ends_of(feature, inspection.part.mesh, levels)
            if ends is None:
                raise OptionError(
                    f"{wish.place}: {feature.id} does not stand between two level faces: "
                    "say which heights are meant with between = [LOW, HIGH]"
                )
            yield what_of(feature), (feature.id,), ends[0] - bed, ends[1] - bed


def _height_at(wish: HeightWish, height: float, levels: Levels, bed: float) -> float:
    heights = (levels.heights - bed).tolist()
    nearest = min(heights, key=lambda z: abs(z - height), default=None)
    if nearest is None or abs(nearest - height) > _SAME_HEIGHT:
        known = ", ".join(f"{z:.3f}" for z in heights)
        raise OptionError(
            f"{wish.place}: no level face at {height:g} mm above the bed: there are some "
            f"at {known}"
        )
    return float(nearest)


def _kept(wish: HeightWish, span: _Span, grid: LayerGrid) -> KeptHeight:
    what, ids, low, high = span
    zone = _zone(wish, ids, high - low)
    printed = grid.printed(high) - grid.printed(low)
    return KeptHeight(
        what=what,
        feature_ids=ids,
        low=low,
        high=high,
        lower=zone.lower_limit,
        upper=zone.upper_limit,
        words=zone.in_words(),
        place=wish.place,
        nearest=printed,
        printed=printed,
    )


def _zone(wish: HeightWish, ids: tuple[str, ...], drawn: float) -> Zone:
    try:
        zone = zone_at(drawn, wish.tolerance)
    except OptionError as error:
        raise OptionError(f"{wish.place}: {error}") from error
    if is_far(zone.middle, drawn):
        of = f"of {', '.join(ids)} " if ids else ""
        raise OptionError(
            f"{wish.place}: the height {of}is {drawn:g} mm and {zone.in_words()} is "
            "wanted: is this the one you mean?"
        )
    return zone
