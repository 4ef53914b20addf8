"""Cylinders found in parts drawn at random, against those of their exact solids.

Outside reference: the faces of the B-rep solid (`outside.cylinders`); of its cylinders,
those are looked for that go all around. Spare pieces may be found or not.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from outside.cylinders import TrueCylinder, true_cylinders
from outside.random_parts import random_part
from outside.solids import tessellated
from remade import inspected, shaken, single, turned
from scipy.spatial.transform import Rotation

from meshcomp.features import Cylinder
from meshcomp.meshes import Mesh

PARTS = range(12)
WHOLE = 350.0  # degrees
LEAST_DIAMETER = 1.0
SAME_PLACE = 0.05
SAME_SIZE = 0.1
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


def is_on(found: Cylinder, true: TrueCylinder) -> bool:
    off = found.point - true.foot
    return (
        found.is_internal == true.is_internal
        and abs(found.direction @ true.axis) > 1 - 1e-4
        and float(np.linalg.norm(off - (off @ true.axis) * true.axis)) < SAME_PLACE
        and abs(found.nominal_size - true.diameter) < SAME_SIZE
        and _common(found, true) > 0.2 * (true.end - true.start)
    )


def _ends(found: Cylinder, true: TrueCylinder) -> tuple[float, float]:
    ends = np.sort(
        np.sign(true.axis @ found.direction) * np.array([found.start, found.end])
    )
    return float(ends[0]), float(ends[1])


def _common(found: Cylinder, true: TrueCylinder) -> float:
    low, high = _ends(found, true)
    return min(high, true.end) - max(low, true.start)


def off_by(found: Cylinder, true: TrueCylinder, all_true: list[TrueCylinder]) -> float:
    """How far the farther end is from an end of a piece of this cylinder, mm."""
    low, high = _ends(found, true)
    pieces = [piece for piece in all_true if is_on(found, piece)]
    starts = [abs(low - piece.start) for piece in pieces]
    ends = [abs(high - piece.end) for piece in pieces]
    return max(min(starts), min(ends))


def assert_all_found(mesh: Mesh, all_true: list[TrueCylinder], limits) -> None:
    """Compare diameters and ends with limits, mm; nothing else may be found."""
    found = [f for f in inspected(mesh).cylinders if f.nominal_size >= LEAST_DIAMETER]
    for true in all_true:
        if true.span <= WHOLE or true.diameter < LEAST_DIAMETER:
            continue
        mine = [f for f in found if is_on(f, true)]
        assert mine, true
        best = max(mine, key=lambda f: _common(f, true))
        assert best.nominal_size == pytest.approx(true.diameter, abs=limits[0])
        assert off_by(best, true, all_true) <= limits[1], (true, best.start, best.end)
    assert [f for f in found if not any(is_on(f, t) for t in all_true)] == []


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
