"""Faults that come together: a sound solid of the part's volume, or a refusal with places.

Outside references: pymeshlab for crossing and open edges, the undamaged part for its
volume and its bodies.
"""

from __future__ import annotations

import dirtied
import numpy as np
import pytest
from outside.crossings import crossing_faces, open_edges
from test_files_samples import packed_stl

import meshcomp
from meshcomp.errors import NotASolidError
from meshcomp.files import read_part
from meshcomp.repairing import repair
from meshcomp.repairing.shells import shells_of

PARTS = ("bearing_plate", "stepper_bracket", "knob")
SEEDS = range(16)


def damaged(name, seed, folder):
    """Damage a demo part in two or three ways, one after the other, and read it."""
    rng = np.random.default_rng(seed)
    good = meshcomp.demo_part(name)
    corners, count = good.mesh.corners, int(rng.integers(2, 4))
    for number in rng.choice(len(dirtied.CLOSED_AGAIN), count, replace=False):
        corners = dirtied.CLOSED_AGAIN[number](corners, rng)
    (folder / "bad.stl").write_bytes(packed_stl(corners))
    return read_part(folder / "bad.stl"), good


def mended(bad):
    """Return the repaired part, or None and the words of the refusal."""
    try:
        return repair(bad), ""
    except NotASolidError as refusal:
        return None, str(refusal)


@pytest.mark.parametrize("name", PARTS)
@pytest.mark.parametrize("seed", SEEDS)
def test_faults_together_end_in_the_part_or_in_places(name, seed, tmp_path):
    bad, good = damaged(name, seed, tmp_path)
    sound, words = mended(bad)
    if sound is None:
        assert " about (" in words
        return
    assert sound.repairs
    assert open_edges(sound.mesh) == 0
    assert sound.mesh.volume == pytest.approx(good.mesh.volume, rel=5e-4)
    assert shells_of(sound.mesh).count == 1
    assert crossing_faces(sound.mesh) <= crossing_faces(bad.mesh)


@pytest.mark.parametrize("name", PARTS)
def test_most_faults_together_are_mended(name, tmp_path):
    parts = [mended(damaged(name, seed, tmp_path)[0])[0] for seed in SEEDS]
    assert sum(part is not None for part in parts) >= 0.75 * len(SEEDS)


@pytest.mark.parametrize("name", PARTS)
@pytest.mark.parametrize("seed", range(4))
def test_a_crack_through_faces_without_area_leaves_no_fold(name, seed, tmp_path):
    # A crack lifts the middle corner of such a face out of the edge that it lies on.
    rng = np.random.default_rng(seed)
    good = meshcomp.demo_part(name)
    corners = dirtied.with_flat_faces(good.mesh.corners, rng)
    (tmp_path / "bad.stl").write_bytes(packed_stl(dirtied.cracked(corners, rng, 0.003)))
    sound = repair(read_part(tmp_path / "bad.stl"))
    assert crossing_faces(sound.mesh) == open_edges(sound.mesh) == 0
    assert sound.mesh.volume == pytest.approx(good.mesh.volume, rel=5e-4)
