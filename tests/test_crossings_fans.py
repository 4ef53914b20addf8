"""Fans of very many faces about one vertex are looked at in bounded time, and wholly.

Outside references: pymeshlab on small fans, whose crossings are known besides by the way
they are made.
"""

from __future__ import annotations

import numpy as np
import pytest
from outside import crossings, plane

import meshcomp
from meshcomp.crossings import candidates, crossing_pairs
from meshcomp.meshes import Mesh, concatenate


def ring(count: int, radius: float, height: float) -> np.ndarray:
    turns = 2 * np.pi * np.arange(count) / count
    return np.column_stack(
        [radius * np.cos(turns), radius * np.sin(turns), np.full(count, height)]
    )


def cone(count: int, tip: float = 3.0, base: float = 0.0) -> Mesh:
    """Return a cone of radius 10 whose shell and base are fans of `count` faces each."""
    here, there = np.arange(count), (np.arange(count) + 1) % count
    corners = [*ring(count, 10, 0), (0, 0, base), (0, 0, tip)]
    lower = np.column_stack([there, here, np.full(count, count)])
    upper = np.column_stack([here, there, np.full(count, count + 1)])
    return Mesh(corners, np.concatenate([lower, upper]))


@pytest.fixture
def hubs_from_ten(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(candidates, "_MANY", 10)


@pytest.mark.usefixtures("hubs_from_ten")
@pytest.mark.parametrize(("base", "count"), [(0.0, 0), (1.0, 0), (-2.0, 0)])
def test_sound_cones_do_not_cross(base, count):
    mesh = cone(60, base=base)
    assert len(np.unique(crossing_pairs(mesh))) == count == crossings.crossing_faces(mesh)


@pytest.mark.usefixtures("hubs_from_ten")
@pytest.mark.parametrize("seed", range(4))
def test_fans_that_cross_about_their_vertex_are_found(seed):
    # Corners of the rim moved about, so that facets overtake each other about the tip.
    rng = np.random.default_rng(seed)
    mesh = cone(60)
    moved = mesh.vertices.copy()
    moved[rng.choice(60, 6, replace=False)] += rng.normal(0, 3, (6, 3))
    fan = mesh.moved(moved)
    found = crossing_pairs(fan)
    assert len(np.unique(found)) == crossings.crossing_faces(fan) > 0
    near = np.array([(a, b) for a in range(120) for b in range(a + 1, 120)])
    assert {tuple(pair) for pair in found.tolist()} == {
        tuple(pair) for pair in candidates_all(fan, near)
    }


def candidates_all(mesh: Mesh, pairs: np.ndarray) -> list[tuple[int, int]]:
    """Pairs that cross among all there are: nothing is left out by boxes or arcs."""
    from meshcomp._vectors import unit
    from meshcomp.crossings.judging import that_cross

    return [(min(p), max(p)) for p in that_cross(mesh, unit(mesh.area_vectors), pairs)]


@pytest.mark.usefixtures("hubs_from_ten")
def test_what_passes_through_a_fan_is_found():
    spike = plane.prism([[(4, 4), (4.5, 4), (4.5, 4.5), (4, 4.5)]], -1, 5)
    both = concatenate([cone(60), spike])
    assert len(np.unique(crossing_pairs(both))) == crossings.crossing_faces(both) > 0


@pytest.mark.parametrize("planes_too", [False, True])
def test_a_cone_of_very_many_facets_is_no_crowd(planes_too):
    count = 30_000  # some 200 million pairs of boxes
    mesh = cone(count)
    marked = np.ones(2 * count, dtype=bool)
    planes = np.concatenate([np.zeros(count, dtype=np.int64), 1 + np.arange(count)])
    more = {"planes": planes, "rims": marked} if planes_too else {}
    assert len(crossing_pairs(mesh, marked, **more)) == 0
    dented = mesh.vertices.copy()
    dented[100] += [3.0, 1.5, 0.0]  # beyond many of its neighbours, in the base's plane
    dented[100, 2] = 0.001
    assert len(crossing_pairs(mesh.moved(dented), marked, **more)) > 10


def test_a_disc_of_very_many_facets_goes_through_the_whole_job(tmp_path):
    count = 20_000
    disc = plane.prism([ring(count, 100, 0)[:, :2]], 0, 5)
    lids = disc.faces[(disc.vertices[disc.faces][..., 2].std(axis=1)) > 0]
    corners = [*disc.vertices, (0, 0, 0), (0, 0, 5)]
    low, high = (np.flatnonzero(disc.vertices[:, 2] == z) for z in (0, 5))
    order = [v[np.argsort(np.arctan2(*disc.vertices[v, 1::-1].T))] for v in (low, high)]
    fans = [
        np.column_stack([np.roll(order[0], -1), order[0], np.full(count, 2 * count)]),
        np.column_stack([order[1], np.roll(order[1], -1), np.full(count, 2 * count + 1)]),
    ]
    mesh = Mesh(corners, np.concatenate([lids, *fans]))
    spacer = meshcomp.demo_part("shaft_spacer")
    part = spacer.with_mesh(mesh, np.zeros(len(mesh.faces), dtype=np.int64))
    record = meshcomp.compensate_part(
        part, tmp_path / "out.stl", meshcomp.ByHand(wall_growth=0.05)
    )
    assert record.verification.conforms
