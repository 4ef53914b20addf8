"""What inspecting says of a solid, its stand and its sizes; and what it refuses.

Outside references: volumes and bounds of the B-rep kernel, trimesh for bodies and Euler's
number.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from outside import brep, plane

import meshcomp
from meshcomp.errors import NotASolidError
from meshcomp.meshes import Mesh, concatenate
from meshcomp.parts import Part
from meshcomp.scenario import demo_parts
from meshcomp.stands import stand
from meshcomp.topology import topology_of


def part_of(mesh: Mesh, up: str = "+Z") -> Part:
    """Return a part of a mesh given as it stands on the bed."""
    one_piece = np.zeros(len(mesh.faces), dtype=np.int64)
    return replace(
        meshcomp.demo_part("shaft_spacer"),
        name="trial",
        mesh=mesh,
        stand=stand(up),
        piece_of_face=one_piece,
    )


def circle(diameter, facets=48, centre=(0, 0)):
    turns = 2 * np.pi * np.arange(facets) / facets
    return diameter / 2 * np.column_stack([np.cos(turns), np.sin(turns)]) + centre


def bored(*diameters: float) -> Mesh:
    """Return a plate with a row of bores."""
    length = 40.0 * len(diameters)
    outline = np.array([(0, 0), (length, 0), (length, 40), (0, 40)])
    holes = [circle(d, centre=(20 + 40 * k, 20))[::-1] for k, d in enumerate(diameters)]
    return plane.prism([outline, *holes], 0, 5)


@pytest.mark.parametrize("name", brep.PARTS)
def test_solid_has_the_volume_and_bounds_of_the_exact_one(name):
    part = brep.PARTS[name]()
    solid = meshcomp.inspect(part_of(brep.tessellate(part, 0.002, 0.1))).solid
    assert solid.volume == pytest.approx(part.volume, rel=1e-4)
    # Facets of a round outside may lie that much inside it.
    assert np.array(solid.bounds) == pytest.approx(part.bounds, abs=0.002)
    assert (solid.is_watertight, solid.bodies) == (True, 1)


@pytest.mark.parametrize("name", sorted(demo_parts()))
def test_bodies_and_handles_are_those_that_trimesh_counts(name):
    part = meshcomp.demo_part(name)
    solid = meshcomp.inspect(part).solid
    other = trimesh.Trimesh(part.mesh.vertices, part.mesh.faces, process=False)
    assert solid.bodies == other.body_count
    assert 2 * (solid.bodies - solid.genus) == other.euler_number
    assert solid.triangles == len(other.faces)
    assert solid.volume == pytest.approx(other.volume, rel=1e-12)


def test_two_bodies_are_counted_as_two():
    one = bored(8.0)
    both = concatenate([one, one.moved(one.vertices + (0, 60, 0))])
    solid = meshcomp.inspect(part_of(both)).solid
    assert (solid.bodies, solid.genus) == (2, 2)


def test_bounds_are_in_the_frame_of_the_file():
    mesh = bored(8.0)
    found = meshcomp.inspect(part_of(mesh, "+X"))
    assert found.solid.bounds == ((0.0, 0.0, 0.0), (5.0, 40.0, 40.0))


def test_open_mesh_is_refused_with_the_place_and_the_number_of_edges():
    mesh = bored(8.0)
    holed = Mesh(mesh.vertices, mesh.faces[1:])
    with pytest.raises(NotASolidError, match=r"trial: not a closed solid: 3 open edges"):
        meshcomp.inspect(part_of(holed))
    with pytest.raises(NotASolidError, match=r"first at \(-?\d+\.\d{3}, .* mm: repair"):
        meshcomp.inspect(part_of(holed))


def test_the_place_of_an_opening_is_in_the_frame_of_the_file():
    mesh = bored(8.0)
    corners = mesh.corners[0] + 0.0
    holed = Mesh(mesh.vertices, mesh.faces[1:])
    with pytest.raises(NotASolidError) as caught:
        meshcomp.inspect(part_of(holed, "-Y"))
    places = ["({:.3f}, {:.3f}, {:.3f})".format(*c) for c in stand("-Y").to_file(corners)]
    assert any(place in str(caught.value) for place in places)


def test_mesh_inside_out_is_refused_with_its_volume():
    mesh = bored(8.0)
    turned = Mesh(mesh.vertices, mesh.faces[:, ::-1])
    with pytest.raises(NotASolidError, match=r"inside out \(volume -77\d\d\.\d{3} mm³\)"):
        meshcomp.inspect(part_of(turned))


def test_a_mesh_of_which_every_face_stands_there_twice_is_refused():
    # It is closed, and to manifold3d a solid of twice the volume.
    mesh = bored(8.0)
    twice = Mesh(mesh.vertices, np.concatenate([mesh.faces, mesh.faces]))
    assert topology_of(twice).is_closed
    count = len(mesh.faces)
    with pytest.raises(NotASolidError, match=f"{count} faces stand in the mesh more than"):
        meshcomp.inspect(part_of(twice))
    assert meshcomp.inspect(meshcomp.repair(part_of(twice))).solid.bodies == 1


def test_errors_of_a_solid_are_value_errors_too():
    assert issubclass(NotASolidError, ValueError)


def test_stands_count_bores_that_stand_and_lie():
    found = meshcomp.inspect(meshcomp.demo_part("stepper_bracket"))
    now, *better = found.stands
    assert (now.up, now.standing, now.lying, now.leaning) == ("+Z", 2, 5, 0)
    assert [(count.up, count.standing) for count in better] == [("+Y", 5)]


def test_no_other_stand_is_named_where_none_is_better():
    found = meshcomp.inspect(meshcomp.demo_part("bearing_plate"))
    assert [count.up for count in found.stands] == ["+Z"]


def test_directions_of_stands_are_those_of_the_file():
    bracket = meshcomp.demo_part("stepper_bracket")
    turned = replace(bracket, stand=stand("+X"))
    now, *better = meshcomp.inspect(turned).stands
    # The bed's Y, along which five bores lie, is the file's Z with X up.
    assert (now.up, now.standing) == ("+X", 2)
    assert [(count.up, count.standing) for count in better] == [("+Z", 5)]


def test_sizes_adjusted_by_hand_are_noticed():
    notes = meshcomp.inspect(part_of(bored(20.06, 25.06, 8.0))).notes
    assert len(notes) == 1
    assert notes[0].startswith("2 sizes look adjusted by hand already (bore-01 20.06")


def test_round_sizes_raise_no_doubt():
    assert meshcomp.inspect(part_of(bored(20.0, 25.5, 8.0))).notes == ()


def test_one_odd_size_is_no_habit():
    assert meshcomp.inspect(part_of(bored(20.06, 25.0, 8.0))).notes == ()


def test_doubts_of_the_file_come_first():
    part = part_of(bored(20.06, 25.06, 8.0))
    asked = replace(part, source=replace(part.source, questions=("Is it in inches?",)))
    assert meshcomp.inspect(asked).notes[0] == "Is it in inches?"


def test_inspecting_changes_nothing():
    part = meshcomp.demo_part("bearing_plate")
    before = part.mesh.vertices.tobytes(), part.mesh.faces.tobytes()
    meshcomp.inspect(part)
    assert (part.mesh.vertices.tobytes(), part.mesh.faces.tobytes()) == before
