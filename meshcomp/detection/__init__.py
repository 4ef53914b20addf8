"""Features of size found in a part: bores, bosses and walls."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.bends import bends_of
from meshcomp.detection.cylinders import cylinders_along, take
from meshcomp.detection.distances import distances
from meshcomp.detection.features import cylinder_features, numbered, wall_features
from meshcomp.detection.gaps import gaps_of
from meshcomp.detection.joining import joined
from meshcomp.detection.leaning_cones import leaning_cones
from meshcomp.detection.leftovers import without_leftovers
from meshcomp.detection.lying_shapes import lying_pockets
from meshcomp.detection.oblique import oblique_cylinders
from meshcomp.detection.open_slots import OpenSlot, named_open, open_slots
from meshcomp.detection.openings import with_openings
from meshcomp.detection.pairing import pairs
from meshcomp.detection.planes import couples_of, planes_of
from meshcomp.detection.polygons import without_polygons
from meshcomp.detection.scenes import Scene
from meshcomp.detection.shapes import shaped
from meshcomp.detection.walls import LEVEL_LIMIT, internal_faces, profiles
from meshcomp.features import Feature
from meshcomp.meshes import Mesh
from meshcomp.segmentation import planar_regions
from meshcomp.topology import Topology

__all__ = ["find_features"]

_AXES = np.eye(3)[[2, 0, 1]]  # the build direction first


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
    take(taken, found)
    sections = []
    for direction in _AXES[1:]:
        across, outlines = cylinders_along(scene, direction, taken)
        take(taken, across)
        found += across
        sections.append((direction, outlines))
    found = without_leftovers(scene, found, oblique_cylinders(scene, taken))
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
