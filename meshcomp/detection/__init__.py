"""Features of size found in a part: bores, bosses and walls."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.cylinders import Scene, cylinders_along
from meshcomp.detection.features import cylinder_features, numbered, wall_features
from meshcomp.detection.walls import LEVEL_LIMIT, internal_faces, pairs, profiles
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
    scene = Scene(mesh, topology, planar_regions(mesh, topology))
    taken = np.zeros(len(mesh.faces), dtype=bool)
    found, level_rings = [], []
    for direction in _AXES:
        cylinders, rings = cylinders_along(scene, direction, taken)
        if direction[2] == 1.0:
            level_rings = rings
        for cylinder in cylinders:
            taken[cylinder.faces] = True
        found += cylinders
    round_features = cylinder_features(scene, found)
    for feature in round_features:
        taken[feature.entry_faces] = True

    horizontal = np.hypot(*scene.regions.face_normals[:, :2].T)
    walls = (horizontal > LEVEL_LIMIT) & ~taken
    internal = internal_faces(scene, level_rings, walls)
    straight = pairs(scene, level_rings, walls, internal)
    paired = np.zeros(len(mesh.faces), dtype=bool)
    for pair in straight:
        paired[pair.faces] = True
    rest = profiles(scene, level_rings, walls, internal, paired)
    return numbered([*round_features, *wall_features(scene, straight, rest)]), internal
