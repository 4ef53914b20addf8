"""Pairs of opposite planes, found by their boxes, against a look at all pairs."""

from __future__ import annotations

import numpy as np
import pytest

from meshcomp.detection.opposing import opposing

COSINE = -1 + 5e-8  # well within what counts as antiparallel


def planes(rng, count):
    """Draw upright planes, many along common directions and along the seam of them."""
    turns = np.concatenate([np.arange(12) * np.pi / 6, [0.3, 0.3 + np.pi]])
    turns = rng.choice(turns, count) + rng.choice([-1e-4, 0, 1e-4], count)
    normals = np.column_stack([np.cos(turns), np.sin(turns), np.zeros(count)])
    along = np.column_stack([-normals[:, 1], normals[:, 0], np.zeros(count)])
    half = np.abs(along) * rng.uniform(1, 15, (count, 1))
    half[:, 2] = rng.uniform(1, 8, count)
    middles = rng.uniform(-40, 40, (count, 3))
    boxes = np.stack([middles - half, middles + half], axis=1)
    return normals, boxes, rng.random(count) < 0.5


def overlap(normal, a, b):
    """Whether two planes overlap, seen across them."""
    along = np.array([-normal[1], normal[0]])
    middles = np.array([box.mean(axis=0)[:2] @ along for box in (a, b)])
    halves = np.array([np.linalg.norm((box[1] - box[0])[:2]) / 2 for box in (a, b)])
    return abs(middles[0] - middles[1]) < halves.sum() and (
        min(a[1, 2], b[1, 2]) > max(a[0, 2], b[0, 2])
    )


@pytest.mark.parametrize("seed", range(3))
def test_all_opposite_planes_are_among_the_pairs(seed):
    normals, boxes, kinds = planes(np.random.default_rng(seed), 150)
    true = {
        (i, j)
        for i in range(150)
        for j in range(i + 1, 150)
        if normals[i] @ normals[j] < COSINE
        and kinds[i] == kinds[j]
        and overlap(normals[i], boxes[i], boxes[j])
    }

    found = list(
        zip(*(rows.tolist() for rows in opposing(normals, boxes, kinds)), strict=True)
    )

    assert len(true) > 20
    assert true <= set(found)
    assert found == sorted(set(found))
    assert len(found) < 3 * len(true)


def test_a_grid_of_square_holes_has_no_more_pairs_than_lie_in_rows():
    # Mathematics: 20 x 20 holes, each wall opposite those of its own row or column.
    side = np.arange(20) * 5.0
    centres = np.stack(np.meshgrid(side, side), axis=-1).reshape(-1, 2)
    normals, boxes = [], []
    for way in ((1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)):
        middles = np.column_stack([centres + 1.5 * np.array(way), np.full(400, 2.0)])
        half = np.array([1.5 * abs(way[1]), 1.5 * abs(way[0]), 2.0])
        normals.append(np.tile([*way, 0.0], (400, 1)))
        boxes.append(np.stack([middles - half, middles + half], axis=1))

    first, _ = opposing(np.concatenate(normals), np.concatenate(boxes), np.ones(1600, bool))

    assert len(first) == 2 * 20 * 20 * 20
