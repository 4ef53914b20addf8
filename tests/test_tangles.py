"""Parts that cross themselves: no more faces cross after compensation, and none is refused.

Outside references: pymeshlab counts the crossing and open edges and faces; manifold3d, by
way of trimesh, makes the parts.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from outside.crossings import crossing_faces, open_edges

import meshcomp
from meshcomp.compensation import offsetting
from meshcomp.meshes import Mesh

HOLES = ((10, 4), (10, 16), (32, 4.5), (32, 15.5), (25, 4.5))


def block(low, high):
    made = trimesh.creation.box(np.subtract(high, low))
    made.apply_translation(np.add(low, high) / 2)
    return made


def part_of(made):
    mesh = Mesh(made.vertices.astype(np.float32).astype(float), np.array(made.faces))
    spacer = meshcomp.demo_part("shaft_spacer")
    one_piece = np.zeros(len(mesh.faces), dtype=np.int64)
    return replace(spacer, name="trial", mesh=mesh, piece_of_face=one_piece)


def plate_through_which_its_tongue_goes():
    """Return a plate with bores and a tongue above it, bent down until it pierces it."""
    blocks = [((0, 0, 0), (40, 20, 4)), ((0, 0, 3), (4, 20, 12)), ((2, 8, 8), (40, 12, 12))]
    whole = trimesh.boolean.union([block(*corners) for corners in blocks])
    pins = []
    for x, y in HOLES:
        pin = trimesh.creation.cylinder(2, 12, sections=24)
        pin.apply_translation((x, y, 0))
        pins.append(pin)
    whole = trimesh.boolean.difference([whole, *pins])
    vertices = np.array(whole.vertices)
    vertices[(vertices[:, 0] > 35) & (vertices[:, 2] > 6)] -= (3, 0, 9.5)
    return part_of(trimesh.Trimesh(vertices, whole.faces, process=False))


@pytest.mark.parametrize("growth", [-0.15, 0.05, 0.15])
def test_a_part_that_crosses_itself_does_so_with_no_more_faces(growth):
    part = plate_through_which_its_tongue_goes()
    before = crossing_faces(part.mesh)
    assert before > 20
    found = meshcomp.inspect(part)
    rule = meshcomp.ByHand(wall_growth=growth, bore_opening=0.2)
    made = meshcomp.compensate(found, meshcomp.plan(found, rule))
    assert crossing_faces(made.part.mesh) <= before
    assert open_edges(made.part.mesh) == 0
    # All five bores get their size, though they may keep their 24 facets.
    sizes = [c.nominal_size for c in meshcomp.inspect(made.part).cylinders]
    assert sizes == pytest.approx([4.2] * len(HOLES), abs=1e-3)
    held = [limit for limit in made.limits if limit.used != limit.wanted]
    assert not held
    assert {limit.reason.split(":")[0] for limit in made.limits} == {
        "it crosses other faces already, and would with more of its own"
    }


@pytest.mark.parametrize("growth", [-0.15, 0.15])
def test_where_tries_do_not_help_all_stands_still_about_the_place(growth, monkeypatch):
    whole = block((0, 0, 0), (30, 20, 5))
    pins = []
    for x in (8, 14.05, 20.2):  # walls of 0.05 and 0.15 between bores of 6
        pin = trimesh.creation.cylinder(3, 12, sections=40)
        pin.apply_translation((x, 10, 2))
        pins.append(pin)
    part = part_of(trimesh.boolean.difference([whole, *pins]))
    found = meshcomp.inspect(part)
    rule = meshcomp.ByHand(wall_growth=growth, bore_opening=0.2)
    monkeypatch.setattr(offsetting, "_TRIES", 1)
    made = meshcomp.compensate(found, meshcomp.plan(found, rule))
    assert crossing_faces(made.part.mesh) == open_edges(made.part.mesh) == 0
    assert {limit.reason for limit in made.limits} >= {"faces would cross"}
    # What is far from the place goes all the way.
    went = np.abs(made.part.mesh.bounds - part.mesh.bounds)
    assert went.max() == pytest.approx(abs(growth), abs=1e-4)
