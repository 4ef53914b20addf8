"""Cones about any axis, against the dimensions that the B-rep kernel built them with."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from build123d import Box, Cone, Pos, Rot
from outside.solids import tessellated
from remade import inspected

import meshcomp
from meshcomp.meshes import Mesh

TURNS = {"along Y": (90, 0, 0), "along X": (0, 90, 0), "slanting": (35, 20, 10)}
TRUE = [  # is a hole, widths at both ends, angle by its height of 16 or 10
    (False, 16.0, 24.0, 2 * math.degrees(math.atan(4 / 10))),
    (True, 8.0, 14.0, 2 * math.degrees(math.atan(3 / 16))),
    (True, 8.4, 11.4, 2 * math.degrees(math.atan(1.5 / 10))),
]


@cache
def mesh_of(turn: str, fineness: float):
    """Return a block with a conical hole, and with a conical spigot that has another."""
    body = Box(30, 30, 16) - Pos(-10, -10, 0) * Cone(4, 7, 16)
    body += Pos(0, 0, 13) * Cone(12, 8, 10)
    hole = Pos(0, 0, 13) * Cone(4.2, 5.7, 10)
    return tessellated((Rot(*TURNS[turn]) * (body - hole)).solid(), 0.05, fineness)


def cones(mesh):
    walls = inspected(mesh).walls
    return [w for w in walls if w.shape is not None and w.shape.name == "cone"]


@pytest.mark.parametrize("fineness", [0.5, 0.15])
@pytest.mark.parametrize("turn", TURNS)
def test_cones_about_any_axis_have_their_name_and_their_measures(turn, fineness):
    found = cones(mesh_of(turn, fineness))
    rows = sorted((c.is_internal, *(dict(c.shape.measures).values())) for c in found)

    expected = sorted((hole, angle, low, high) for hole, low, high, angle in TRUE)
    assert [row[0] for row in rows] == [row[0] for row in expected]
    assert np.array([row[1:] for row in rows], dtype=float) == pytest.approx(
        np.array([row[1:] for row in expected]), abs=0.01
    )


def test_a_lying_conical_hole_is_left_alone_and_a_spigot_grows_with_the_walls():
    found = inspected(mesh_of("along X", 0.15))
    wanted = meshcomp.plan(
        found, meshcomp.ByHand(wall_growth=-0.05, pocket_opening=0.04, bore_opening=0.2)
    )
    by_id = {c.feature_id: c for c in wanted.corrections}

    for cone in (w for w in found.walls if w.shape is not None and w.shape.name == "cone"):
        offset = by_id[cone.id].offset
        assert offset == (0.0 if cone.is_internal else pytest.approx(-0.05))
        assert by_id[cone.id].reason.startswith("lying") == cone.is_internal
    made = meshcomp.compensate(found, wanted)
    assert made.part.mesh.volume < found.part.mesh.volume


def lying_waist(rows: int, around: int) -> Mesh:
    """Turn the arc x = 14 - 8 cos t about the Y axis; caps close it: true by formula."""
    t = np.linspace(-np.pi / 3, np.pi / 3, rows + 1)
    turn = 2 * np.pi * np.arange(around) / around
    radii = (14 - 8 * np.cos(t))[:, None]
    rings = np.stack(
        np.broadcast_arrays(
            radii * np.sin(turn), 8 * np.sin(t)[:, None], radii * np.cos(turn)
        ),
        axis=-1,
    )
    ends = [[[0, 8 * np.sin(t[0]), 0]], [[0, 8 * np.sin(t[-1]), 0]]]
    i, j = np.divmod(np.arange(rows * around), around)
    a, b = i * around + j, i * around + (j + 1) % around
    side = np.concatenate(
        [np.column_stack([a, b, b + around]), np.column_stack([a, b + around, a + around])]
    )
    j, low, last = np.arange(around), (rows + 1) * around, rows * around
    caps = [np.column_stack([(j + 1) % around, j, np.full(around, low)])]
    caps += [np.column_stack([last + j, last + (j + 1) % around, np.full(around, low + 1)])]
    return Mesh(
        np.concatenate([rings.reshape(-1, 3), *ends]), np.concatenate([side, *caps])
    )


@pytest.mark.parametrize("rows", [8, 24])
def test_rows_of_facets_of_a_waisted_body_are_no_cones(rows):
    assert cones(lying_waist(rows, 64)) == []
