"""Solids of sides: closed forms ½ n r² sin(2π/n) of prisms, crossings by pymeshlab."""

from __future__ import annotations

from math import pi, sin

import numpy as np
import pymeshlab
import pytest

from meshcomp.errors import NotASolidError
from meshcomp.meshes import Mesh
from meshcomp.scenario.outlines import circle
from meshcomp.scenario.prisms import cut_away, hole, laid, outside, prism, solid


def _ngon(facets, radius):
    return facets / 2 * radius**2 * sin(2 * pi / facets)


def _crossings(points, faces):
    meshes = pymeshlab.MeshSet()
    meshes.add_mesh(pymeshlab.Mesh(np.array(points), np.array(faces)))
    meshes.compute_selection_by_self_intersections_per_face()
    return meshes.current_mesh().selected_face_number()


def test_faces_below_an_overhang_look_down():
    mushroom = solid(
        [outside(circle(2.0, 24), 0.0, 3.0), outside(circle(5.0, 24), 3.0, 4.0)]
    )
    assert mushroom.volume == pytest.approx(3 * _ngon(24, 2.0) + _ngon(24, 5.0), rel=1e-12)
    down = mushroom.area_vectors[(mushroom.corners[:, :, 2] == 3.0).all(axis=1)]
    assert down[:, 2].sum() == pytest.approx(_ngon(24, 2.0) - _ngon(24, 5.0), rel=1e-12)


def test_a_step_out_and_a_step_in_may_share_a_height():
    stack = solid(
        [
            outside(circle(9.0, 32), 0.0, 2.0),
            hole(circle(6.0, 32), 0.0, 2.0),
            outside(circle(7.0, 48), 2.0, 5.0),
            hole(circle(3.0, 48), 2.0, 5.0),
        ]
    )
    volume = 2 * (_ngon(32, 9.0) - _ngon(32, 6.0)) + 3 * (_ngon(48, 7.0) - _ngon(48, 3.0))
    assert stack.volume == pytest.approx(volume, rel=1e-12)
    assert _crossings(stack.vertices, stack.faces) == 0
    assert stack.to_trimesh().is_watertight


def test_every_outline_point_keeps_its_bits():
    outline = circle(1 / 3, 25, centre=(0.1, 0.7))
    cylinder = prism(outline, [], 0.1, 0.3)
    for at in (0.1, 0.3):
        level = cylinder.vertices[cylinder.vertices[:, 2] == at, :2]
        assert level.tolist() == outline.tolist()


@pytest.mark.parametrize(("along", "order"), [("X", [1, 2, 0]), ("Y", [2, 0, 1])])
def test_laying_a_solid_changes_neither_volume_nor_orientation(along, order):
    upright = prism(circle(3.0, 24), [circle(1.0, 24)], -2.0, 5.0)
    lying = laid(upright, along)
    assert lying.volume == pytest.approx(upright.volume, rel=1e-12)
    assert lying.vertices[:, order].tolist() == upright.vertices.tolist()


def test_material_inside_material_is_refused():
    with pytest.raises(NotASolidError, match=r"lie inside each other at the height 0.0 mm"):
        solid([outside(circle(5.0, 24), 0.0, 2.0), outside(circle(3.0, 24), 0.0, 2.0)])


def test_an_open_cutter_is_refused():
    blank = prism(circle(5.0, 24), [], 0.0, 2.0)
    with pytest.raises(NotASolidError, match="a solid of 91 triangles cannot be cut"):
        cut_away([blank], [Mesh(blank.vertices, blank.faces[1:])])


def test_cutting_joins_blanks_and_takes_cutters_away():
    # Two blocks that overlap by 1 mm, and a bore through both of them.
    square = np.array([(-5.0, -5.0), (5.0, -5.0), (5.0, 5.0), (-5.0, 5.0)])
    blanks = [prism(square, [], 0.0, 4.0), prism(square / 2, [], 3.0, 9.0)]
    part = cut_away(blanks, [prism(circle(1.0, 48), [], -1.0, 10.0)])
    volume = 100 * 4 + 25 * 5 - 9 * _ngon(48, 1.0)
    assert part.volume == pytest.approx(volume, rel=1e-12)
    assert part.to_trimesh().is_watertight
    on_bore = np.hypot(*part.vertices[:, :2].T) < 1.1
    assert np.hypot(*part.vertices[on_bore, :2].T) == pytest.approx(1.0, abs=1e-14)
    assert np.count_nonzero(on_bore) == 2 * 48
