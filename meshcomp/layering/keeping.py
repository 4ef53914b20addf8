"""Choose layers so that stated depths and shoulders stay within their limits.

A face between two layers can go to either. Where that is left open, it goes to the nearer
one; of the choices that break the fewest stated limits, the one that moves least is taken.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import product

from meshcomp.layers import KeptHeight, LayerGrid

__all__ = ["chosen_layers"]

_MOST_TOGETHER = 12  # heights of which all choices are tried
_ROUNDS = 4  # over the heights of larger groups
_Layers = dict[float, float]  # height in print, by height as drawn
_Cost = tuple[int, float, float]


def chosen_layers(
    grid: LayerGrid, movable: Mapping[float, bool], distances: Sequence[KeptHeight]
) -> _Layers:
    """Return the layer of each height: the nearest, or the one that keeps a distance.

    Parameters
    ----------
    grid : LayerGrid
    movable : mapping of float to bool
        Heights with level faces, mm above the bed, and whether each may move.
    distances : sequence of KeptHeight

    Examples
    --------
    >>> grid = LayerGrid(layer_height=0.2, first_layer=0.2)
    >>> depth = KeptHeight(what="blind depth", feature_ids=("bore-01",), low=0.0,
    ...     high=9.05, lower=9.1, upper=9.3, words="9.05 +0.25/+0.05", place="",
    ...     nearest=9.0, printed=9.0)
    >>> chosen_layers(grid, {0.0: True, 9.05: True}, [depth])
    {0.0: 0.0, 9.05: 9.2}
    """
    layers = {height: grid.printed(height) for height in movable}
    if not distances:
        return layers  # networkx costs a tenth of a second to import
    for group in _groups(distances):
        heights = sorted({z for each in group for z in (each.low, each.high)})
        choices = {z: _choices(grid, z, may_move=movable[z]) for z in heights}
        if len(heights) <= _MOST_TOGETHER:
            layers |= _best_of_all(choices, group)
        else:
            layers |= _bettered(choices, group)
    return layers


def _groups(distances: Sequence[KeptHeight]) -> Iterator[list[KeptHeight]]:
    """Part distances into groups that have no height in common."""
    import networkx as nx

    graph = nx.Graph((each.low, each.high) for each in distances)
    for heights in nx.connected_components(graph):
        yield [each for each in distances if each.low in heights]


def _choices(grid: LayerGrid, height: float, *, may_move: bool) -> tuple[float, ...]:
    """Return the layers that a height can go to, the nearest first."""
    nearest = grid.printed(height)
    if not may_move or grid.is_on(height):
        return (nearest,)
    return tuple(sorted(grid.beside(height), key=lambda layer: layer != nearest))


def _cost(layers: Mapping[float, float], distances: Sequence[KeptHeight]) -> _Cost:
    """Tell how bad a choice is: limits broken, by how much, and how far faces move."""
    beyond = [each.beyond(layers[each.high] - layers[each.low]) for each in distances]
    moves = sum(abs(layer - height) for height, layer in layers.items())
    return sum(by > 0 for by in beyond), sum(beyond), moves


def _best_of_all(
    choices: Mapping[float, tuple[float, ...]], distances: Sequence[KeptHeight]
) -> _Layers:
    every = (dict(zip(choices, each, strict=True)) for each in product(*choices.values()))
    return min(every, key=lambda layers: _cost(layers, distances))


def _bettered(
    choices: Mapping[float, tuple[float, ...]], distances: Sequence[KeptHeight]
) -> _Layers:
    """Better one height after the other; not always the best, but never worse."""
    layers = {height: each[0] for height, each in choices.items()}
    for _ in range(_ROUNDS):
        for height, each in choices.items():
            others = [layers | {height: layer} for layer in each]
            layers = min(others, key=lambda one: _cost(one, distances))
    return layers
