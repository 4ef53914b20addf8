"""Diameters of walls whose meshes were made anew, against those of the exact solids.

Outside references: faces of the B-rep solid (`outside.cylinders`); pymeshlab's isotropic
remeshing and quadric decimation.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from matched import diameter_errors
from outside.cylinders import TrueCylinder, true_cylinders
from outside.random_parts import random_part
from outside.solids import tessellated
from remade import decimated, remeshed, shaken, single

from meshcomp.meshes import Mesh

PARTS = (0, 1, 2, 4)
WAYS = {"remeshed": remeshed, "decimated": decimated}
LEAST_DIAMETER = 3.0  # of smaller ones, edges of 1 mm leave little


@cache
def fine(seed: int) -> tuple[Mesh, list[TrueCylinder]]:
    solid = random_part(seed)
    return tessellated(solid, 0.004, 0.15), true_cylinders(solid)


@pytest.mark.slow
@pytest.mark.parametrize("way", WAYS)
def test_walls_made_anew_have_the_diameters_of_the_solid(way):
    # Corners lie inside the circle where remeshed, outside where decimated: their median
    # is off by 0.003 to 0.05.
    off = []
    for mesh, all_true in map(fine, PARTS):
        off += diameter_errors(WAYS[way](mesh), all_true, LEAST_DIAMETER)

    assert len(off) >= 10
    assert np.mean(np.array(off) <= 0.003) >= (0.95 if way == "remeshed" else 0.85)


@pytest.mark.parametrize("seed", PARTS[:2])
def test_noise_about_the_circle_is_no_old_facet(seed):
    mesh, all_true = fine(seed)
    noisy = shaken(mesh, np.random.default_rng(seed))
    off = diameter_errors(noisy, all_true, LEAST_DIAMETER)

    assert len(off) >= 2
    assert max(off) <= 0.0025  # half of it where corners would be taken for inside


def test_coordinates_rounded_far_away_are_exact_all_the_same():
    mesh, all_true = fine(0)
    shift = np.array([200.0, -150.0, 100.0])
    rounded = mesh.moved(single(mesh, shift).vertices - shift)
    off = diameter_errors(rounded, all_true, LEAST_DIAMETER)

    assert max(off) <= 5e-4
