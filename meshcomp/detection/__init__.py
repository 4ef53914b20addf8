"""Features of size found in a part: bores, bosses and walls."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.axes import Proposal, is_coordinate, oblique_axes
from meshcomp.detection.bends import bends_of
from meshcomp.detection.cylinders import CylinderFaces, cylinders_along, cylinders_on
from meshcomp.detection.distances import distances
from meshcomp.detection.features import cylinder_features, numbered, wall_features
from meshcomp.detection.gaps import gaps_of
from meshcomp.detection.joining import joined
from meshcomp.detection.leaning_cones import leaning_cones
from meshcomp.detection.leftovers import without_leftovers
from meshcomp.detection.lying_shapes import lying_pockets
from meshcomp.detection.open_slots import OpenSlot, named_open, open_slots
from meshcomp.detection.openings import with_openings
from meshcomp.detection.pairing import pairs
from meshcomp.detection.planes import couples_of, planes_of
from meshcomp.detection.polygons import without_polygons
from meshcomp.detection.scenes import Scene
from meshcomp.detection.shapes import shaped
from meshcomp.detection.tilting import is_nearly_round, settled_axis
from meshcomp.detection.walls import LEVEL_LIMIT, internal_faces, profiles
from meshcomp.features import Feature
from meshcomp.meshes import Mesh
from meshcomp.segmentation import planar_regions
from meshcomp.topology import Topology

__all__ = ["find_features"]

_AXES = np.eye(3)[[2, 0, 1]]  # the build direction first
_SAME_DIRECTION = 1 - 1e-8  # cosine


def find_features(
    mesh: Mesh, topology: Topology
) -> tuple[tuple[Feature, ...], NDArray[np.bool_]]:
    """Find the bores, bosses and walls of a closed mesh.

    Parameters
    ----------
    mesh : Mesh
        As it stands on the bed (Z up), mm.
    topology : Topology
        Its half-edges.

    Returns
    -------
    features : tuple of Feature
        With ids, sorted by kind and place; no face belongs to two of them.
    internal : (m,) bool
        Which wall faces bound a pocket.
    """
    regions = planar_regions(mesh, topology)
    scene = Scene(mesh, topology, regions, bends_of(mesh, topology, regions))
    taken = np.zeros(len(mesh.faces), dtype=bool)
    found, level = cylinders_along(scene, _AXES[0], taken)
    _take(taken, found)
    sections = []
    for direction in _AXES[1:]:
        across, outlines = cylinders_along(scene, direction, taken)
        _take(taken, across)
        found += across
        sections.append((direction, outlines))
    found = without_leftovers(scene, found, _oblique(scene, taken))
    round_features = cylinder_features(scene, without_polygons(joined(scene, found)))
    taken[:] = False
    for feature in round_features:
        taken[feature.faces] = taken[feature.entry_faces] = True

    horizontal = np.hypot(*scene.regions.face_normals[:, :2].T)
    walls = (horizontal > LEVEL_LIMIT) & ~taken
    lying = lying_pockets(scene, sections, walls, round_features)
    for pocket in lying:
        walls[pocket.faces] = False
    cones = leaning_cones(scene, walls)
    for cone in cones:
        walls[cone.faces] = False
    lying += cones
    internal = internal_faces(scene, level, walls)
    planes = planes_of(scene, level, walls, internal)
    couples = couples_of(planes)
    gaps = gaps_of(planes, couples, level)
    straight = pairs(mesh, planes, couples)
    slots = open_slots(scene, level, planes, gaps, straight)
    straight += [slot.pair for slot in slots]
    paired = np.zeros(len(mesh.faces), dtype=bool)
    for pair in straight:
        paired[pair.faces] = True
    for shape in lying:
        internal[shape.faces] = shape.is_internal
    _count_as_internal(scene, slots, internal, walls & ~paired)
    rest = profiles(scene, level, walls, internal, paired)
    described: list[Feature] = [*round_features, *wall_features(scene, straight, rest)]
    named = named_open(shaped(scene, level, described), slots)
    features = numbered(with_openings(scene, [*named, *lying]))
    between = distances(mesh, planes, couples, gaps, features)
    return numbered([*features, *between]), internal


def _count_as_internal(
    scene: Scene,
    slots: list[OpenSlot],
    internal: NDArray[np.bool_],
    free: NDArray[np.bool_],
) -> None:
    """Count walls of open slots, and free faces that go with them, as those of pockets."""
    beside = np.zeros(len(scene.regions.areas), dtype=bool)
    for slot in slots:
        internal[slot.pair.faces] = True
        beside[slot.regions] = True
    internal |= beside[scene.regions.of_face] & free


def _oblique(scene: Scene, taken: NDArray[np.bool_]) -> list[CylinderFaces]:
    """Cylinders about other axes; those that share a direction are found together."""
    found: list[CylinderFaces] = []
    searched: list[NDArray[np.float64]] = []
    for proposal in oblique_axes(scene, ~taken):
        faces = proposal.faces[~taken[proposal.faces]]
        if len(faces) < len(proposal.faces) / 2:
            continue
        direction, is_bare = _settled(scene, proposal, faces)
        if direction is None or is_coordinate(direction):
            continue
        across = cylinders_along(scene, direction, taken, whole=False)[0]
        _take(taken, across)
        if is_bare and not across:
            continue  # looked at once already
        mine = cylinders_on(scene, direction, faces[~taken[faces]])
        _take(taken, mine)
        found += across + mine
        if across + mine and not _is_one_of(direction, searched):
            # Where no facet runs along the axis, others about it show as patches only.
            _take(taken, others := cylinders_on(scene, direction, np.flatnonzero(~taken)))
            found += others
            searched.append(direction)
    return found


def _is_one_of(direction: NDArray[np.float64], others: list[NDArray[np.float64]]) -> bool:
    return any(abs(float(direction @ other)) > _SAME_DIRECTION for other in others)


def _settled(
    scene: Scene, proposal: Proposal, faces: NDArray[np.int64]
) -> tuple[NDArray[np.float64] | None, bool]:
    """Direction as the largest cylinder among some faces has it; None for a bad patch.

    And whether no cylinder was seen about that direction.
    """
    direction = proposal.direction
    seen = cylinders_on(scene, direction, faces)
    if not seen and (proposal.is_patch or is_nearly_round(scene, faces, direction)):
        direction = settled_axis(scene, faces, direction)
        seen = cylinders_on(scene, direction, faces)
    if seen:
        # What was found may still lean: tilt the axis as its own faces want it.
        largest = max(seen, key=lambda cylinder: len(cylinder.faces))
        return settled_axis(scene, largest.faces, direction), False
    return (None if proposal.is_patch else direction), True


def _take(taken: NDArray[np.bool_], found: list[CylinderFaces]) -> None:
    for cylinder in found:
        taken[cylinder.faces] = True
