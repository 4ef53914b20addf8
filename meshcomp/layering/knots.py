"""Which heights move to a layer, so that order is kept and lying bores stay round.

Every height that carries level faces, and every range of heights that a lying cylinder
takes, is an item that moves as one. Heights on the grid, and those not asked for, stay.
The others move to their layers one by one, those with the largest faces first; one that
would come too near a neighbour is refused, and follows its neighbours instead.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

__all__ = ["Item", "Knots", "chosen_moves", "items_of"]

_LEAST_GAP = 0.02  # mm, kept between items, or half of what was there
_SAME = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A height, or a range of heights, that moves as one, mm above the bed."""

    low: float
    high: float
    wanted: float  # move, mm; 0: is to stay
    area: float  # mm², of the faces that want it
    owner: str = ""  # the lying feature whose range it is


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Knots:
    """Moves of items by rising height, and why others were refused."""

    items: tuple[Item, ...]  # those that are knots of the map
    refused: tuple[tuple[Item, str], ...]

    def moved(self, heights: NDArray[np.float64]) -> NDArray[np.float64]:
        """Move of each height, mm: linear between items, constant outside of them."""
        ends = {z: item.wanted for item in self.items for z in (item.low, item.high)}
        return np.asarray(np.interp(heights, list(ends), list(ends.values())))


def items_of(
    levels: Sequence[tuple[float, float, float]],
    ranges: Sequence[tuple[float, float, str]],
    limit: float,
) -> tuple[list[Item], list[tuple[float, str]]]:
    """Make items of levels and of ranges that must stay rigid.

    Parameters
    ----------
    levels : sequence of (height, move wanted, area)
        Rising.
    ranges : sequence of (low, high, feature id)
        Of lying features; those that overlap become one.
    limit : float
        Heights nearer to each other are one, mm.

    Returns
    -------
    items : list of Item
        Rising, apart from each other.
    stuck : list of (height, reason)
        Levels in a range that moves otherwise.
    """
    items, stuck = [], []
    blocks = _merged(ranges, limit)
    inside = [
        next((b for b in blocks if b[0] - limit <= z <= b[1] + limit), None)
        for z, _, _ in levels
    ]
    for block in blocks:
        mine = [level for level, b in zip(levels, inside, strict=True) if b is block]
        item = _block_item(block, mine)
        items.append(item)
        stuck += [
            (z, f"it lies within the height of {item.owner}, which must stay round")
            for z, move, _ in mine
            if abs(move - item.wanted) > _SAME
        ]
    items += [
        Item(low=z, high=z, wanted=move, area=area)
        for (z, move, area), block in zip(levels, inside, strict=True)
        if block is None
    ]
    return sorted(items, key=lambda item: item.low), stuck


def _merged(
    ranges: Sequence[tuple[float, float, str]], limit: float
) -> list[tuple[float, float, str]]:
    blocks: list[tuple[float, float, str]] = []
    for low, high, name in sorted(ranges):
        if blocks and low <= blocks[-1][1] + limit:
            first, last, names = blocks.pop()
            blocks.append((first, max(high, last), f"{names}, {name}"))
        else:
            blocks.append((low, high, name))
    return blocks


def _block_item(
    block: tuple[float, float, str], levels: Sequence[tuple[float, float, float]]
) -> Item:
    """Move a range as the levels in it want: to stay wins, then the largest face."""
    low, high, name = block
    ends = [low, high, *(z for z, _, _ in levels)]
    still = not levels or any(move == 0 for _, move, _ in levels)
    _, wanted, area = (0.0, 0.0, 0.0) if still else max(levels, key=lambda level: level[2])
    return Item(low=min(ends), high=max(ends), wanted=wanted, area=area, owner=name)


def chosen_moves(items: Sequence[Item]) -> Knots:
    """Accept as many of the wanted moves as keep the order, largest faces first.

    Examples
    --------
    >>> items = [Item(low=z, high=z, wanted=move, area=area) for z, move, area in
    ...     [(0.0, 0.0, 9.0), (5.02, -0.02, 4.0), (5.08, -0.08, 1.0)]]
    >>> knots = chosen_moves(items)
    >>> [item.low for item in knots.items], len(knots.refused)
    ([0.0, 5.02], 1)
    """
    # Ranges stand where they are until they are moved; plain heights that are to move are
    # no knots until they are accepted. So every state on the way keeps the order.
    taken = {
        item.low: replace(item, wanted=0.0)
        for item in items
        if item.wanted == 0 or item.owner
    }
    waiting = sorted((i for i in items if i.wanted != 0), key=lambda i: -i.area)
    while True:
        before = len(waiting)
        refused = []
        for item in waiting:
            neighbour = _too_near(item, taken)
            if neighbour is None:
                taken[item.low] = item
            else:
                refused.append((item, _words(neighbour)))
        waiting = [item for item, _ in refused]
        if not waiting or len(waiting) == before:
            break
    knots = tuple(sorted(taken.values(), key=lambda item: item.low))
    return Knots(items=knots, refused=tuple(refused))


def _words(neighbour: Item) -> str:
    where = f"the height of {neighbour.owner}" if neighbour.owner else "the face"
    return f"it would come too near {where} at {neighbour.low:.3f} mm"


def _too_near(item: Item, taken: Mapping[float, Item]) -> Item | None:
    """Return a neighbour that the item would pass or all but touch."""
    for other in taken.values():
        if other.low == item.low:
            continue
        below, above = (other, item) if other.low < item.low else (item, other)
        gap = above.low - below.high
        after = gap + above.wanted - below.wanted
        if after < min(_LEAST_GAP, gap / 2):
            return other
    return None
