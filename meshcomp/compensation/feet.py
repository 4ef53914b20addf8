"""Draw in the foot of a part, where the first layers spread.

An edge loop is put into the walls at the height up to which layers spread; below it they
lean inwards, so that nothing above moves by a bit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import unit
from meshcomp.compensation.charts import charts_of, made_anew
from meshcomp.compensation.corners import LEVEL_LIMIT, corners_of
from meshcomp.compensation.guard import unsound_pairs
from meshcomp.compensation.looking import Looked
from meshcomp.compensation.moving import moved_by
from meshcomp.compensation.refining import Refined, refine
from meshcomp.compensation.shifting import horizontal_motion
from meshcomp.compensation.splitting import split_at_height
from meshcomp.meshes import Mesh
from meshcomp.plans import Foot
from meshcomp.segmentation import Regions, planar_regions
from meshcomp.topology import topology_of
from meshcomp.triangulating import Known

__all__ = ["FootResult", "draw_in"]

_CHAMFER = 0.05  # downward part of a normal: more is a chamfered foot
_ROOF = 0.7  # upward part of a normal: more is no wall
_LEVEL = 0.999  # upright part of a normal: more is a level face
_LEAVING = 0.05  # sine between a motion and a slope
_TRIES = 12
_ABOVE = 1e-6  # mm


@dataclass(frozen=True, slots=True, eq=False)
class FootResult:
    """A mesh with its foot drawn in.

    `held` are faces of the mesh before, near which less was drawn in than asked for.
    """

    mesh: Mesh
    parents: NDArray[np.int64]  # (m,) face of the mesh before
    volume: float  # predicted change, mm³
    held: NDArray[np.int64]  # (k,)
    share: NDArray[np.float64]  # (k,) of what was asked for, near each of them


def draw_in(mesh: Mesh, is_wall: NDArray[np.bool_], foot: Foot) -> FootResult:
    """Draw in walls below a height, most at the bed and nothing at the height.

    Faces that lean over the bed, as of chamfered feet, are left alone: their edge is clear
    of it.

    Parameters
    ----------
    mesh : Mesh
        As it stands on the bed, sound.
    is_wall : (m,) bool
        Faces that may be drawn in; level ones among them are passed over.
    foot : Foot
        By how much and up to which height.
    """
    floor = float(mesh.bounds[0, 2])
    top = float(np.float32(floor + foot.height))
    chosen = is_wall & _is_upright(mesh) & (mesh.corners[..., 2].min(axis=1) < top - _ABOVE)
    cut, parents = split_at_height(mesh, top, chosen)
    below = chosen[parents] & (cut.corners[..., 2].max(axis=1) <= top + _ABOVE)
    if not below.any():
        nothing = np.zeros(0)
        same = np.arange(len(mesh.faces))
        return FootResult(mesh, same, 0.0, nothing.astype(np.int64), nothing)
    regions = _parted(planar_regions(cut, topology_of(cut)), below)
    growth = _growths(cut, below, foot, (floor, top))
    d = _motion(cut, regions, below, growth)
    stays = _out_of_slopes(cut, regions, below, d)
    d[stays] = 0.0
    growth[stays[cut.faces]] = 0.0
    moved, held, share = _soundly(cut, regions, d)
    normals = cut.area_vectors[below]
    areas = np.hypot(normals[:, 0], normals[:, 1])
    return FootResult(
        moved.mesh,
        parents[moved.parents],
        -float(areas @ growth[below].mean(axis=1)),
        parents[held],
        share,
    )


def _is_upright(mesh: Mesh) -> NDArray[np.bool_]:
    up = unit(mesh.area_vectors)[:, 2]
    return (up > -_CHAMFER) & (up < _ROOF)


def _parted(regions: Regions, below: NDArray[np.bool_]) -> Regions:
    """Make regions of their own of what lies below the loop."""
    _, first, labels = np.unique(
        2 * regions.of_face + below, return_index=True, return_inverse=True
    )
    old = regions.of_face[first]
    return Regions(labels, regions.normals[old], regions.areas[old], regions.face_normals)


def _growths(
    mesh: Mesh, below: NDArray[np.bool_], foot: Foot, reach: tuple[float, float]
) -> NDArray[np.float64]:
    """By how much the print spreads at each corner of each face, (m, 3) mm."""
    floor, top = reach
    z = mesh.corners[..., 2]
    taper = np.clip((top - z) / (top - floor), 0.0, 1.0)
    taper[np.abs(z - top) <= _ABOVE] = 0.0
    return foot.growth * taper * below[:, None]


def _motion(
    mesh: Mesh,
    regions: Regions,
    below: NDArray[np.bool_],
    growth: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Displacement of every vertex, (n, 3) mm: only those of the foot move."""
    count = len(mesh.vertices)
    asked = np.zeros(count)
    np.maximum.at(asked, mesh.faces[below].ravel(), growth[below].ravel())
    near = (asked[mesh.faces] > 0).any(axis=1)
    wall = np.hypot(*regions.face_normals[:, :2].T) > LEVEL_LIMIT
    faces = np.flatnonzero(near & wall)
    rows = corners_of(
        mesh,
        faces,
        regions.face_normals[faces],
        -growth[faces],
        np.zeros(len(faces), dtype=bool),
    )
    d = np.zeros((count, 3))
    d[:, :2] = horizontal_motion(count, rows)
    d[asked == 0] = 0.0
    return d


def _out_of_slopes(
    mesh: Mesh, regions: Regions, below: NDArray[np.bool_], d: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Vertices that would leave the material through a slope beside the wall, (n,).

    A part that stands on an edge has a wall on one side of it and a slope on the other:
    there is no foot to draw in.
    """
    normals = regions.face_normals
    slopes = np.flatnonzero(~below & (np.abs(normals[:, 2]) < _LEVEL))
    corners = mesh.faces[slopes]
    out = np.einsum("fj,fkj->fk", normals[slopes], d[corners])
    leaving = out > _LEAVING * np.linalg.norm(d[corners], axis=2)
    stays = np.zeros(len(mesh.vertices), dtype=bool)
    stays[corners[leaving]] = True
    return stays


def _soundly(
    mesh: Mesh, regions: Regions, d: NDArray[np.float64]
) -> tuple[Refined, NDArray[np.int64], NDArray[np.float64]]:
    """Move by as much as leaves the mesh sound; tell where less was, and what share."""
    refined = refine(mesh, [])
    charts = charts_of(regions, refined)
    share = np.ones(len(mesh.vertices))
    made_before, looked = Known(), Looked()
    for attempt in range(_TRIES + 1):
        moved, of_face, changed = moved_by(charts, refined, d, share, made_before)
        pairs, _ = unsound_pairs(mesh, regions, moved, changed, looked=looked)
        if len(pairs) == 0:
            break
        charts, known = made_anew(charts, of_face[pairs])
        corners = moved.mesh.faces[pairs[known]]
        share[corners] *= 0.0 if attempt > _TRIES / 2 else 0.5
        if attempt == _TRIES - 1:
            share[:] = 0.0  # nothing moves then, and the mesh is as sound as it was
    held = np.flatnonzero((share[mesh.faces] < 1).any(axis=1))
    return (
        replace(moved, mesh=moved.mesh.compact()),
        held,
        share[mesh.faces[held]].min(axis=1),
    )
