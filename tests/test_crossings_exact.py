"""Which faces cross, by arithmetic without rounding, against the product and pymeshlab.

Outside reference: tests/outside/exact.py. pymeshlab rounds, and names some faces that lie
within its rounding of each other; on written parts each pair that it can mean is decided
here. The meshes of others are no part of the project; those tests skip without them.
"""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from outside import crossings, exact, measure

import meshcomp
from meshcomp.crossings import crossing_pairs
from meshcomp.meshes import Mesh
from meshcomp.printer_axes import PrinterAxes

SOLIDS = Path(__file__).parents[1] / ".." / "shared" / "data" / "solid"
needs_solids = pytest.mark.skipif(not SOLIDS.is_dir(), reason="real meshes are not here")

FLAT = [(0, 0, 0), (8, 0, 0), (0, 8, 0)]
CASES = {
    "cross": [(1, 1, -1), (1, 1, 1), (2, 2, 1)],
    "touch": [(1, 1, 0), (1, 2, 3), (2, 1, 3)],  # a corner on the face
    "apart": [(1, 1, 1), (1, 2, 3), (2, 1, 3)],
    "overlap": [(1, 1, 0), (1, 2, 0), (2, 1, 0)],
    "no area": [(1, 1, 0), (2, 2, 0), (3, 3, 0)],
}
OTHERS = {
    "an edge that passes the corner outside": ([(5, 5, -1), (5, 5, 1), (9, 5, 1)], "apart"),
    "an edge that passes through a side": ([(4, 4, -1), (4, 4, 1), (9, 9, 1)], "touch"),
    "a side on the face": ([(1, 1, 0), (3, 1, 0), (2, 1, 5)], "touch"),
    "beside it in one plane": ([(9, 0, 0), (9, 9, 0), (8, 8, 0)], "apart"),
    "along its side in one plane": ([(8, 0, 0), (8, 8, 0), (0, 8, 0)], "apart"),
    "through it by the last bit": (
        [(1, 1, -(2.0**-140)), (1, 2, 3), (2, 1, 3)],
        "cross",
    ),
}


@pytest.mark.parametrize("turn", range(3))
@pytest.mark.parametrize("wanted", CASES)
def test_cases_known_by_sight_are_decided(wanted: str, turn: int) -> None:
    other = np.roll(CASES[wanted], turn, axis=0).tolist()
    for first, second in ((FLAT, other), (other, FLAT), (FLAT[::-1], other[::-1])):
        mesh = Mesh([*first, *second], [(0, 1, 2), (3, 4, 5)])
        assert exact.verdicts(mesh, np.array([(0, 1)])) == [wanted]


@pytest.mark.parametrize("name", OTHERS)
def test_cases_at_the_border_are_decided(name: str) -> None:
    other, wanted = OTHERS[name]
    for scale in (1.0, 2.0**-40, 2.0**30):
        mesh = Mesh(np.array([*FLAT, *other]) * scale, [(0, 1, 2), (3, 4, 5)])
        assert exact.verdicts(mesh, np.array([(0, 1)])) == [wanted]


@pytest.mark.parametrize("tip", [(4, 4, 1), (4, 4, -1), (9, -1, 3)])
def test_a_shared_corner_is_no_contact(tip: tuple[int, int, int]) -> None:
    corners = [*FLAT, tip, (5, 3, 1)]
    mesh = Mesh(corners, [(0, 1, 2), (0, 3, 4)])
    crosses = tip == (4, 4, -1)
    assert exact.verdicts(mesh, np.array([(0, 1)])) == ["cross" if crosses else "apart"]


@pytest.mark.parametrize("seed", range(5))
def test_product_finds_what_crosses_and_nothing_else(seed: int) -> None:
    # Corners on a coarse grid: half of the pairs touch, share planes or corners.
    rng = np.random.default_rng(seed)
    corners = rng.integers(0, 5, (120, 3)).astype(float)
    mesh = Mesh(*_welded(corners))
    pairs = np.array(list(combinations(range(len(mesh.faces)), 2)))
    shared = [len(set(mesh.faces[a]) & set(mesh.faces[b])) for a, b in pairs]
    pairs = pairs[np.array(shared) < 2]
    decided = dict(zip(map(tuple, pairs), exact.verdicts(mesh, pairs), strict=True))
    crossing = {pair for pair, kind in decided.items() if kind == "cross"}
    found = set(map(tuple, crossing_pairs(mesh).tolist()))
    assert len(crossing) > 20
    assert found == crossing


def _welded(corners: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Vertices that differ, and triangles of three corners each, none without area."""
    vertices, index = np.unique(corners, axis=0, return_inverse=True)
    faces = index.reshape(-1, 3)
    return vertices, faces[Mesh(vertices, faces).heights > 0]


# Parts and wall growths at which pymeshlab names faces of the written file; and with errors
# of the axes undone besides, which makes every plane of a part lean a little.
LEANING = PrinterAxes(scale=(1.002, 0.999, 1.0), skew=0.004)
NAMED = [
    ("s05", -0.15, None),
    ("s08", -0.15, None),
    ("s09", 0.15, None),
    ("s10", 0.15, None),
    ("s26", 0.05, None),
    ("s32", -0.05, None),
    ("s10", 0.05, LEANING),
    ("s25", 0.05, LEANING),
    ("s51", 0.05, LEANING),
]


@needs_solids
@pytest.mark.slow
@pytest.mark.parametrize(("name", "growth", "axes"), NAMED)
def test_what_pymeshlab_names_is_apart(name, growth, axes, tmp_path):
    part = meshcomp.repair(meshcomp.read(SOLIDS / f"{name}.stl"))
    rule = meshcomp.ByHand(wall_growth=growth, bore_opening=0.2, axes=axes)
    meshcomp.compensate_part(part, tmp_path / "out.stl", rule)
    mesh = measure.read_mesh(tmp_path / "out.stl")
    named = crossings.crossing_marks(mesh)
    pairs = exact.pairs_at(mesh, named)
    kinds = exact.verdicts(mesh, pairs)
    assert len(pairs) >= named.sum()  # each has faces near it that it could cross
    assert {kind for kind in kinds if kind not in {"apart", "touch"}} == set()
