"""What is held back where a mesh would fold or cross, and what stays exact beside it.

Sizes are measured by tests/outside/measure.py, crossings counted by pymeshlab.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import scipy.sparse.csgraph
import scipy.spatial
from outside import crossings, measure, plane

import meshcomp
from meshcomp.compensation.holding import _eased, held_more, held_still, nothing_held
from meshcomp.compensation.targets import Targets
from meshcomp.meshes import Mesh
from meshcomp.results import Compensated

SOLIDS = Path(__file__).parents[1] / ".." / "shared" / "data" / "solid"


def circle(diameter, facets, centre=(0.0, 0.0)):
    turns = 2 * np.pi * np.arange(facets) / facets
    return diameter / 2 * np.column_stack([np.cos(turns), np.sin(turns)]) + centre


def made(mesh: Mesh, rule: meshcomp.ByHand) -> Compensated:
    spacer = meshcomp.demo_part("shaft_spacer")
    one_piece = np.zeros(len(mesh.faces), dtype=np.int64)
    found = meshcomp.inspect(replace(spacer, mesh=mesh, piece_of_face=one_piece))
    return meshcomp.compensate(found, meshcomp.plan(found, rule))


def comb(gap: float) -> Mesh:
    """Return a plate 40 x 20 whose upper edge has one narrow notch, 8 mm deep.

    One of its sides leans a little, or it would be a slot and be left alone.
    """
    half = gap / 2
    outline = [(-20, -10), (20, -10), (20, 10), (half, 10), (half / 2, 2), (-half, 2)]
    return plane.prism([np.array([*outline, (-half, 10), (-20, 10)], dtype=float)], 0, 5)


def test_a_notch_that_would_close_is_held_and_the_far_walls_are_exact():
    result = made(comb(0.06), meshcomp.ByHand(wall_growth=0.05))
    mesh = result.part.mesh
    assert crossings.crossing_faces(mesh) == 0
    assert measure.width_between(mesh, (1, 0, 0), (0, -5, 2.5)) == pytest.approx(40.1)
    assert result.limits != ()
    assert min(limit.used for limit in result.limits) < 0.03


@pytest.mark.parametrize("half", [0.1, 0.1500001, 0.152])
def test_a_rib_thinner_than_what_is_taken_off_is_held_and_the_rest_is_exact(half):
    # Of 0.3000002 mm rounding would leave a film, of 0.304 no more than a film either.
    rib = [(half, 10), (half, 18), (-half, 18), (-half, 10)]
    outline = np.array([(-10, -10), (10, -10), (10, 10), *rib, (-10, 10)], dtype=float)
    plate = plane.prism([outline, circle(6, 48)[::-1]], 0, 8)
    result = made(plate, meshcomp.ByHand(wall_growth=-0.15, bore_opening=0.2))
    mesh = result.part.mesh
    assert crossings.crossing_faces(mesh) == 0
    ((limit, words),) = [(x, x.reason) for x in result.limits]
    assert (words, limit.wanted, limit.used) == ("nothing would be left of it", -0.15, 0)
    assert result.plan.of(limit.feature_id).nominal_size == pytest.approx(2 * half)
    width = measure.width_between(mesh, (1, 0, 0), (0, 14, 4))
    assert width == pytest.approx(2 * half, abs=1e-6)
    assert measure.width_between(mesh, (1, 0, 0), (0, -8, 4)) == pytest.approx(19.7)


def test_two_bores_that_would_grow_into_each_other_are_held_and_said_so():
    outline = np.array([(-20, -10), (20, -10), (20, 10), (-20, 10)], dtype=float)
    left, right = circle(8, 64, (-4.05, 0)), circle(8, 64, (4.05, 0))
    plate = plane.prism([outline, left[::-1], right[::-1]], 0, 5)
    result = made(plate, meshcomp.ByHand(bore_opening=0.3))
    assert crossings.crossing_faces(result.part.mesh) == 0
    assert {limit.feature_id for limit in result.limits} <= {"bore-01", "bore-02"}
    bores = meshcomp.inspect(result.part).cylinders
    assert sum(bore.nominal_size for bore in bores) < 16.2


def test_nothing_is_held_where_nothing_is_narrow():
    result = made(comb(3.0), meshcomp.ByHand(wall_growth=0.05))
    assert result.limits == ()


def test_a_slope_gives_way_to_the_wall_behind_it():
    # A roof from a wall at y = 0 falling to y = 20: over the ridge they want opposites.
    outline = np.array([(0, 0), (20, 0), (20, 10), (0, 10)], dtype=float)
    block = plane.prism([outline], 0, 8)
    low = (block.vertices[:, 1] == 10) & (block.vertices[:, 2] == 8)
    roof = block.moved(block.vertices - np.where(low[:, None], (0, 0, 2.0), 0.0))
    result = made(roof, meshcomp.ByHand(wall_growth=0.05))
    after = result.part.mesh
    ridge = after.vertices[after.vertices[:, 2] == 8]
    assert ridge[:, 1] == pytest.approx(-0.05, abs=1e-6)
    assert np.array_equal(measure.z_bounds(after), measure.z_bounds(roof))


def strip(count: int) -> tuple[Mesh, Targets]:
    """Return a strip of two rows of vertices, all on plain walls, and what it is asked."""
    row = np.arange(count, dtype=float)
    corners = np.concatenate(
        [np.column_stack([row, 0 * row, 0 * row]), np.column_stack([row, 0 * row + 1, row])]
    )
    a = np.arange(count - 1)
    faces = np.concatenate(
        [
            np.column_stack([a, a + 1, a + count]),
            np.column_stack([a + 1, a + count + 1, a + count]),
        ]
    )
    mesh = Mesh(corners, faces)
    bare = {k: np.zeros(0) for k in ("radius", "change")}
    places = {k: np.zeros((0, 3)) for k in ("point", "direction")}
    numbers = {k: np.zeros(0, dtype=np.int64) for k in ("vertex", "owner")}
    flags = {k: np.zeros(len(faces), dtype=bool) for k in ("is_round", "is_straight")}
    wanted = Targets(
        offset=np.zeros(len(faces)),
        feature=np.zeros(len(faces), dtype=np.int64),
        **bare,
        **places,
        **numbers,
        **flags,
    )
    return mesh, wanted


def test_more_rings_hold_neighbours_too_but_no_cylinder():
    # A strip of vertices in a row: the one in the middle is struck.
    count = 11
    mesh, wanted = strip(count)
    bad = np.array([[5, 5, 5]])
    held = [
        held_more(
            nothing_held(2 * count, np.zeros(0, bool)), mesh, wanted, bad, 0.01, rings
        ).vertices
        for rings in (0, 1, 2)
    ]
    reached = [set(np.flatnonzero(shares == 0.5).tolist()) for shares in held]
    assert reached[0] == {5}
    assert reached[1] == {4, 5, 6, 5 + count, 4 + count}
    assert reached[1] < reached[2]


def test_rings_end_where_no_further_face_hangs_on_them():
    mesh, wanted = strip(6)
    nothing = nothing_held(12, np.zeros(0, bool))
    some = np.array([2])

    near = held_still(nothing, mesh, wanted, some, 0.01, 1)
    # So many rings would take years one by one.
    far = held_still(nothing, mesh, wanted, some, 0.01, 2**50)

    assert np.flatnonzero(near.vertices == 0).tolist() == [1, 2, 3, 7, 8]
    assert (far.vertices == 0).all()


def test_for_a_new_point_on_no_cylinder_its_neighbours_are_held():
    # The last two vertices are not among the inspected ones, as on facets that were split.
    mesh, wanted = strip(5)
    inspected = len(mesh.vertices) - 2
    held = held_more(
        nothing_held(inspected, np.zeros(0, dtype=bool)),
        mesh,
        wanted,
        np.array([[9, 9, 9]]),
        0.01,
    )
    assert np.flatnonzero(held.vertices == 0.5).tolist() == [4]
    held = held_more(
        nothing_held(inspected, np.zeros(0, dtype=bool)),
        mesh,
        wanted,
        np.array([[9, 3, 8]]),
        0.01,
    )
    assert np.flatnonzero(held.vertices == 0.5).tolist() == [3]


def test_of_two_cylinders_the_one_at_most_corners_of_a_place_is_held():
    mesh = Mesh(np.eye(3)[[0, 1, 2, 0, 1, 2]], np.array([[0, 1, 2], [3, 4, 5]]))
    wanted = Targets(
        offset=np.zeros(2),
        feature=np.array([0, 1]),
        radius=np.ones(6),
        change=np.ones(6),
        point=np.zeros((6, 3)),
        direction=np.zeros((6, 3)),
        vertex=np.arange(6),
        owner=np.array([0, 0, 0, 1, 1, 1]),
        is_round=np.ones(2, dtype=bool),
        is_straight=np.zeros(2, dtype=bool),
    )
    for place, held in (((0, 1, 2, 0, 3, 4), [1, 0]), ((0, 1, 2, 3, 4, 5), [1, 1])):
        found = held_more(
            nothing_held(6, np.zeros(2, bool)), mesh, wanted, np.array([place]), 0.01
        )
        assert found.coarse.tolist() == held


def test_a_bore_that_will_be_cut_is_not_moved_by_half():
    mesh = Mesh(np.eye(3), np.array([[0, 1, 2]]))
    wanted = Targets(
        offset=np.zeros(1),
        feature=np.zeros(1, dtype=np.int64),
        radius=np.ones(3),
        change=np.ones(3),
        point=np.zeros((3, 3)),
        direction=np.zeros((3, 3)),
        vertex=np.arange(3),
        owner=np.zeros(3, dtype=np.int64),
        is_round=np.ones(1, dtype=bool),
        is_straight=np.zeros(1, dtype=bool),
    )
    for is_cut, share in ((True, 0.0), (False, 0.5)):
        holding = nothing_held(3, np.array([is_cut]))
        for left in (1.0, share):  # first its facets stay as they are
            holding = held_more(holding, mesh, wanted, np.array([[0, 1, 2]]), 0.01)
            assert holding.cylinders.tolist() == [left]


def test_shares_rise_with_the_way_along_edges_from_what_is_held():
    # By Dijkstra's shortest paths (scipy), each edge as long as the share may rise on it.
    rng = np.random.default_rng(20261127)
    x, y = np.meshgrid(np.arange(60.0), np.arange(60.0))
    corners = np.column_stack([x.ravel(), y.ravel(), 0 * x.ravel()]) / 20
    corners[:, :2] += rng.uniform(-0.01, 0.01, (3600, 2))
    mesh = Mesh(corners, scipy.spatial.Delaunay(corners[:, :2]).simplices)
    shares = np.ones(3600)
    shares[rng.choice(3600, 5, replace=False)] = [0.0, 0.25, 0.5, 0.5, 0.8]
    most, slope = 0.05, 0.1
    a, b = (mesh.faces.ravel(), np.roll(mesh.faces, -1, axis=1).ravel())
    rise = np.linalg.norm(corners[a] - corners[b], axis=1) * slope / most
    graph = scipy.sparse.coo_array((rise, (a, b)), shape=(3600, 3600)).tocsr()
    once = graph.maximum(graph.T)
    ways = scipy.sparse.csgraph.dijkstra(once, indices=np.flatnonzero(shares < 1))
    reference = np.minimum(1.0, (shares[shares < 1, None] + ways).min(axis=0))

    eased = _eased(shares, mesh, np.zeros(3600, dtype=bool), most)
    assert 20 < np.count_nonzero((eased < 1) & (shares == 1)) < 1800
    np.testing.assert_allclose(eased, np.minimum(reference, shares), atol=1e-12)


@pytest.mark.slow
@pytest.mark.skipif(not SOLIDS.is_dir(), reason="the real meshes are not here")
def test_bores_beside_a_boss_that_is_held_have_their_sizes():
    # Two holes of 3.4 for screws were left as they were, since the boss around crosses.
    seen = meshcomp.inspect(meshcomp.repair(meshcomp.read(SOLIDS / "s09.stl")))
    rule = meshcomp.ByHand(wall_growth=-0.06, pocket_opening=0.07, bore_opening=0.21)
    result = meshcomp.compensate(seen, meshcomp.plan(seen, rule))

    held = {limit.feature_id for limit in result.limits}
    assert any(name.startswith("boss") for name in held)
    assert not any(name.startswith("bore") for name in held)


@pytest.mark.slow
@pytest.mark.skipif(not SOLIDS.is_dir(), reason="the real meshes are not here")
def test_folds_that_go_round_a_rim_end(tmp_path):
    # One vertex after the other was held about a rim of s41, and it was refused.
    part = meshcomp.repair(meshcomp.read(SOLIDS / "s41.stl"))
    rule = meshcomp.ByHand(wall_growth=-0.15, bore_opening=0.2)
    record = meshcomp.compensate_part(part, tmp_path / "out.stl", rule)
    assert crossings.crossing_faces(tmp_path / "out.stl") == 0
    assert record.limits != ()


@pytest.mark.slow
@pytest.mark.skipif(not SOLIDS.is_dir(), reason="the real meshes are not here")
def test_rounding_errors_do_not_let_touching_bodies_cross(tmp_path):
    # Two bodies on one plane through zero, which is upright here: 1e-30 mm off is across.
    source, path = SOLIDS / "s17.stl", tmp_path / "out.stl"
    rule = meshcomp.ByHand(wall_growth=0.05, bore_opening=0.2)
    meshcomp.compensate_part(meshcomp.read(source, up="+X"), path, rule)
    assert crossings.crossing_faces(source) == 0
    assert crossings.crossing_faces(path) == 0
