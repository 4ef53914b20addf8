"""Bores are found however their circles were divided into facets.

Outside reference: corners on true circles by construction, and trimesh's extrusion
(`outside.rings`).
"""

from __future__ import annotations

import numpy as np
import pytest
from matched import assert_all_found
from outside.rings import RINGS, ringed_plate
from remade import shaken, single, turned
from scipy.spatial.transform import Rotation

AWAY = np.array([200.0, -150.0, 100.0])


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("kind", RINGS)
def test_bores_are_found_however_their_circles_are_divided(kind, seed):
    mesh, all_true = ringed_plate(kind, seed)

    assert_all_found(mesh, all_true, (0.003, 0.1))


@pytest.mark.parametrize("seed", range(4, 6))
@pytest.mark.parametrize("kind", RINGS)
def test_bores_of_turned_plates_rounded_far_away_are_found(kind, seed):
    mesh, all_true = ringed_plate(kind, seed)
    turn = Rotation.random(random_state=seed).as_matrix()
    rounded = single(turned(mesh, turn), AWAY)

    assert_all_found(
        rounded.moved(rounded.vertices - AWAY),
        [true.moved(turn) for true in all_true],
        (0.003, 0.1),
    )


@pytest.mark.parametrize("seed", [27, 31])
def test_bores_whose_halves_differ_are_found_in_shaken_plates(seed):
    # Noise tilts both triangles of a wide facet, each its own way.
    mesh, all_true = ringed_plate("halves", seed)

    assert_all_found(shaken(mesh, np.random.default_rng(seed)), all_true, (0.003, 0.1))
