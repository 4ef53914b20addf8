"""Films, two faces back to back without area, go; what bodies touch with stays.

Outside references: Euler's formula for the handles of what is left, and the closed form of
the volume of a box.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh

import meshcomp
from meshcomp.compensation.films import in_films, joined_ends
from meshcomp.meshes import Mesh
from meshcomp.topology import bodies_of, genus, topology_of

SOLIDS = Path(__file__).parents[1] / ".." / "shared" / "data" / "solid"
BOX = trimesh.creation.box((4, 4, 4))


def box_with_film() -> Mesh:
    """Return a box with a point on one of its edges, and a film along that edge."""
    corners = np.array(BOX.vertices)
    faces = np.array(BOX.faces)
    a, b = faces[0, :2]
    middle = len(corners)
    film = [(a, middle, b), (b, middle, a)]
    return Mesh([*corners, (corners[a] + corners[b]) / 2], [*faces.tolist(), *film])


@pytest.mark.parametrize("made_anew", [(12,), (13,), (12, 13)])
def test_a_film_goes_and_the_rest_is_closed(made_anew):
    mesh = box_with_film()
    fresh = np.isin(np.arange(14), made_anew)
    films = in_films(mesh, fresh)
    assert np.flatnonzero(films).tolist() == [12, 13]
    rest = Mesh(mesh.vertices, mesh.faces[~films])
    assert topology_of(rest).is_closed
    assert genus(topology_of(rest), int(bodies_of(rest).max()) + 1) == 0
    assert rest.volume == pytest.approx(64)


@pytest.mark.parametrize("out", [0.03, -0.03])
def test_a_film_that_sticks_out_goes_though_it_has_an_area(out):
    mesh = box_with_film()
    corners = mesh.vertices.copy()
    corners[-1] += out * corners[-1] / np.linalg.norm(corners[-1])
    bent = Mesh(corners, mesh.faces)
    films = in_films(bent, np.arange(14) == 12)
    assert np.flatnonzero(films).tolist() == [12, 13]
    assert topology_of(Mesh(corners, bent.faces[~films])).is_closed


def test_nothing_goes_where_nothing_was_made_anew():
    assert not in_films(box_with_film(), np.zeros(14, dtype=bool)).any()


def test_faces_that_bodies_touch_with_stay():
    one, other = np.array(BOX.vertices), np.array(BOX.vertices) + [4, 0, 0]
    vertices, index = np.unique(np.concatenate([one, other]), axis=0, return_inverse=True)
    faces = np.concatenate([BOX.faces, np.array(BOX.faces)[:, ::-1] + 8])
    mirrored = index.ravel()[faces]  # inside out, so that faces lie back to back
    mesh = Mesh(vertices, mirrored)
    assert not in_films(mesh, np.ones(24, dtype=bool)).any()


def test_a_face_without_area_that_is_alone_stays():
    line = [(0, 0, 0), (1, 0, 0), (3, 0, 0), (1, 1, 0)]
    mesh = Mesh(line, [(0, 1, 2), (0, 3, 1), (1, 3, 2)])
    assert not in_films(mesh, np.ones(3, dtype=bool)).any()


def test_ends_in_one_place_are_joined_and_the_rest_is_closed():
    box = np.array(BOX.vertices)
    sphere = trimesh.creation.icosphere(2, 5.0)
    for corners, shape in ((box, BOX), (np.array(sphere.vertices), sphere)):
        faces = np.array(shape.faces)
        a, b = faces[3, :2]
        corners[a] = corners[b]
        mesh = Mesh(corners, faces)
        joined, whole = joined_ends(mesh, np.ones(len(faces), dtype=bool))
        assert np.count_nonzero(~whole) == 2  # the two faces at that edge
        rest = Mesh(corners, joined[whole])
        assert topology_of(rest).is_closed
        assert rest.volume == pytest.approx(mesh.volume)
        assert genus(topology_of(rest), 1) == 0


def test_points_in_one_place_that_share_no_edge_stay_two():
    bodies = [BOX.faces, np.array(BOX.faces) + 8]  # two in one place
    mesh = Mesh(np.tile(BOX.vertices, (2, 1)), np.concatenate(bodies))
    faces, whole = joined_ends(mesh, np.ones(24, dtype=bool))
    assert np.array_equal(faces, mesh.faces)
    assert whole.all()


@pytest.mark.slow
@pytest.mark.skipif(not SOLIDS.is_dir(), reason="the real meshes are not here")
@pytest.mark.parametrize(("name", "growth"), [("s01", 0.05), ("s18", -0.05)])
def test_bodies_and_holes_of_touching_bodies_are_kept(name, growth, tmp_path):
    part = meshcomp.repair(meshcomp.read(SOLIDS / f"{name}.stl"))
    rule = meshcomp.ByHand(wall_growth=growth, bore_opening=0.2)
    record = meshcomp.compensate_part(part, tmp_path / "out.stl", rule)
    before, after = record.inspection.solid, record.verification.solid
    assert (before.bodies, before.genus) == (after.bodies, after.genus)
    (check,) = (c for c in record.verification.checks if c.name == "bodies and holes")
    assert check.passed
