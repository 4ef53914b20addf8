"""Choose bearings for grooves: away from contact, and in line with each other.

A keyway is where nothing touches: the groove goes beside it. A flat mates with a flat: the
groove goes as far from flats as it can. On a profile it goes into a trough. Where a
counterpart is known to press on one side, all of that is looked for on the other side
alone, which the load leaves free. Features with none of these follow the others; among
themselves they take the bearing at which most of them have room, and of those the one
nearest to the back.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._stretches import merged
from meshcomp.grooving.lines import level_lines
from meshcomp.grooving.mouths import cutter_outline, mouth_of
from meshcomp.grooving.surfaces import REFUSALS, Seat, Surface, seat_at

__all__ = ["Chosen", "choose"]

Look = Callable[[Surface, float], Seat | None]
Room = Callable[..., bool]
Why = Callable[[Surface], str]
Fits = Callable[[Surface, Seat], bool]

_STEP = 10  # degrees between bearings that are tried
_MOST_LINES = 36  # bearings of a common line that are looked at
_SAME = 1.0  # degrees: bearings nearer to each other are in line
_BACK = 90.0  # degrees: towards +Y, where a part is looked at least
_WHOLE = 0.9  # of the tallest stretch found at any bearing
_LEAST_GAP = 3.0  # degrees of a round surface that is interrupted
_TROUGH = 0.02  # of a profile's height difference: as deep as the deepest
_CORNERS = 2e-5  # mm: troughs nearer to each other in depth are alike
_FLAT_SHARE = 0.02  # of the radius, about a chord
# Degrees to either side of the middle of the free side: contact of round parts reaches at
# most 90 degrees from where they press (common practice, no source); the groove is wide.
_FREE = 80.0
_FREE_WORDS = "on the side that the load leaves free"


@dataclass(frozen=True, slots=True, eq=False)
class Chosen:
    """A seat, and why it is there."""

    seat: Seat
    reason: str


def choose(
    surfaces: Sequence[Surface],
    asked: Mapping[str, float | None],
    shape: tuple[float, float],
    fits: Fits,
    loads: Mapping[str, float],
    line: float | None = None,
) -> dict[str, Chosen | str]:
    """Choose the bearing of each surface's groove, or say why there is none.

    Parameters
    ----------
    surfaces : sequence of Surface
    asked : mapping
        Bearing by feature id, where a person said one, degrees.
    shape : (float, float)
        Width and depth of the grooves, mm.
    fits : callable
        Whether a groove at a seat, of a surface, comes out as it should at all heights.
    loads : mapping
        Bearing that its counterpart pushes towards, by feature id, where that is known.
    line : float, optional
        Bearing at which other grooves of the part lie already.
    """
    width = shape[0]
    tried: dict[tuple[str, float], Seat | str] = {}

    def seat(surface: Surface, bearing: float) -> Seat | None:
        key = (surface.feature.id, round(bearing % 360.0, 9))
        if key not in tried:
            tried[key] = _clean_seat(surface, key[1], shape)
        found = tried[key]
        return None if isinstance(found, str) else found

    def why_none(surface: Surface) -> str:
        """Say what came of the bearing that was nearest to a seat."""
        seen = {
            each if isinstance(each, str) else REFUSALS[-1]
            for (name, _), each in tried.items()
            if name == surface.feature.id
        }
        return max(seen, key=REFUSALS.index)

    said = {s.feature.id: asked.get(s.feature.id) for s in surfaces}
    sides = {s.feature.id: _free_middle(s, loads.get(s.feature.id)) for s in surfaces}
    ruled = {
        s.feature.id: []
        if said[s.feature.id] is not None
        else _on_free_side(_preferred(s, width, seat), sides[s.feature.id])
        for s in surfaces
    }
    tallest = {s.feature.id: _tallest(s, seat) for s in surfaces}

    def room(surface: Surface, bearing: float, share: float = _WHOLE) -> bool:
        found = seat(surface, bearing)
        least = share * tallest[surface.feature.id]
        is_free = _is_free(bearing, sides[surface.feature.id])
        return is_free and found is not None and found.length >= least

    common = _common(surfaces, said, ruled, room) if line is None else line
    look = (seat, room, fits, why_none)
    return {
        s.feature.id: _one(
            s, (said[s.feature.id], sides[s.feature.id]), ruled[s.feature.id], common, look
        )
        for s in surfaces
    }


def _clean_seat(surface: Surface, bearing: float, shape: tuple[float, float]) -> Seat | str:
    """Find a seat whose groove leaves the surface by both of its sides."""
    found = seat_at(surface, bearing, *shape)
    if isinstance(found, str):
        return found
    outline = cutter_outline(found, *shape)
    return REFUSALS[-2] if mouth_of(surface, outline) is None else found


def _free_middle(surface: Surface, towards: float | None) -> float | None:
    """Return the middle of the side that a load leaves free; None without a load.

    What is pushed lies in a bore at the bearing it is pushed towards, and round a boss at
    the opposite one.
    """
    if towards is None:
        return None
    return (towards + (180.0 if surface.feature.is_internal else 0.0)) % 360.0


def _is_free(bearing: float, middle: float | None) -> bool:
    return middle is None or _apart(bearing, middle) <= _FREE


def _on_free_side(
    options: list[tuple[float, str]], middle: float | None
) -> list[tuple[float, str]]:
    """Keep what lies on the free side; its middle where nothing else does."""
    if middle is None:
        return options
    free = [(b, f"{why}, {_FREE_WORDS}") for b, why in options if _is_free(b, middle)]
    return free or [(middle, "as far from the load as it can be")]


def _one(
    surface: Surface,
    wanted: tuple[float | None, float | None],
    ruled: list[tuple[float, str]],
    common: float,
    look: tuple[Look, Room, Fits, Why],
) -> Chosen | str:
    """Choose for one surface: the first bearing at which a groove comes out well."""
    (seat, room, fits, why_none), (said, middle) = look, wanted
    if said is not None:
        found = seat(surface, said)
        if found is not None and fits(surface, found):
            is_free = _is_free(said, middle)
            return Chosen(
                found, "asked for" if is_free else "asked for, where it is loaded"
            )
        return f"no room at {said:g} degrees: its surface is interrupted or bent there"
    options = sorted(ruled, key=lambda option: _apart(option[0], common))
    options.append((common, "in line with the others"))
    free = sorted(range(0, 360, _STEP), key=lambda b: _apart(b, common))
    near = "as near to the line of the others as it can be"
    options += [(float(b), near) for b in free]
    for share in (_WHOLE, 0.0):  # as tall as any first; lower walls where those fail
        for bearing, why in options:
            found = seat(surface, bearing) if room(surface, bearing, share) else None
            if found is not None and fits(surface, found):
                return Chosen(found, why if middle is None else _with_side(why))
    if middle is not None:
        return f"no room for it {_FREE_WORDS}"
    return why_none(surface)


def _with_side(why: str) -> str:
    return why if _FREE_WORDS in why else f"{why}, {_FREE_WORDS}"


def _apart(a: float, b: float) -> float:
    return abs((a - b + 180.0) % 360.0 - 180.0)


def _tallest(surface: Surface, seat: Look) -> float:
    found = [seat(surface, float(b)) for b in range(0, 360, _STEP)]
    return max((s.length for s in found if s is not None), default=0.0)


def _common(
    surfaces: Sequence[Surface],
    said: Mapping[str, float | None],
    ruled: Mapping[str, list[tuple[float, str]]],
    room: Room,
) -> float:
    """Bearing of the line in which the grooves are to lie."""
    by_hand = [bearing for bearing in said.values() if bearing is not None]
    if by_hand:
        return by_hand[0]
    choices = {round(b % 360, 9) for options in ruled.values() for b, _ in options}
    bearings = sorted(choices) or [float(b) for b in range(0, 360, _STEP)]

    # What rules agree on is soon told; whether there is room takes looking.
    met = {
        bearing: sum(
            any(_apart(b, bearing) <= _SAME for b, _ in options)
            for options in ruled.values()
        )
        for bearing in bearings
    }
    best = sorted(bearings, key=lambda b: (-met[b], _apart(b, _BACK)))[:_MOST_LINES]
    roomy = {b: sum(room(surface, b) for surface in surfaces) for b in best}
    return max(best, key=lambda b: (met[b], roomy[b], -_apart(b, _BACK)))


def _preferred(surface: Surface, width: float, seat: Look) -> list[tuple[float, str]]:
    """Bearings that the shape itself offers, best first."""
    if surface.is_round:
        return _beside_gaps(surface, width)
    return _troughs(surface, seat)


def _beside_gaps(surface: Surface, width: float) -> list[tuple[float, str]]:
    """Bearings beside the keyways, or else far from the flats, of a round surface."""
    arcs, radius = _arcs(surface)
    gaps = _gaps(arcs)
    if not len(gaps):
        return []
    depths = [_is_keyway(surface, gap, radius) for gap in gaps]
    keyways = [gap for gap, deep in zip(gaps, depths, strict=True) if deep]
    if keyways:
        # One width of sound surface stays between the keyway and the groove's mouth.
        beside = float(np.degrees(1.5 * width / radius))
        return [
            (float(end + way * beside), "beside a keyway")
            for low, high in keyways
            for end, way in ((low, -1), (high, 1))
        ]
    grid = np.arange(0.0, 360.0, 1.0)
    ends = np.array(gaps)
    clear = np.minimum((ends[:, :1] - grid) % 360.0, (grid - ends[:, 1:]) % 360.0).min(
        axis=0
    )
    inside = ((grid - ends[:, :1]) % 360.0 <= ends[:, 1:] - ends[:, :1]).any(axis=0)
    clear[inside] = 0.0
    best = clear.max()
    return [(float(b), "away from what interrupts it") for b in grid[clear >= best - 1e-6]]


def _arcs(surface: Surface) -> tuple[NDArray[np.float64], float]:
    """Arcs of a round surface at its height, (k, 2) degrees, and its radius, mm."""
    lines, _ = level_lines(surface.corners[: surface.own], surface.height)
    away = lines - surface.centre
    angles = np.degrees(np.arctan2(away[..., 1], away[..., 0]))
    turn = (angles[:, 1] - angles[:, 0] + 180.0) % 360.0 - 180.0
    start = np.where(turn < 0, angles[:, 1], angles[:, 0])
    arcs = merged(np.column_stack([start, start + np.abs(turn)]))
    return arcs, float(np.hypot(away[..., 0], away[..., 1]).max())


def _gaps(arcs: NDArray[np.float64]) -> list[tuple[float, float]]:
    """Where a circle is interrupted, from and to, degrees."""
    ends = np.roll(arcs[:, 0], -1).copy()
    ends[-1] += 360.0
    return [
        (float(a), float(b))
        for a, b in zip(arcs[:, 1], ends, strict=True)
        if b - a >= _LEAST_GAP
    ]


def _is_keyway(surface: Surface, gap: tuple[float, float], radius: float) -> bool:
    """Whether a gap goes on beyond the surface, rather than being a flat across it."""
    if surface.feature.is_internal:
        return surface.first_hit(sum(gap) / 2) > radius * (1 + 1e-6)
    chord = radius * float(np.cos(np.radians(min(gap[1] - gap[0], 179.0) / 2)))
    return surface.last_hit(sum(gap) / 2, radius) < chord - _FLAT_SHARE * radius


def _troughs(surface: Surface, seat: Look) -> list[tuple[float, str]]:
    """Bearings at which a profile is nearest to its middle, or a pocket farthest."""
    grid = np.arange(0.0, 360.0, 1.0)
    depth = surface.side * surface.radii(grid)
    depth[~np.isfinite(depth)] = np.inf
    # Troughs: no bearing beside one is deeper.
    is_least = (depth <= np.roll(depth, 1)) & (depth <= np.roll(depth, -1))
    bearings = grid[is_least & np.isfinite(depth)]
    fit = [float(b) for b in bearings if seat(surface, float(b)) is not None]
    if not fit:
        return []
    depths = surface.side * surface.radii(np.array(fit))
    spread = float(np.ptp(depth[np.isfinite(depth)]))
    deep = depths <= depths.min() + max(_TROUGH * spread, _CORNERS)
    return [
        (b, "in a trough of its outline")
        for b, is_deep in zip(fit, deep, strict=True)
        if is_deep
    ]
