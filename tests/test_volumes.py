"""The predicted change of volume is that of the exact offset, on small parts too.

Outside references: shapely's mitred buffer for outlines, closed forms of the frustum and
the cylinder, and the B-rep kernel for what is tessellated.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from build123d import Box, Cone, Cylinder, Location
from outside import plane
from outside.solids import exact_part, tessellate

import meshcomp
from meshcomp.lying_bores import Roof
from meshcomp.meshes import Mesh
from meshcomp.results import Compensated

HEIGHT = 4.0
ARM = [(0, 0), (6, 0), (6, 1.5), (1.5, 1.5), (1.5, 8), (0, 8)]  # walls 1.5 mm apart
FRAME = [[(0, 0), (7, 0), (7, 5), (0, 5)], [(2, 2), (2, 3), (5, 3), (5, 2)]]


def made(mesh: Mesh, rule: meshcomp.ByHand) -> Compensated:
    spacer = meshcomp.demo_part("shaft_spacer")
    one_piece = np.zeros(len(mesh.faces), dtype=np.int64)
    found = meshcomp.inspect(replace(spacer, mesh=mesh, piece_of_face=one_piece))
    return meshcomp.compensate(found, meshcomp.plan(found, rule))


@pytest.mark.parametrize("growth", [-0.15, -0.05, 0.05, 0.15])
@pytest.mark.parametrize(("rings", "opening"), [([ARM], 0.0), (FRAME, 0.1)])
def test_outlines_change_by_what_shapely_offsets_them(rings, opening, growth):
    rule = meshcomp.ByHand(wall_growth=growth, pocket_opening=opening)
    result = made(plane.prism(rings, 0, HEIGHT), rule)
    outer, holes = plane.areas(rings)
    after = plane.offset_outline(rings, growth, opening).area
    assert result.limits == ()
    assert result.predicted_volume_change == pytest.approx(
        HEIGHT * (after - outer + holes), rel=1e-5
    )


@pytest.mark.parametrize("growth", [-0.15, 0.0, 0.15])
def test_lying_countersunk_bore_changes_by_what_its_closed_form_says(growth):
    # A bore of 3 along Y through 6 mm, countersunk 90° to 6 mm wide. Its rim stays on the
    # wall, which moves, and the cone's ends move by the change of the radius.
    block = Box(12, 6, 12) - Location((0, 0, 0), (90, 0, 0)) * Cylinder(1.5, 20)
    cone = Location((0, 0, 0), (90, 0, 0)) * Location((0, 0, 2.25)) * Cone(1.5, 3, 1.5)
    solid = (block - cone).solid()
    mesh = tessellate(exact_part("sunk", solid), 0.005, 0.1)
    result = made(mesh, meshcomp.ByHand(wall_growth=growth, bore_opening=0.4))
    assert result.limits == ()
    change = result.part.mesh.volume - mesh.volume
    assert result.predicted_volume_change == pytest.approx(
        change, abs=0.003 * result.moved_volume
    )
    # Exact: the box, less a cylinder 0.2 wider over the straight part, less a frustum.
    side, deep = 12 + 2 * growth, 6 + 2 * growth
    frustum = np.pi * (1.5 + growth) / 3 * (1.7**2 + 1.7 * 3.2 + 3.2**2)
    straight = np.pi * 1.7**2 * (4.5 + growth)
    whole = side * deep * 12 - straight - frustum
    before = exact_part("sunk", solid).volume
    assert change == pytest.approx(whole - before, abs=0.02 * result.moved_volume)


@pytest.mark.parametrize("shape", ["flat", "pointed"])
def test_a_roof_alone_takes_what_lies_between_its_tangents_and_the_circle(shape):
    # Elementary geometry: two tangents at 45° that meet at r √2, and the quarter of the
    # circle between them, leave r² (1 - π/4); cut level with the circle's top, the tip is
    # a triangle r (√2 - 1) high and twice as wide.
    bore = Location((0, 0, 0), (90, 0, 0)) * Cylinder(1.5, 20)
    mesh = tessellate(exact_part("tube", (Box(12, 6, 12) - bore).solid()), 0.0005, 0.05)
    result = made(mesh, meshcomp.ByHand(roof=Roof(shape=shape)))
    tip = 1.5**2 * (np.sqrt(2) - 1) ** 2 if shape == "flat" else 0.0
    taken = 6 * (1.5**2 * (1 - np.pi / 4) - tip)
    change = result.part.mesh.volume - mesh.volume
    assert change == pytest.approx(-taken, abs=6 * 2 * np.pi * 1.5 * 0.001)
    assert result.predicted_volume_change == pytest.approx(change, rel=1e-4)


def test_a_wall_that_did_not_move_is_not_as_predicted():
    # The check must fail where a wall of the written part stands where it stood.
    mesh = plane.prism([ARM], 0, HEIGHT)
    result = made(mesh, meshcomp.ByHand(wall_growth=0.15))
    stuck = result.part.mesh.vertices.copy()
    far = stuck[:, 0] > 6
    stuck[far, 0] = 6.0
    wrong = result.part.mesh.moved(stuck).volume - mesh.volume
    assert abs(wrong - result.predicted_volume_change) > 0.02 * result.moved_volume


@pytest.mark.parametrize("growth", [-0.15, 0.05, 0.15])
@pytest.mark.parametrize("turn", [20.0, 33.0, 61.0])
def test_a_box_turned_about_y_changes_by_what_its_section_says(turn, growth):
    # Heights are kept. The corners beside go with the two faces that look their way; the
    # lowest and the highest lie between two that ask for opposite ways, each with the
    # weight of its face's horizontal part. So the section stays a quadrangle of known
    # corners, and the upright ends move by the growth.
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    wide, high, deep = 12.0, 7.0, 6.0
    section = np.array([(0, 0), (wide, 0), (wide, high), (0, high)]) @ [[c, s], [-s, c]]
    box = plane.prism([[(0, 0), (wide, 0), (wide, deep), (0, deep)]], 0, high)
    across = box.vertices[:, [0, 2]] @ [[c, s], [-s, c]]
    mesh = box.moved(np.column_stack([across[:, 0], box.vertices[:, 1], across[:, 1]]))
    result = made(mesh, meshcomp.ByHand(wall_growth=growth))
    between = growth * (s - c) / (s + c)
    after = section + np.array([(between, 0), (growth, 0), (-between, 0), (-growth, 0)])
    x, z = after.T
    area = float(x @ np.roll(z, -1) - z @ np.roll(x, -1)) / 2  # Gauss's area formula
    change = area * (deep + 2 * growth) - wide * high * deep
    assert result.limits == ()
    assert result.part.mesh.volume - mesh.volume == pytest.approx(change, rel=1e-4)
    assert result.predicted_volume_change == pytest.approx(change, rel=1e-4)


@pytest.mark.parametrize("growth", [-0.15, 0.05, 0.15])
@pytest.mark.parametrize("turns", [(17, 23, 0), (-38, 12, 5), (51, -33, 20)])
def test_a_part_on_which_no_wall_stands_changes_as_predicted(turns, growth):
    # A tilted plate with a bore and a pocket that is left alone, which the walls around
    # draw along; planes that end at the bore are triangulated anew, and bent. The change
    # is the part's own, by the divergence theorem as trimesh has it.
    plate = Box(30, 22, 8) - Location((8, 3, 0)) * Cylinder(2.5, 20)
    plate -= Location((-6, 0, 2)) * Box(9, 12, 6)
    tilted = (Location((0, 0, 0), turns) * plate).solid()
    mesh = tessellate(exact_part("tilted", tilted), 0.005, 0.1)
    result = made(mesh, meshcomp.ByHand(wall_growth=growth, bore_opening=0.2))
    assert result.limits == ()
    change = result.part.mesh.to_trimesh().volume - mesh.to_trimesh().volume
    assert abs(change) > 0.1 * result.moved_volume
    assert result.predicted_volume_change == pytest.approx(
        change, abs=0.003 * result.moved_volume
    )
