"""A try after another looks only at what moved since, and finds what a whole look finds.

What it is held against is a look at all faces, and for small outlines shapely's areas.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from outside import plane

from meshcomp.compensation.looking import Looked, crossed_before, crossing_again
from meshcomp.crossings import crossing_pairs
from meshcomp.loops import Outlines
from meshcomp.meshes import Mesh
from meshcomp.segmentation import planar_regions
from meshcomp.topology import topology_of
from meshcomp.triangulating import Known, triangulated

UP = np.array([[0.0, 0.0, 1.0]])


def toothed(teeth: int = 40) -> Mesh:
    """Return a disc with teeth, so that there are many thin faces."""
    turns = 2 * np.pi * np.arange(2 * teeth) / (2 * teeth)
    radii = np.where(np.arange(2 * teeth) % 2, 9.0, 10.0)
    outline = radii[:, None] * np.column_stack([np.cos(turns), np.sin(turns)])
    return plane.prism([outline], 0, 4)


def as_set(pairs: np.ndarray) -> set[tuple[int, int]]:
    return {(min(p), max(p)) for p in pairs.tolist()}


@pytest.mark.parametrize("seed", range(8))
def test_looking_again_finds_what_a_whole_look_finds(seed: int) -> None:
    rng = np.random.default_rng(seed)
    start = toothed()
    away = rng.normal(0, 0.8, start.vertices.shape)
    share = np.ones(len(start.vertices))
    last, counts = None, []
    for _ in range(6):
        mesh = start.moved(start.vertices + share[:, None] * away)
        # The faces after them come in another order, as those made anew do.
        mesh = Mesh(mesh.vertices, mesh.faces[rng.permutation(len(mesh.faces))])
        moved = (share > 0)[mesh.faces].any(axis=1)
        whole = crossing_pairs(mesh, moved)
        pairs = whole if last is None else crossing_again(last, mesh, moved)
        assert as_set(pairs) == as_set(whole)
        counts.append(len(whole))
        last = mesh, pairs
        struck = np.unique(mesh.faces[rng.permutation(whole.ravel())[:4]])
        share[struck] = np.where(rng.random(len(struck)) < 0.5, 0.0, share[struck] / 2)
    assert counts[0] > counts[-1] > 0


def test_faces_made_anew_are_looked_at() -> None:
    flat = [(0, 0, 0), (4, 0, 0), (4, 4, 0), (0, 4, 0)]
    upright = [(2, 3, -1), (2, 3, 1), (1.5, 3.5, 1)]
    before = Mesh(flat + upright, [(0, 1, 2), (0, 2, 3), (4, 5, 6)])
    last = before, crossing_pairs(before)
    other = Mesh(before.vertices, [(4, 5, 6), (1, 2, 3), (1, 3, 0)])
    moved = np.array([False, True, True])
    assert as_set(last[1]) == {(1, 2)}
    assert as_set(crossing_again(last, other, moved)) == {(0, 1)}


def test_old_crossings_are_known_whichever_look_came_first() -> None:
    flat = [(0, 0, 0), (9, 0, 0), (0, 9, 0)]
    spikes = [
        [(x, 1, -1), (x, 1, 1), (x + 0.5, 1, 1)] for x in (1.0, 2.0, 3.0)
    ]  # the last reaches the same plane
    lone = [(20, 0, 0), (29, 0, 0), (20, 9, 0)]
    corners = [*flat, *spikes[0], *spikes[1], *spikes[2], *lone]
    mesh = Mesh(corners, np.arange(15).reshape(-1, 3))
    regions = planar_regions(mesh, topology_of(mesh))
    looked = Looked()
    first = crossed_before(mesh, regions, np.array([[1, 4]]), looked)
    second = crossed_before(mesh, regions, np.array([[0, 1], [0, 2], [1, 2]]), looked)
    third = crossed_before(mesh, regions, np.array([[3, 0], [4, 3]]), looked)
    assert first.tolist() == [False]
    assert second.tolist() == [True, True, False]
    assert third.tolist() == [True, False]


@pytest.mark.parametrize("turn", range(4))
def test_quads_are_cut_along_the_diagonal_that_lies_within(turn: int) -> None:
    # An arrowhead: only the diagonal from its notch to its tip lies within.
    corners = np.roll([(0, 0, 0), (4, -3, 0), (1, 0, 0), (4, 3, 0)], turn, axis=0)
    corners = (
        corners[::-1] if shapely.Polygon(corners).exterior.is_ccw is False else corners
    )
    quad = Outlines.of({0: [[0, 1, 2, 3]]})
    made = triangulated(corners.astype(float), quad, UP, Known()).faces
    halves = [shapely.Polygon(corners[t][:, :2]) for t in made]
    whole = shapely.Polygon(corners[:, :2])
    assert shapely.unary_union(halves).symmetric_difference(whole).area < 1e-12
    assert sum(half.area for half in halves) == pytest.approx(whole.area)
    assert all(half.exterior.is_ccw for half in halves)


def test_quads_that_cross_themselves_have_no_triangles() -> None:
    bow = np.array([(0, 0, 0), (4, 0, 0), (0, 3, 0), (4, 3, 0)], dtype=float)
    square = [(9, 0, 0), (10, 0, 0), (10, 1, 0), (9, 1, 0)]
    vertices = np.concatenate([bow, square])
    normals = np.repeat(UP, 2, axis=0)
    quads = Outlines.of({0: [[0, 1, 2, 3]], 1: [[4, 5, 6, 7]]})
    made = triangulated(vertices, quads, normals, Known())
    assert made.failed.tolist() == [0]
    assert made.regions.tolist() == [1, 1]


def test_triangles_stay_as_they_are_unless_they_are_turned_over() -> None:
    points = [(0, 0, 0), (3, 0, 0), (0, 3, 0), (5, 5, 0), (5, 8, 0), (8, 5, 0)]
    pentagon = [(9, 0, 0), (12, 0, 0), (13, 2, 0), (10, 4, 0), (8, 2, 0)]
    rings = {4: [[1, 2, 0]], 5: [[3, 4, 5]], 7: [list(range(6, 11))]}
    normals = np.repeat(UP, 8, axis=0)
    vertices = np.array(points + pentagon, dtype=float)
    made = triangulated(vertices, Outlines.of(rings), normals, Known())
    assert made.failed.tolist() == [5]
    assert made.regions.tolist() == [4, 7, 7, 7]
    assert made.faces[0].tolist() == [1, 2, 0]
    areas = [shapely.Polygon(vertices[t][:, :2]).area for t in made.faces[1:]]
    assert sum(areas) == pytest.approx(shapely.Polygon(pentagon).area)


def test_what_moved_is_triangulated_anew_and_what_did_not_is_kept() -> None:
    turns = 2 * np.pi * np.arange(7) / 7
    points = np.column_stack([np.cos(turns), np.sin(turns), np.zeros(7)])
    outline, known = Outlines.of({0: [list(range(7))]}), Known()
    first = triangulated(points, outline, UP, known).faces
    kept = known.found[0]
    assert (triangulated(points.copy(), outline, UP, known).faces == first).all()
    assert known.found[0] is kept
    dented = points.copy()
    dented[3] *= 0.1  # a fan from elsewhere would cover the dent
    second = triangulated(dented, outline, UP, known).faces
    area = sum(shapely.Polygon(dented[t][:, :2]).area for t in second)
    assert area == pytest.approx(shapely.Polygon(dented[:, :2]).area)
