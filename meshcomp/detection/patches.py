"""Smooth patches of upright faces, each with the circle that its corners lie on.

Sections find facets that run along the axis, however they are interrupted. Patches find
walls whose triangles lean: the two rims cut differently, or the mesh made anew.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import median, runs
from meshcomp._vectors import along, dot, turned
from meshcomp.detection.circling import are_near, circle_of, upright_half
from meshcomp.detection.doubts import leans_one_way
from meshcomp.detection.growing import STRICT_LIMIT
from meshcomp.detection.rejoining import are_uneven, halves_joined, is_uneven, rejoined
from meshcomp.detection.scenes import Prospect
from meshcomp.detection.sectors import SECTORS, looked_into, sectors
from meshcomp.detection.seeds import Seed
from meshcomp.detection.turns import LEAST_SPAN, angles_about, coverage

__all__ = ["round_patches"]

_LEAST_FACES = 8
_MOST_CIRCLES = 3  # of one patch
_SPARE = 20.0  # degrees, that faces left out at first may add
_FLAT_TURN = 1e-3  # sine: faces that bend by less are neither convex nor concave


def round_patches(view: Prospect, allowed: NDArray[np.bool_]) -> list[Seed]:
    """Propose a circle for each smooth patch that looks most ways around.

    Parameters
    ----------
    view : Prospect
        The scene along the axis looked for.
    allowed : (m,) bool
        Faces of the view that belong to no cylinder yet.
    """
    seeds: list[Seed] = []
    ground = _ground(view, allowed)
    for is_internal in (True, False):
        around, pieces = _patches(view, ground, is_internal=is_internal)
        around += [f for f in rejoined(view, pieces) if _looks_around(view, f)]
        for faces in around:
            seeds += _seeds_of(view, faces, is_internal=is_internal)
    return sorted(halves_joined(view, seeds), key=lambda seed: -seed.count)


def _looks_around(view: Prospect, faces: NDArray[np.int64]) -> bool:
    looks = sectors(turned(view.scene.regions.face_normals[faces], view.frame[:2]))
    return bool(_looking_around(looks, np.zeros(len(faces), dtype=np.int64))[0])


@dataclass(frozen=True, slots=True, eq=False)
class _Ground:
    """The faces of which patches are made, and what is the same for all of these."""

    faces: NDArray[np.int64]  # (k,) sorted
    looks: NDArray[np.int64]  # (k,) sector that each looks into
    leaning: NDArray[np.float64]  # (k,) sine of each normal along the axis, with its sign
    edges: NDArray[np.int64]  # (e,) bends with such faces on both sides


def _ground(view: Prospect, allowed: NDArray[np.bool_]) -> _Ground:
    mine = np.sort(view.faces[allowed[view.faces]])
    known = np.zeros(len(allowed), dtype=bool)
    known[mine] = True
    normals = np.take(view.scene.regions.face_normals, mine, axis=0)
    return _Ground(
        faces=mine,
        looks=sectors(turned(normals, view.frame[:2])),
        leaning=along(normals, view.frame[2]),
        edges=np.flatnonzero(view.scene.bends.among(known)),
    )


def _patches(
    view: Prospect, ground: _Ground, *, is_internal: bool
) -> tuple[list[NDArray[np.int64]], list[NDArray[np.int64]]]:
    """Faces joined over edges that bend by less than a facet may, one way only.

    First the patches that look most ways around; then pieces that do not, of meshes whose
    facets are not flat: sections show the others.
    """
    bends = view.scene.bends
    rising = bends.rising[ground.edges] * (1 if is_internal else -1)
    of_region, rows = bends.joined(ground.faces, ground.edges[rising > -_FLAT_TURN])
    labels = of_region[rows]
    order = np.argsort(labels, kind="stable")
    begins, sizes = runs(labels[order])
    around = _looking_around(ground.looks, labels)
    open_ones = sizes >= _LEAST_FACES
    open_ones &= ~_all_lean_one_way(ground.leaning[order], begins)
    uneven = are_uneven(np.bincount(of_region, minlength=len(sizes)), sizes)
    ordered, ends = ground.faces[order], begins + sizes
    return (
        [ordered[begins[k] : ends[k]] for k in np.flatnonzero(open_ones & around)],
        [
            ordered[begins[k] : ends[k]]
            for k in np.flatnonzero(open_ones & ~around & uneven)
        ],
    )


def _all_lean_one_way(
    leaning: NDArray[np.float64], begins: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Whether no face of a patch runs along the axis or leans back, as in a rounding."""
    if len(begins) == 0:
        return np.zeros(0, dtype=bool)
    least, most = np.minimum.reduceat(leaning, begins), np.maximum.reduceat(leaning, begins)
    return np.asarray((least > STRICT_LIMIT) | (most < -STRICT_LIMIT))


def _looking_around(
    looks: NDArray[np.int64], labels: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Whether each patch has enough faces, looking into enough sectors."""
    count = int(labels.max(initial=-1)) + 1
    seen = np.zeros((count, SECTORS), dtype=bool)
    seen[labels, looks] = True
    many = np.bincount(labels, minlength=count) >= _LEAST_FACES
    return np.asarray(many & (looked_into(seen) >= LEAST_SPAN))


def _seeds_of(view: Prospect, faces: NDArray[np.int64], *, is_internal: bool) -> list[Seed]:
    """Circles that a patch lies on: more than one where walls hang together smoothly."""
    seeds: list[Seed] = []
    for _ in range(_MOST_CIRCLES):
        core = upright_half(view, faces)
        circle = circle_of(view, faces[core])
        if circle is None:
            break
        near = are_near(view, faces, circle)
        mine = np.sort(faces[core[near[core]]])
        if (
            len(mine) > 0
            and _is_internal(view, mine, circle[0]) == is_internal
            and _may_be_round(view, faces[near], circle[0])
        ):
            seeds.append(
                Seed(
                    centre=circle[0],
                    radius=circle[1],
                    is_internal=is_internal,
                    count=len(mine),
                    faces=mine,
                )
            )
        faces = faces[~near]
        if len(faces) < _LEAST_FACES or not _looks_around(view, faces):
            break
    return seeds


def _may_be_round(
    view: Prospect, faces: NDArray[np.int64], centre: NDArray[np.float64]
) -> bool:
    """Whether faces near a circle cover enough of it, and do not lean as a cone's do.

    A shaken wall falls into pieces that do anything.
    """
    if is_uneven(view, faces):
        return True
    if leans_one_way(view, faces):
        return False
    return coverage(*angles_about(view, faces, centre)) >= LEAST_SPAN - _SPARE


def _is_internal(
    view: Prospect, faces: NDArray[np.int64], centre: NDArray[np.float64]
) -> bool:
    """Whether faces look towards a centre."""
    mesh = view.scene.mesh
    normals = turned(view.scene.regions.face_normals[faces], view.frame[:2])
    a, b, c = (np.take(mesh.vertices, mesh.faces[faces, k], axis=0) for k in range(3))
    middles = turned((a + b + c) / 3, view.frame[:2]) - centre
    return bool(median(dot(normals, middles)) < 0)
