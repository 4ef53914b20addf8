"""List level faces and distances of a part against a layer grid."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from meshcomp.features import Cylinder, Feature
from meshcomp.inspections import Inspection
from meshcomp.layering.faces import STANDING, Levels, levels_in
from meshcomp.layers import Distance, LayerGrid, LayerReport, LevelFace
from meshcomp.meshes import Mesh

__all__ = ["ends_of", "faces_on", "heights_of_feature", "layer_report", "what_of"]

_FACING = ("up", "down")


def layer_report(inspection: Inspection, grid: LayerGrid) -> LayerReport:
    """Say at which heights the level faces of a part print.

    Parameters
    ----------
    inspection : Inspection
        The part and its features.
    grid : LayerGrid
        The layers it is printed in.

    Examples
    --------
    >>> import meshcomp
    >>> found = meshcomp.inspect(meshcomp.demo_part("knob"))
    >>> report = layer_report(found, LayerGrid(layer_height=0.4, first_layer=0.4))
    >>> [(f.height, f.printed) for f in report.off_grid]
    [(9.0, 9.2)]
    """
    mesh = inspection.part.mesh
    bed = float(mesh.bounds[0, 2])
    levels = levels_in(inspection)
    return LayerReport(
        grid=grid,
        faces=tuple(faces_on(grid, levels, bed)),
        distances=tuple(_distances(inspection, grid, levels, bed)),
    )


def faces_on(grid: LayerGrid, levels: Levels, bed: float) -> Iterator[LevelFace]:
    """Level faces with the heights they print at."""
    for row, z in enumerate((levels.heights - bed).tolist()):
        for side, facing in enumerate(_FACING):
            if levels.counts[row, side]:
                yield LevelFace(
                    height=z,
                    facing=facing,
                    area=float(levels.areas[row, side]),
                    count=int(levels.counts[row, side]),
                    printed=grid.printed(z),
                    is_midway=grid.is_midway(z),
                )


def heights_of_feature(feature: Feature, mesh: Mesh) -> tuple[float, float] | None:
    """Lowest and highest point of a feature that stands, mm; None if it does not stand."""
    if isinstance(feature, Cylinder):
        if abs(float(feature.direction[2])) < STANDING:
            return None
        faces = np.concatenate([feature.faces, feature.entry_faces])
        z = mesh.vertices[mesh.faces[faces], 2]
        return float(z.min()), float(z.max())
    return feature.level


def _distances(
    inspection: Inspection, grid: LayerGrid, levels: Levels, bed: float
) -> Iterator[Distance]:
    """Depths and lengths of features between level faces, then steps, then the whole."""
    mesh = inspection.part.mesh
    named: dict[tuple[str, float, float], list[str]] = {}
    for feature in inspection.features:
        ends = ends_of(feature, mesh, levels)
        if ends is not None:
            key = (what_of(feature), ends[0] - bed, ends[1] - bed)
            named.setdefault(key, []).append(feature.id)
    for (what, low, high), ids in named.items():
        yield _distance(grid, what, tuple(ids), low, high)
    heights = (levels.heights - bed).tolist()
    for low, high in pairwise(heights):
        yield _distance(grid, "step", (), low, high)
    if len(heights) > 2:  # noqa: PLR2004 - two levels are one step
        yield _distance(grid, "overall height", (), heights[0], heights[-1])


def ends_of(feature: Feature, mesh: Mesh, levels: Levels) -> tuple[float, float] | None:
    """Return the level faces that a feature stands between, mm; None without both."""
    ends = heights_of_feature(feature, mesh)
    if ends is None:
        return None
    low, high = (_level_near(levels, z) for z in ends)
    if low is None or high is None or not high > low:
        return None
    return low, high


def what_of(feature: Feature) -> str:
    """Say what the distance between a feature's ends is called."""
    if not isinstance(feature, Cylinder):
        return "height"
    if feature.is_internal and not feature.is_through:
        return "blind depth"
    return "length"


def _level_near(levels: Levels, z: float) -> float | None:
    """Level at a height, or None where the feature ends otherwise."""
    if len(levels.heights) == 0:
        return None
    nearest = float(levels.heights[int(np.argmin(np.abs(levels.heights - z)))])
    return nearest if abs(nearest - z) <= levels.limit else None


def _distance(
    grid: LayerGrid, what: str, ids: tuple[str, ...], low: float, high: float
) -> Distance:
    return Distance(
        what=what,
        feature_ids=ids,
        low=low,
        high=high,
        printed=grid.printed(high) - grid.printed(low),
    )
