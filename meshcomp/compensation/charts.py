"""Regions of a refined mesh that are flat enough to be triangulated in a plane."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcomp.compensation.refining import Refined
from meshcomp.segmentation import Regions

__all__ = ["Charts", "charts_of", "made_anew"]


@dataclass(frozen=True, slots=True, eq=False)
class Charts:
    """Planar regions, and after them the strips of refined cylinders."""

    planes: Regions  # of the inspected mesh
    of_face: NDArray[np.int64]  # (m,) region of each refined face
    normals: NDArray[np.float64]  # (k, 3) of each region
    anew: NDArray[np.bool_]  # (k,) regions to be triangulated anew
    owners: NDArray[np.int64]  # (k,) number of a strip's cylinder, -1 for planar regions


def charts_of(planes: Regions, refined: Refined) -> Charts:
    """Give numbers to the regions, and mark those that are to be made anew.

    They are planar regions cut at a rim, and cylinders whose strips have needless points.
    """
    count = len(planes.areas)
    on_strip = refined.strips >= 0
    of_face = np.where(on_strip, count + refined.strips, planes.of_face[refined.parents])
    anew = np.zeros(count + len(refined.strip_normals), dtype=bool)
    cut = np.bincount(refined.parents)[refined.parents] > 1
    anew[of_face[cut & ~on_strip]] = True
    anew[count:] = refined.uneven[refined.strip_owners]
    normals = np.concatenate([planes.normals, refined.strip_normals])
    owners = np.concatenate([np.full(count, -1), refined.strip_owners])
    return Charts(planes, of_face, normals, anew, owners)


def made_anew(
    charts: Charts, regions: NDArray[np.int64]
) -> tuple[Charts, NDArray[np.bool_]]:
    """Have the regions of unsound pairs of faces, (k, 2), triangulated anew.

    The strips of a cylinder go together: only then can points between two of them go.

    Returns
    -------
    charts : Charts
        With those regions marked.
    known : (k,) bool
        Pairs whose regions were marked already, so that this cannot help them.
    """
    known = np.asarray(charts.anew[regions].all(axis=1))
    anew = charts.anew.copy()
    anew[regions] = True
    owners = np.unique(charts.owners[regions])
    anew |= np.isin(charts.owners, owners[owners >= 0])
    return replace(charts, anew=anew), known
