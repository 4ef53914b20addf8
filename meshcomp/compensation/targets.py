"""What each face and each vertex of the mesh is asked to do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeGuard

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import distinct, rows_of
from meshcomp.compensation.lying import radii
from meshcomp.compensation.refining import Refined
from meshcomp.features import Cylinder, Feature
from meshcomp.inspections import Inspection
from meshcomp.plans import Correction, Plan

__all__ = ["Targets", "is_sized", "targets"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Targets:
    """Offsets by face, and radii by vertex.

    Rows of the cylinder arrays are pairs of a vertex and a cylinder that it is on, or
    whose entry it is on; `radius` is NaN for an entry, which moves by `change` only.
    """

    offset: NDArray[np.float64]  # (m,) along the horizontal part of the normal, mm
    feature: NDArray[np.int64]  # (m,) index of the feature, -1 for level faces
    is_round: NDArray[np.bool_]  # (m,) part of a cylinder or its entry
    is_straight: NDArray[np.bool_]  # (m,) part of a straight wall
    vertex: NDArray[np.int64]  # (r,)
    owner: NDArray[np.int64]  # (r,) index of the feature
    point: NDArray[np.float64]  # (r, 3) on the cylinder's axis
    direction: NDArray[np.float64]  # (r, 3) unit, along the axis
    radius: NDArray[np.float64]  # (r,) wanted distance from the axis, mm
    change: NDArray[np.float64]  # (r,) wanted change of that distance, mm
    lying: tuple[LyingRows, ...] = ()  # those whose distance depends on the angle


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LyingRows:
    """Rows of a bore that lies, and is to have another shape than a circle."""

    rows: NDArray[np.int64]  # (k,) of the arrays of cylinders
    cylinder: Cylinder
    correction: Correction
    share: float  # of the change that is to be made

    def goals(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Distances from the axis that are wanted at the angles of points, (k,) mm."""
        radius = self.cylinder.nominal_size / 2
        return radius + self.share * (
            radii(self.cylinder, self.correction, points) - radius
        )


def targets(
    inspection: Inspection,
    plan: Plan,
    refined: Refined,
    held: NDArray[np.float64],
    still: NDArray[np.bool_],
) -> Targets:
    """Collect what a plan asks of a refined mesh.

    Parameters
    ----------
    inspection, plan
        Features and their corrections, in the same order.
    refined : Refined
        The mesh, and the face of the inspected mesh that each face came from.
    held : (features,) float
        Share of each feature's offset to be used, 1 unless it has to be held back.
    still : (m,) bool
        Faces of the inspected mesh that may not move.
    """
    count = len(inspection.part.mesh.faces)
    offset, feature = np.zeros(count), np.full(count, -1)
    is_round, is_entry, is_straight = (np.zeros(count, dtype=bool) for _ in range(3))
    for index, (found, correction) in enumerate(
        zip(inspection.features, plan.corrections, strict=True)
    ):
        share = 0.0 if correction.is_left_alone else correction.offset * held[index]
        offset[found.faces], feature[found.faces] = share, index
        if not isinstance(found, Cylinder):
            # Planes of a distance are straight, whoever owns them.
            is_straight[found.measured_faces] |= found.nominal_size is not None
        if isinstance(found, Cylinder):
            offset[found.entry_faces], feature[found.entry_faces] = share, index
        if is_sized(found, correction):
            is_round[found.faces] = is_round[found.entry_faces] = True
            is_entry[found.entry_faces] = True
    offset[still] = 0.0
    parents = refined.parents
    rows = _rows(inspection, plan, refined, held, (feature[parents], is_entry[parents]))
    return Targets(
        offset=offset[parents],
        feature=feature[parents],
        is_round=is_round[parents],
        is_straight=is_straight[parents],
        **rows,
    )


def is_sized(feature: Feature, correction: Correction) -> TypeGuard[Cylinder]:
    """Whether a feature is a cylinder with a planned diameter, and no wall like others."""
    return isinstance(feature, Cylinder) and correction.mesh_size is not None


def _rows(
    inspection: Inspection,
    plan: Plan,
    refined: Refined,
    held: NDArray[np.float64],
    of_face: tuple[NDArray[np.int64], NDArray[np.bool_]],
) -> dict[str, Any]:
    is_entry, of_features = of_face[1], rows_of(of_face[0], len(inspection.features))
    columns: list[
        tuple[NDArray[np.int64], int, Cylinder, NDArray[np.float64], NDArray[np.float64]]
    ] = []
    for index, (found, correction) in enumerate(
        zip(inspection.features, plan.corrections, strict=True)
    ):
        if not is_sized(found, correction):
            continue
        mine = of_features[index]
        count = len(refined.mesh.vertices)
        on = distinct(refined.mesh.faces[mine[~is_entry[mine]]], count)
        beside = np.setdiff1d(refined.mesh.faces[mine[is_entry[mine]]], on)
        fixed = correction.is_left_alone or held[index] == 0
        for vertices, is_on in ((on, True), (beside, False)):
            points = refined.mesh.vertices[vertices]
            away = radii(found, correction, points) - found.nominal_size / 2
            change = away * float(held[index])
            radius = found.nominal_size / 2 + change
            nothing = np.full(len(vertices), np.nan)
            rows = radius if is_on and not fixed else nothing
            columns.append((vertices, index, found, rows, change))
    sizes = [len(column[0]) for column in columns]
    firsts = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    lying = tuple(
        LyingRows(
            rows=np.arange(first, first + size),
            cylinder=column[2],
            correction=plan.corrections[column[1]],
            share=float(held[column[1]]),
        )
        for column, first, size in zip(columns, firsts, sizes, strict=False)
        if plan.corrections[column[1]].lying is not None and not np.isnan(column[3]).all()
    )
    return {
        "lying": lying,
        "vertex": np.concatenate([np.zeros(0, np.int64), *(c[0] for c in columns)]),
        "owner": np.repeat([c[1] for c in columns], sizes).astype(np.int64),
        "point": np.repeat([c[2].point for c in columns], sizes, axis=0).reshape(-1, 3),
        "direction": np.repeat([c[2].direction for c in columns], sizes, axis=0).reshape(
            -1, 3
        ),
        "radius": np.concatenate([np.zeros(0), *(c[3] for c in columns)]),
        "change": np.concatenate([np.zeros(0), *(c[4] for c in columns)]),
    }
