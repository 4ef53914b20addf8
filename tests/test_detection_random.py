"""Cylinders found in parts drawn at random, against those of their exact solids.

Outside reference: the faces of the B-rep solid (`outside.cylinders`); of its cylinders,
those are looked for that go all around. Spare pieces may be found or not.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from matched import WHOLE, assert_all_found
from outside.cylinders import TrueCylinder, true_cylinders
from outside.random_parts import random_part
from outside.solids import tessellated
from remade import decimated, divided, remeshed, shaken, single, turned
from scipy.spatial.transform import Rotation

from meshcomp.meshes import Mesh

PARTS = range(12)
TILT = Rotation.from_rotvec([0.3, -0.7, 0.5]).as_matrix()


@cache
def truth(seed: int) -> list[TrueCylinder]:
    return true_cylinders(random_part(seed))


@cache
def mesh_of(seed: int) -> Mesh:
    """Facets as fine or as coarse as the seed has it: some 16 to 120 around."""
    rng = np.random.default_rng(seed)
    turn = float(np.exp(rng.uniform(np.log(0.1), np.log(0.8))))
    return tessellated(random_part(seed), 0.05, turn)


def far(mesh: Mesh) -> Mesh:
    """Store it in 32 bits 1 m away, and bring it back, as rounded as it is there."""
    shift = np.array([1000.0, -700.0, 300.0])
    return mesh.moved(single(mesh, shift).vertices - shift)


def test_the_parts_have_cylinders_enough_to_judge_by():
    whole = [t for seed in PARTS for t in truth(seed) if t.span > WHOLE]

    assert sum(t.is_internal for t in whole) > 40
    assert sum(not t.is_internal for t in whole) > 6


@pytest.mark.parametrize("seed", PARTS)
def test_cylinders_of_a_random_part_are_found(seed):
    assert_all_found(mesh_of(seed), truth(seed), (0.003, 0.1))


@pytest.mark.parametrize("seed", PARTS)
def test_cylinders_of_a_turned_part_stored_far_away_are_found(seed):
    tilted = [true.moved(TILT) for true in truth(seed)]

    assert_all_found(far(turned(mesh_of(seed), TILT)), tilted, (0.003, 0.1))


@pytest.mark.parametrize("seed", PARTS[:8:2])
def test_cylinders_of_a_shaken_part_are_found(seed):
    # Fine facets: noise tilts them by more than one turns from the next.
    fine = tessellated(random_part(seed), 0.02, 0.07)
    mesh = shaken(fine, np.random.default_rng(seed))

    assert_all_found(mesh, truth(seed), (0.005, 0.1))


@pytest.mark.parametrize("seed", [1018, 3004, 3009])
def test_a_slanting_bore_that_crosses_others_is_found(seed):
    # Its patch holds walls of others, by which its axis was settled to one 0.2 degrees
    # off (1018); its facets are twisted, all one way (3004); few of them have an edge
    # along the axis (3009).
    tilted = [true.moved(TILT) for true in truth(seed)]

    assert_all_found(turned(mesh_of(seed), TILT), tilted, (0.003, 0.1))


def test_a_groove_that_a_hole_cuts_in_two_is_one_cylinder():
    # The hole is wider than the groove: two pieces of 178 degrees.
    assert_all_found(mesh_of(3002), truth(3002), (0.003, 0.1))


def test_a_bore_is_found_one_half_of_which_is_twisted_by_less_than_an_arc_minute():
    # Sections cut the corners of those facets: what they do not show is no bore by far.
    mesh = divided(mesh_of(1026), np.random.default_rng(1026))

    assert_all_found(mesh, truth(1026), (0.003, 0.1))


def test_triangles_at_a_rim_are_no_cylinder_beside_their_own():
    # Remeshing rounds the rim: some lay on the circle of a short bore that leant by a
    # degree. Ends are as sure as triangles are small.
    mesh = remeshed(tessellated(random_part(2022), 0.005, 0.05))

    assert_all_found(mesh, truth(2022), (0.003, 1.0))


@pytest.mark.parametrize("seed", [2004, 2018, 2020])
def test_a_cylinder_is_found_of_whose_corners_decimation_moved_some(seed):
    # Half of them lie on the circle to a few nanometres, the others 1 µm beside it.
    mesh = decimated(tessellated(random_part(seed), 0.002, 0.05))

    assert_all_found(mesh, truth(seed), (0.003, 0.1))
