"""Bodies that touch stay several, though faces of them are damaged.

Outside references: closed forms for the volumes of boxes, pymeshlab for crossing and open
edges, whole numbers where faces that it finds touch within rounding.
"""

from __future__ import annotations

from itertools import product

import dirtied
import numpy as np
import pytest
import trimesh
from outside import plane
from outside.crossings import crossing_faces, crossing_marks, open_edges
from outside.exact import pairs_at, verdicts
from test_files_samples import packed_stl
from test_repairing import box, kinds, part_of

import meshcomp
from meshcomp.errors import NotASolidError
from meshcomp.meshes import Mesh, concatenate
from meshcomp.repairing import read_sound_part, refuse_faults, repair
from meshcomp.repairing.shells import shells_of


def row_of_boxes(count, flips=()):
    """Boxes of 10 mm in a row, each the mirror image of the next; they share sides."""
    mirrored = box().vertices * (-1, 1, 1)
    one, other = box(), Mesh(mirrored, box().faces[:, ::-1])
    shifted = [
        body.moved(body.vertices + (10.0 * k, 0, 0))
        for k, body in enumerate([one, other] * count)
    ][:count]
    turned = [
        Mesh(b.vertices, b.faces[:, ::-1] if k in flips else b.faces)
        for k, b in enumerate(shifted)
    ]
    return joined(concatenate(turned))


def joined(mesh):
    """Make one of equal corners."""
    _, first, index = np.unique(
        mesh.vertices, axis=0, return_index=True, return_inverse=True
    )
    return Mesh(mesh.vertices, first[index.ravel()][mesh.faces]).compact()


@pytest.mark.parametrize("flips", [(0,), (1,), (0, 2), (1, 2), (2, 3)])
def test_a_side_that_two_bodies_draw_alike_stays_both_of_them(flips):
    # One of them is inside out, so that the side they share stands there twice alike.
    sound = repair(part_of(row_of_boxes(4, flips)))
    assert shells_of(sound.mesh).volumes.tolist() == pytest.approx([1000.0] * 4)
    assert "sheets" not in kinds(sound)
    assert "repeated faces" not in kinds(sound)
    assert crossing_faces(sound.mesh) == open_edges(sound.mesh) == 0
    refuse_faults(sound)


@pytest.mark.parametrize(("seed", "share"), [*product(range(6), (0.1, 0.4))])
def test_faces_of_bodies_that_touch_are_turned_to_fit(seed, share):
    row = row_of_boxes(3)
    rows = np.random.default_rng(seed).random(len(row.faces)) < share
    faces = np.where(rows[:, None], row.faces[:, ::-1], row.faces)
    sound = repair(part_of(Mesh(row.vertices, faces)))
    assert shells_of(sound.mesh).volumes.tolist() == pytest.approx([1000.0] * 3)
    assert crossing_faces(sound.mesh) == open_edges(sound.mesh) == 0


def angle():
    """Angle section of 175 mm² by 10 mm, with room for a body in its corner."""
    return plane.prism([[(0, 0), (20, 0), (20, 5), (5, 5), (5, 20), (0, 20)]], 0, 10)


def without_corner(cube):
    """Take the faces about one corner away: what is left open there is not plane."""
    return Mesh(cube.vertices, cube.faces[(cube.faces != 0).all(axis=1)])


def sawn(cube):
    """Cut a cube across, and open the cut wider than a crack may be."""
    half = box(np.ptp(cube.bounds, axis=0) * (1, 1, 0.5))
    sides = half.faces[(np.ptp(half.corners[:, :, 2], axis=1) > 0)]
    low, high = (Mesh(half.vertices, half.faces[k]) for k in _caps(half))
    gap, up = np.array([0, 0, 0.03]), np.array([0, 0, np.ptp(cube.bounds, axis=0)[2] / 2])
    pieces = [Mesh(half.vertices, sides), low]
    lower = [p.moved(p.vertices + cube.bounds.mean(axis=0)) for p in pieces]
    pieces = [Mesh(half.vertices, sides), high]
    upper = [p.moved(p.vertices + cube.bounds.mean(axis=0) + up + gap) for p in pieces]
    return joined(concatenate(lower + upper))


def _caps(mesh):
    level = [(mesh.corners[:, :, 2] == z).all(axis=1) for z in mesh.bounds[:, 2]]
    return [np.flatnonzero(each) for each in level]


@pytest.mark.parametrize("damage", [without_corner, sawn])
@pytest.mark.parametrize("at", [(9, 9, 5), (5 + 1.5, 5 + 1.5, 5)])
def test_a_body_with_a_hole_is_no_sheet(damage, at):
    # It lies within the box of the other body, apart from it or touching it.
    small = damage(box((3, 3, 3), at=at))
    with pytest.raises(NotASolidError, match=r"open about \("):
        repair(part_of(joined(concatenate([angle(), small]))))


def test_a_stray_surface_that_is_bent_goes():
    # Two sides of a cube: no body, as they enclose nothing.
    cube = box((3, 3, 3), at=(9, 9, 5))
    bent = Mesh(
        cube.vertices,
        cube.faces[
            (cube.corners[:, :, 0] > 10).all(axis=1)
            | (cube.corners[:, :, 1] > 10).all(axis=1)
        ],
    )
    sound = repair(part_of(joined(concatenate([angle(), bent]))))
    assert kinds(sound) == {"sheets": 4}
    assert sound.mesh.volume == pytest.approx(1750)


def leaning_row(count):
    """Row of boxes, turned so that 32 bits hold none of its corners exactly."""
    row = row_of_boxes(count)
    axis = np.array([1, 2, 3]) / np.sqrt(14)
    lean = trimesh.transformations.rotation_matrix(0.7, axis)[:3, :3]
    points = (row.vertices @ lean.T + (81.3, -40.7, 12.9)).astype(np.float32)
    return Mesh(points.astype(float), row.faces)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize(
    "damage",
    [dirtied.with_flat_faces, dirtied.with_thin_strips, dirtied.with_wider_strips],
)
def test_low_faces_where_bodies_touch_join_them_not(damage, seed, tmp_path):
    # Which way a face goes off an edge is hardly known if it is as low as rounding.
    rng = np.random.default_rng(seed)
    corners = leaning_row(3).corners
    for _ in range(4):
        corners = damage(corners, rng)
    (tmp_path / "row.stl").write_bytes(packed_stl(corners))
    sound = read_sound_part(tmp_path / "row.stl")
    volumes = np.sort(shells_of(sound.mesh).volumes)
    assert volumes.tolist() == pytest.approx([1000.0] * 3, rel=1e-4)
    assert open_edges(sound.mesh) == 0


@pytest.mark.parametrize("rows", [[0], [3, 8], [0, 1, 5]])
def test_backs_of_faces_of_a_closed_body_go(rows):
    cube = box()
    faces = np.concatenate([cube.faces, cube.faces[rows][:, ::-1]])
    sound = repair(part_of(Mesh(cube.vertices, faces)))
    assert kinds(sound) == {"repeated faces": len(rows)}
    assert sound.mesh.volume == pytest.approx(1000)


def test_one_hole_that_stays_open_leaves_the_slits_to_be_closed():
    # A face of the lower side is missing where a stick stands through it; each of the
    # upper faces is divided at the middle of its longest edge, its neighbour is not.
    cube = box((10, 10, 10))
    low = (cube.corners[:, :, 2] < 0).all(axis=1)
    top = np.flatnonzero((cube.corners[:, :, 1] > 0).all(axis=1))[0]
    a, b, c = cube.faces[top]
    middle = cube.vertices[[a, b]].mean(axis=0)
    new = len(cube.vertices)
    halves = [(a, new, c), (new, b, c)]
    left = np.delete(cube.faces, [np.flatnonzero(low)[0], top], axis=0)
    split = Mesh(np.vstack([cube.vertices, middle]), np.concatenate([left, halves]))
    gap = cube.corners[np.flatnonzero(low)[0]].mean(axis=0)
    stick = box((1, 1, 4), at=gap)
    with pytest.raises(NotASolidError, match="solid: 3 open edges; open about"):
        repair(part_of(concatenate([split, stick])))


@pytest.mark.parametrize(("size", "goes"), [(0.2, True), (2.0, False)])
def test_crumbs_may_lie_anywhere(size, goes):
    # 0.02 mm² beside 600 mm², and 2 mm².
    crumb = Mesh(np.eye(3)[:, ::-1] * size + (30, 4, -9), [(0, 1, 2)])
    part = part_of(joined(concatenate([box(), crumb])))
    if not goes:
        with pytest.raises(NotASolidError, match=r"open about \(30"):
            repair(part)
        return
    sound = repair(part)
    assert kinds(sound) == {"sheets": 1}
    assert np.abs(sound.mesh.bounds).max() == 5
    assert sound.mesh.volume == pytest.approx(1000)


@pytest.mark.parametrize("name", ["knob", "bearing_plate"])
@pytest.mark.parametrize("shift", [(0.0004, 0, 0), (0.003, -0.002, 0.005)])
def test_a_body_drawn_again_a_hair_beside_counts_once(name, shift):
    # Uniting them would leave strips as thin as the shift, whose sides cross.
    good = meshcomp.demo_part(name).mesh
    both = concatenate([good, good.moved(good.vertices + shift)])
    sound = repair(part_of(both))
    assert kinds(sound) == {"bodies united": 1}
    assert sound.mesh.corners.tolist() == good.corners.tolist()


def test_bodies_that_touch_and_are_drawn_again_stay_several():
    row = row_of_boxes(3)
    both = concatenate([row, row.moved(row.vertices + (0.002, 0.003, -0.001))])
    sound = repair(part_of(both))
    assert shells_of(sound.mesh).volumes.tolist() == pytest.approx([1000.0] * 3)
    assert crossing_faces(sound.mesh) == open_edges(sound.mesh) == 0


CRACKS = {
    "fine": dirtied.finely_cracked,
    "one": dirtied.cracked,
    "wide": dirtied.widely_cracked,
    "all about": lambda corners, rng: (
        corners + rng.uniform(-0.002, 0.002, (len(corners), 1, 3))
    ),
}


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("crack", CRACKS)
def test_cracks_through_bodies_that_touch_leave_them_several(crack, seed, tmp_path):
    rng = np.random.default_rng(seed)
    corners = CRACKS[crack](row_of_boxes(3).corners, rng)
    (tmp_path / "row.stl").write_bytes(packed_stl(corners))
    sound = read_sound_part(tmp_path / "row.stl")
    volumes = shells_of(sound.mesh).volumes
    # 600 mm² of each may be off by half a crack of 0.008 mm.
    assert volumes.tolist() == pytest.approx([1000.0] * 3, abs=2.4)
    assert open_edges(sound.mesh) == 0
    # Sides that both bodies draw pass for crossing, within rounding: whole numbers decide.
    pairs = pairs_at(sound.mesh, crossing_marks(sound.mesh))
    assert "cross" not in verdicts(sound.mesh, pairs)
    assert "sheets" not in kinds(sound)


def test_bodies_that_touch_inside_out_stay_several_beside_stray_faces():
    row = row_of_boxes(3, flips=(0, 1, 2))
    stray = Mesh([(1, 1, 1), (3, 1, 1), (1, 3, 1)], [(0, 1, 2)])
    sound = repair(part_of(joined(concatenate([row, stray]))))
    assert shells_of(sound.mesh).volumes.tolist() == pytest.approx([1000.0] * 3)
    assert kinds(sound)["sheets"] == 1


def test_a_body_within_one_that_crosses_itself_goes():
    # A triangle of the lid is pulled down through the floor: its volume is what it is.
    outer = box((20, 20, 20))
    tip = np.vstack([outer.vertices, (0, 0, -12)])
    top = np.flatnonzero((outer.corners[:, :, 2] > 0).all(axis=1))[0]
    a, b, c = outer.faces[top]
    spike = [(a, b, 8), (b, c, 8), (c, a, 8)]
    pulled = Mesh(tip, np.concatenate([np.delete(outer.faces, top, axis=0), spike]))
    inner = box((1, 1, 1), at=(9, 9, -9))
    assert crossing_faces(pulled) > 0
    sound = repair(part_of(concatenate([pulled, inner])))
    assert kinds(sound) == {"bodies united": 1}
    assert sound.mesh.volume == pytest.approx(pulled.volume)


@pytest.mark.parametrize("seed", range(8))
def test_low_faces_of_bodies_inside_out_join_them_not(seed, tmp_path):
    rng = np.random.default_rng(seed)
    corners = leaning_row(3).corners[:, ::-1]
    for _ in range(4):
        corners = dirtied.with_thin_strips(corners, rng)
    (tmp_path / "row.stl").write_bytes(packed_stl(corners))
    sound = read_sound_part(tmp_path / "row.stl")
    volumes = shells_of(sound.mesh).volumes
    assert volumes.tolist() == pytest.approx([1000.0] * 3, rel=1e-4)
    assert open_edges(sound.mesh) == 0
