"""Cylinders found in real parts, against the exact cylinders of their CAD solids.

Outside reference: shared/data/solid/cylinders.json, read from the STEP files of 53 real
parts by a B-rep kernel; the meshes are tessellations of the same solids by the same or
other kernels. Where shared/ is absent, the tests skip.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import meshcomp
from meshcomp.features import Cylinder

SOLIDS = Path(__file__).parents[2] / "shared" / "data" / "solid"
LEAST_DIAMETER = 1.0  # mm: the issue counts bores of 1 mm and up
WHOLE = 350.0  # degrees: the truths below are pieces of interrupted cylinders
SAME_PLACE = 0.05  # mm, between axes
SAME_SIZE = 0.1  # mm: found at all; how exactly is tested apart

pytestmark = [
    pytest.mark.skipif(not SOLIDS.exists(), reason="shared/ is absent"),
    pytest.mark.slow,
]


@dataclass(frozen=True)
class Found:
    """A found cylinder in the file's frame."""

    part: str
    feature: Cylinder
    point: np.ndarray
    direction: np.ndarray

    def extent_along(self, axis) -> tuple[float, float]:
        """Return the ends along a true axis, from the foot of the file's origin."""
        ends = np.array([self.feature.start, self.feature.end])
        low, high = sorted((ends * np.sign(axis @ self.direction)).tolist())
        return low, high


@dataclass(frozen=True)
class Match:
    """A true cylinder and the best that was found of it."""

    part: str
    true: dict
    found: Found | None
    ends: tuple[float, float] | None  # distance of each found end from a true one, mm


def is_on(found: Found, true: dict) -> bool:
    axis = np.array(true["axis"])
    off = found.point - np.array(true["foot"])
    return (
        found.feature.is_internal == true["internal"]
        and abs(found.direction @ axis) > 1 - 1e-4
        and float(np.linalg.norm(off - (off @ axis) * axis)) < SAME_PLACE
        and abs(found.feature.nominal_size - true["diameter"]) < SAME_SIZE
    )


def overlap(found: Found, true: dict) -> float:
    """Share of a true cylinder's height that a found one covers."""
    low, high = found.extent_along(np.array(true["axis"]))
    return (min(high, true["to"]) - max(low, true["from"])) / (true["to"] - true["from"])


def end_errors(found: Found, true: dict, trues: list[dict]) -> tuple[float, float]:
    """How far each end is from an end of a true piece on the same cylinder, mm.

    Pieces of one bore that another bore parts may be found as one.
    """
    axis = np.array(true["axis"])
    low, high = found.extent_along(axis)
    lows, highs = [], []
    for piece in (t for t in trues if is_on(found, t)):
        ends = [piece["from"], piece["to"]]
        if np.dot(piece["axis"], axis) < 0:
            ends = [-ends[1], -ends[0]]
        lows.append(abs(low - ends[0]))
        highs.append(abs(high - ends[1]))
    return min(lows), min(highs)


@cache
def compared() -> tuple[list[Match], list[Found]]:
    """Every whole true cylinder with what was found of it, and what was found too much."""
    truths = json.loads((SOLIDS / "cylinders.json").read_text(encoding="utf-8"))
    matches, extra = [], []
    for name, every in sorted(truths.items()):
        trues = [t for t in every if t["diameter"] >= LEAST_DIAMETER]
        part = meshcomp.read(SOLIDS / f"{name}.stl")
        stand = part.stand
        found = [
            Found(name, f, stand.to_file(f.point), stand.to_file(f.direction))
            for f in meshcomp.inspect(part).cylinders
        ]
        used = set()
        for true in trues:
            mine = [f for f in found if is_on(f, true) and overlap(f, true) > 0.2]
            used |= {id(f) for f in mine}
            if true["span_degrees"] <= WHOLE:
                continue
            best = max(mine, key=lambda f: overlap(f, true), default=None)
            ends = end_errors(best, true, trues) if best else None
            matches.append(Match(name, true, best, ends))
        extra += [f for f in found if id(f) not in used]
    return matches, extra


def whole(kind: str) -> list[Match]:
    return [m for m in compared()[0] if m.true["internal"] == (kind == "bore")]


def beyond(kind: str) -> list[Found]:
    return [f for f in compared()[1] if f.feature.kind == kind]


def missed(kind: str) -> str:
    rows = [m for m in whole(kind) if m.found is None]
    return "\n".join(f"{m.part}: missed {kind} {m.true}" for m in rows)


def share_of(rows, is_good) -> float:
    return sum(map(is_good, rows)) / len(rows)


def test_there_are_as_many_truths_as_published():
    assert len(whole("bore")) > 580
    assert len(whole("boss")) > 250


@pytest.mark.parametrize(("kind", "least"), [("bore", 0.99), ("boss", 0.98)])
def test_whole_cylinders_of_a_millimetre_and_up_are_found(kind, least):
    assert share_of(whole(kind), lambda m: m.found is not None) >= least, missed(kind)


@pytest.mark.parametrize(("kind", "least"), [("bore", 0.99), ("boss", 0.98)])
def test_what_is_found_is_true(kind, least):
    hits = sum(m.found is not None for m in whole(kind))
    extra = beyond(kind)
    rows = [(f.part, f.feature.id, f.feature.nominal_size) for f in extra]
    assert hits / (hits + len(extra)) >= least, rows


@pytest.mark.parametrize(("kind", "least"), [("bore", 0.99), ("boss", 0.98)])
def test_diameters_are_true_within_three_microns(kind, least):
    found = [m for m in whole(kind) if m.found is not None]
    near = share_of(
        found,
        lambda m: abs(m.found.feature.nominal_size - m.true["diameter"]) <= 0.003,
    )
    assert near >= least


@pytest.mark.parametrize(("kind", "least"), [("bore", 0.99), ("boss", 0.98)])
def test_extents_end_where_the_solid_says(kind, least):
    found = [m for m in whole(kind) if m.ends is not None]
    off = [(m.part, m.true, m.ends) for m in found if max(m.ends) > 0.1]
    assert 1 - len(off) / len(found) >= least, off
