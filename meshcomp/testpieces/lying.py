"""Bores across the build direction, whose roofs sag."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meshcomp.measurements.pieces import PieceFeature, PieceSheet
from meshcomp.meshes import Mesh
from meshcomp.scenario.outlines import Outline
from meshcomp.scenario.prisms import prism
from meshcomp.testpieces.layout import checked_sizes, fine_circle, joined, labels_on
from meshcomp.testpieces.pieces import BenchPiece, Label, bore_instrument

__all__ = ["LYING_SIZES", "lying_bores"]

LYING_SIZES = (3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 16.0)
_WALL = 3.0  # above a bore and between bores, mm
_FOOT = 7.0  # below a bore, with its label, mm


def lying_bores(*, sizes: Sequence[float] | None = None, depth: float = 8.0) -> BenchPiece:
    """Return a stepped block with bores along Y.

    Parameters
    ----------
    sizes : sequence of float, optional
        Diameters, mm.
    depth : float
        Length of the bores, mm.

    Examples
    --------
    >>> [f.kind for f in lying_bores(sizes=(8,)).sheet.features]
    ['lying bore width', 'lying bore height']
    """
    chosen = checked_sizes(LYING_SIZES if sizes is None else sizes, 2.0, 30.0)
    outline, middles = _block(chosen)
    bores = [
        fine_circle(d, (x, _FOOT + d / 2)) for d, x in zip(chosen, middles, strict=True)
    ]
    labels = tuple(Label(text=f"L{k}", x=x, y=1.5) for k, x in enumerate(middles, start=1))
    # Drawn in X and Z and extruded along what becomes -Y, so that labels face the front.
    drawn = [prism(outline, bores, -depth, 0.0), *labels_on(labels, 0.0)]
    return BenchPiece(
        sheet=PieceSheet(
            name="lying-bores",
            features=tuple(
                feature
                for k, (d, x) in enumerate(zip(chosen, middles, strict=True), start=1)
                for feature in _two_sizes(f"L{k}", d, x, depth)
            ),
        ),
        mesh=joined([_upright(mesh) for mesh in drawn]),
        outlines=(outline, *bores),
        labels=labels,
        view="from the front",
        purpose="How bores across the build direction close, in width and in height.",
        advice=(
            "Print it without support, as it stands.",
            "Read each bore in width (along the bed) and in height (upright), mid-depth.",
            "The roof sags: the height is the smaller one. Gauges tell the height only.",
        ),
    )


def _block(sizes: Sequence[float]) -> tuple[Outline, list[float]]:
    """Outline in X and Z with one step for each bore, and the middles of the bores."""
    top: list[tuple[float, float]] = []
    middles = []
    x = 0.0
    for size in sizes:
        wide = max(size, 6.0) + _WALL
        high = _FOOT + size + _WALL
        top += [(x, high), (x + wide, high)]
        middles.append(x + wide / 2)
        x += wide
    return np.array([(0.0, 0.0), (x, 0.0), *top[::-1]]), middles


def _two_sizes(
    name: str, size: float, x: float, depth: float
) -> tuple[PieceFeature, PieceFeature]:
    middle = (x, depth / 2, _FOOT + size / 2)
    width, height = (
        PieceFeature(
            id=f"{name}{letter}",
            kind=f"lying bore {word}",
            nominal_size=size,
            point=middle,
            direction=direction,
            start=-size / 2,
            end=size / 2,
            hint=bore_instrument(size),
        )
        for letter, word, direction in (
            ("W", "width", (1.0, 0.0, 0.0)),
            ("H", "height", (0.0, 0.0, 1.0)),
        )
    )
    return width, height


def _upright(mesh: Mesh) -> Mesh:
    """Turn what was drawn in X and Z up: x, y, z become x, -z, y."""
    x, y, z = mesh.vertices.T
    return Mesh(np.column_stack([x, -z + 0.0, y]), mesh.faces)
