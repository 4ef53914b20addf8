"""Downloaded meshes become sound solids, or are refused with the place.

Outside references: pymeshlab for crossing and open edges, trimesh for bodies, closed
forms for the volumes of boxes, and the undamaged part for what was damaged here.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import dirtied
import numpy as np
import pytest
import trimesh
from outside import plane
from outside.crossings import crossing_faces, non_manifold_edges, open_edges
from test_files_samples import packed_stl, spelled_stl

import meshcomp
from meshcomp.errors import NotASolidError
from meshcomp.files import read_part
from meshcomp.meshes import Mesh, concatenate, mesh_from_trimesh
from meshcomp.repairing import read_sound_part, refuse_faults, repair
from meshcomp.repairing.patchwork import untouched
from meshcomp.repairing.sheets import without_sheets
from meshcomp.repairing.shells import shells_of

PARTS = ("bearing_plate", "stepper_bracket", "knob")


def part_of(mesh):
    """Return a part of one piece."""
    one_piece = np.zeros(len(mesh.faces), dtype=np.int64)
    spacer = meshcomp.demo_part("shaft_spacer")
    return replace(spacer, name="trial", mesh=mesh, piece_of_face=one_piece)


def box(sides=(10, 10, 10), at=(0, 0, 0)):
    """Box about a point."""
    cube = mesh_from_trimesh(trimesh.creation.box(sides))
    return cube.moved(cube.vertices + at)


def turned(mesh):
    return Mesh(mesh.vertices, mesh.faces[:, ::-1])


def kinds(part):
    return {repair.kind: repair.count for repair in part.repairs}


def damaged(name, damage, folder, seed=5):
    """Write a damaged copy of a demo part and read it, and return the part too."""
    good = meshcomp.demo_part(name)
    corners = damage(good.mesh.corners, np.random.default_rng(seed))
    (folder / "bad.stl").write_bytes(packed_stl(corners))
    return read_part(folder / "bad.stl"), good


@pytest.mark.parametrize("name", PARTS)
@pytest.mark.parametrize("damage", dirtied.CLOSED_AGAIN, ids=lambda d: d.__name__)
def test_damaged_parts_become_the_solids_they_were(name, damage, tmp_path):
    bad, good = damaged(name, damage, tmp_path)

    sound = repair(bad)

    assert sound.repairs
    assert open_edges(sound.mesh) == non_manifold_edges(sound.mesh) == 0
    assert crossing_faces(sound.mesh) == 0
    assert sound.mesh.volume == pytest.approx(good.mesh.volume, rel=5e-4)
    assert np.abs(sound.mesh.bounds - good.mesh.bounds).max() < 0.01
    other = trimesh.Trimesh(sound.mesh.vertices, sound.mesh.faces, process=False)
    assert other.is_volume
    assert other.body_count == 1
    assert other.euler_number == good.mesh.to_trimesh().euler_number


@pytest.mark.parametrize("name", PARTS)
@pytest.mark.parametrize("damage", dirtied.CLOSED_AGAIN, ids=lambda d: d.__name__)
def test_without_repair_all_of_them_are_refused(name, damage, tmp_path):
    damaged(name, damage, tmp_path)
    with pytest.raises(NotASolidError, match="not a closed, sound solid: "):
        read_sound_part(tmp_path / "bad.stl", repairs=False)


@pytest.mark.parametrize("damage", dirtied.CLOSED_AGAIN, ids=lambda d: d.__name__)
def test_sound_faces_keep_their_corners_to_the_last_bit(damage, tmp_path):
    bad, _ = damaged("bearing_plate", damage, tmp_path)
    sound = repair(bad)
    old = {corner.tobytes() for corner in bad.mesh.vertices + 0.0}
    assert {corner.tobytes() for corner in sound.mesh.vertices + 0.0} <= old


def test_a_clean_part_is_returned_as_it_is():
    for name in PARTS:
        part = meshcomp.demo_part(name)
        assert repair(part) is part


def test_repairing_twice_changes_nothing_more(tmp_path):
    for damage in dirtied.CLOSED_AGAIN:
        bad, _ = damaged("knob", damage, tmp_path)
        sound = repair(bad)
        assert repair(sound) is sound, damage.__name__


def test_repairs_are_counted(tmp_path):
    twice, good = damaged("knob", dirtied.CLOSED_AGAIN[0], tmp_path)
    assert kinds(repair(twice)) == {"repeated faces": len(good.mesh.faces)}
    assert kinds(repair(part_of(turned(box())))) == {"bodies turned": 1}
    assert kinds(repair(part_of(Mesh(box().vertices, box().faces[1:])))) == {"holes": 1}


def test_a_missing_half_is_refused_with_places_and_edges(tmp_path):
    bad, _ = damaged("bearing_plate", dirtied.half_gone, tmp_path)
    with pytest.raises(NotASolidError, match=r"\d+ open edges; open about \(") as caught:
        repair(bad)
    rims = caught.value.open_edges
    corners = {tuple(c) for c in bad.mesh.vertices.tolist()}
    assert rims.shape[1:] == (2, 3)
    assert {tuple(c) for c in rims.reshape(-1, 3).tolist()} <= corners
    # Each rim ends where another begins.
    assert sorted(rims[:, 0].tolist()) == sorted(rims[:, 1].tolist())
    assert len(caught.value.outline) > 10


def test_a_large_open_side_is_refused():
    cube = box()
    side = (cube.corners[:, :, 2] == 5).all(axis=1)
    place = r"4 open edges; open about \(0.000, 0.000, 5.000\) mm"
    with pytest.raises(NotASolidError, match=place):
        repair(part_of(Mesh(cube.vertices, cube.faces[~side])))


def test_a_cavity_stays_a_cavity():
    part = part_of(concatenate([box((20, 20, 20)), turned(box())]))
    assert repair(part) is part


@pytest.mark.parametrize("order", [1, -1])
def test_a_solid_with_a_cavity_is_turned_as_a_whole(order):
    shells = [box((20, 20, 20)), turned(box())][::order]
    sound = repair(part_of(turned(concatenate(shells))))
    assert kinds(sound) == {"bodies turned": 2}
    assert sound.mesh.volume == pytest.approx(20**3 - 10**3)


def test_a_body_in_a_cavity_is_no_overlap_and_is_turned_outward():
    loose = box((4, 4, 4))
    shells = [box((20, 20, 20)), turned(box())]
    sound = repair(part_of(concatenate([*shells, turned(loose)])))
    assert kinds(sound) == {"bodies turned": 1}
    assert sound.mesh.volume == pytest.approx(20**3 - 10**3 + 4**3)


@pytest.mark.parametrize(
    "places",
    [
        [(0, 0, 0), (10, 0, 0)],  # a side in common
        [(0, 0, 0), (10, 3, 2)],  # part of a side
        [(0, 0, 0), (10, 10, 0)],  # an edge
        [(0, 0, 0), (10.001, 0, 0)],
        [(0, 0, 0), (9.999, 0, 0)],  # 0.001 mm over: a trifle
        [(0, 0, 0), (40, 0, 0)],
    ],
)
def test_bodies_that_touch_or_lie_apart_stay_several(places):
    part = part_of(concatenate([box(at=place) for place in places]))
    sound = repair(part)
    assert sound is part


def test_bodies_that_overlap_are_united():
    mesh = concatenate([box(), box(at=(4, 3, 2)), box(at=(40, 0, 0))])
    sound = repair(part_of(mesh))
    assert kinds(sound) == {"bodies united": 1}
    # Boxes of 10 mm, 6 by 7 by 8 in common.
    assert sound.mesh.volume == pytest.approx(3000 - 6 * 7 * 8)
    assert shells_of(sound.mesh).count == 2
    assert crossing_faces(sound.mesh) == open_edges(sound.mesh) == 0


def test_a_body_within_the_material_of_another_goes():
    sound = repair(part_of(concatenate([box((20, 20, 20)), box()])))
    assert kinds(sound) == {"bodies united": 1}
    assert sound.mesh.volume == pytest.approx(20**3)


def test_united_bodies_keep_their_cavities():
    hollow = [box((20, 20, 20)), turned(box((4, 4, 4), at=(-5, 0, 0)))]
    sound = repair(part_of(concatenate([*hollow, box(at=(11, 0, 0))])))
    assert sound.mesh.volume == pytest.approx(20**3 - 4**3 + 6 * 10 * 10)


def test_pieces_of_a_file_are_not_united():
    part = part_of(concatenate([box(), box(at=(4, 3, 2))]))
    piece = replace(part.pieces[0], name="other")
    two = replace(part, pieces=(*part.pieces, piece), piece_of_face=np.repeat([0, 1], 12))
    assert repair(two) is two


def test_faults_of_one_piece_leave_the_others_alone():
    mesh = concatenate([box(), turned(box(at=(4, 3, 2)))])
    part = part_of(mesh)
    two = replace(part, pieces=part.pieces * 2, piece_of_face=np.repeat([0, 1], 12))
    sound = repair(two)
    assert kinds(sound) == {"bodies turned": 1}
    assert sound.piece_of_face.tolist() == two.piece_of_face.tolist()
    assert np.array_equal(sound.mesh.corners[:12], mesh.corners[:12])


def test_a_wall_without_thickness_inside_a_solid_goes():
    plate = Mesh([(0, -5, -5), (0, 5, -5), (0, 5, 5), (0, -5, 5)], [(0, 1, 2), (0, 2, 3)])
    cubes = concatenate([box(at=(-5, 0, 0)), box(at=(5, 0, 0))]).corners
    outside = cubes[~(cubes[:, :, 0] == 0).all(axis=1)]
    corners = np.concatenate([outside, plate.corners])
    vertices, index = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    # One wall face takes the place of both that the halves had: three faces at its edges.
    sound = repair(part_of(Mesh(vertices, index.reshape(-1, 3))))
    assert kinds(sound) == {"sheets": 2}
    assert sound.mesh.volume == pytest.approx(2000)


def with_a_fin(tip):
    """Return an angle section with a triangle that stands on its inner edge."""
    outline = [(0, 0), (20, 0), (20, 5), (5, 5), (5, 20), (0, 20)]
    angle = plane.prism([outline], 0, 10)
    fin = Mesh([(5, 5, 0), (5, 5, 10), tip], [(0, 1, 2)])
    mesh = concatenate([angle, fin])
    vertices, index = np.unique(mesh.vertices, axis=0, return_inverse=True)
    return part_of(Mesh(vertices, index.ravel()[mesh.faces]))


def test_a_fin_without_thickness_goes():
    sound = repair(with_a_fin((8, 8, 5)))
    assert kinds(sound) == {"sheets": 1}
    assert sound.mesh.volume == pytest.approx(175 * 10)


@pytest.mark.parametrize("tip", [(8, 8, 5), (8, 8, 15), (2, 2, 5), (2, 2, 15)])
def test_a_fin_drawn_from_both_sides_goes(tip):
    part = with_a_fin(tip)
    back = part.mesh.faces[-1:, ::-1]
    closed = part_of(Mesh(part.mesh.vertices, np.concatenate([part.mesh.faces, back])))
    sound = without_sheets(untouched(closed.mesh))[0].mesh
    assert len(sound.faces) == len(part.mesh.faces) - 1
    assert sound.volume == pytest.approx(175 * 10)
    assert crossing_faces(sound) == open_edges(sound) == 0


def test_a_fin_that_sticks_out_is_refused():
    words = "2 open edges, 1 edge at which one face is too many"
    with pytest.raises(NotASolidError, match=words):
        repair(with_a_fin((8, 8, 15)))


@pytest.mark.parametrize("name", PARTS)
@pytest.mark.parametrize("damage", [dirtied.cracked, dirtied.one_face_lost])
def test_what_is_drawn_from_both_sides_may_be_open(name, damage, tmp_path):
    def both_sided(corners, rng):
        return dirtied.two_sided(damage(corners, rng), rng)

    bad, good = damaged(name, both_sided, tmp_path)
    sound = repair(bad)
    assert crossing_faces(sound.mesh) == open_edges(sound.mesh) == 0
    assert sound.mesh.volume == pytest.approx(good.mesh.volume, rel=5e-4)
    assert shells_of(sound.mesh).count == 1


def test_boxes_drawn_from_both_sides_that_touch_keep_their_volume():
    boxes = concatenate([box(), box(at=(10, 3, 2)), box(at=(40, 0, 0))])
    corners = dirtied.two_sided(boxes.corners, None)
    vertices, index = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    sound = repair(part_of(Mesh(vertices, index.reshape(-1, 3))))
    assert sound.mesh.volume == pytest.approx(3000)


@pytest.mark.parametrize("size", [8, 80])
def test_a_large_sheet_is_refused_and_a_small_one_dropped(size):
    leaf = Mesh([(20, 0, 0), (20 + size, 0, 0), (20, size, 0)], [(0, 1, 2), (2, 1, 0)])
    part = part_of(concatenate([box(), leaf]))
    if size < 10:
        assert kinds(repair(part)) == {"sheets": 2}
        return
    place = r"1 body without thickness; about \(60.000, 40.000, 0.000\) mm"
    with pytest.raises(NotASolidError, match=place):
        repair(part)


FLUSH = {
    "side by side": ((20, 20, 20), (10, 0, 0), 12_000),
    "within": ((20, 20, 10), (0, 0, 5), 8_000),
    "the same": ((20, 20, 20), (0, 0, 0), 8_000),
    "across": ((20, 10, 40), (0, 0, 0), 12_000),
    "beside": ((20, 20, 20), (20, 0, 0), None),
}


@pytest.mark.parametrize("case", FLUSH)
def test_bodies_that_overlap_flush_are_united_though_no_face_crosses(case):
    sides, at, volume = FLUSH[case]
    two = [_split(box((20, 20, 20)), 0.3), _split(box(sides, at), 0.4)]
    part = part_of(concatenate(two))
    sound = repair(part)
    if volume is None:
        assert sound is part
        return
    assert kinds(sound) == {"bodies united": 1}
    assert sound.mesh.volume == pytest.approx(volume)
    assert shells_of(sound.mesh).count == 1
    assert crossing_faces(sound.mesh) == open_edges(sound.mesh) == 0


def _split(mesh, share):
    """Put a corner into each face, a share of the way from its middle to its first."""
    a = mesh.corners[:, 0]
    inside = a * share + mesh.corners.mean(axis=1) * (1 - share)
    new = len(mesh.vertices) + np.arange(len(mesh.faces))
    pieces = [
        np.column_stack([mesh.faces[:, k], mesh.faces[:, (k + 1) % 3], new])
        for k in range(3)
    ]
    return Mesh(np.concatenate([mesh.vertices, inside]), np.concatenate(pieces))


def test_a_part_of_too_many_bodies_is_refused():
    grid = np.stack(np.meshgrid(*[np.arange(22.0)] * 3), axis=-1).reshape(-1, 3)
    corner = Mesh(
        [(0, 0, 0), (0.5, 0, 0), (0, 0.5, 0), (0, 0, 0.5)],
        [(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)],
    )
    vertices = (grid[:, None] + corner.vertices).reshape(-1, 3)
    faces = corner.faces + 4 * np.arange(len(grid))[:, None, None]
    with pytest.raises(NotASolidError, match="10,648 bodies, more than the 10,000"):
        refuse_faults(part_of(Mesh(vertices, faces.reshape(-1, 3))))


def test_a_body_and_the_same_inside_out_are_one():
    # Told apart by a third body, without which they would be one surface drawn twice.
    both = [box(), turned(box()), box(at=(40, 0, 0))]
    vertices, index = np.unique(concatenate(both).vertices, axis=0, return_inverse=True)
    faces = index.ravel()[concatenate(both).faces]
    sound = repair(part_of(Mesh(vertices, faces)))
    assert sound.mesh.volume == pytest.approx(2000)
    assert len(sound.mesh.faces) == 24


def test_named_surfaces_a_hair_apart_are_one_solid(tmp_path):
    sides = np.split(box().corners[np.argsort(box().area_vectors.argmax(axis=1))], 3)
    apart = [side + 0.0005 * k for k, side in enumerate(sides)]
    (tmp_path / "box.stl").write_bytes(
        b"".join(spelled_stl(side, f"surface {k}") for k, side in enumerate(apart))
    )
    part = read_part(tmp_path / "box.stl")
    assert len(part.pieces) == 3
    sound = repair(part)
    assert sound.mesh.volume == pytest.approx(1000, rel=1e-3)
    assert open_edges(sound.mesh) == 0
    assert len(np.unique(sound.piece_of_face)) == 1


def test_thin_faces_far_from_the_origin_are_not_flat():
    # 0.02 mm high, 1e6 mm away: 32 bits could not hold it, 64 bits do.
    slab = box((10, 10, 0.02), at=(1e6, 0, 0))
    assert repair(part_of(slab)).repairs == ()


def test_faces_that_enclose_nothing_at_all_are_refused():
    leaf = Mesh([(0, 0, 0), (9, 0, 0), (4, 0, 0)], [(0, 1, 2), (2, 1, 0)])
    with pytest.raises(NotASolidError, match=r"without thickness|enclose nothing"):
        repair(part_of(leaf))


def test_a_strip_with_one_side_only_is_refused():
    # A Möbius strip of five squares: no solid has such a surface.
    turns = 2 * np.pi * np.arange(10) / 10
    tilt = turns / 2
    out = np.stack([np.cos(turns), np.sin(turns), 0 * turns], axis=1)
    up = np.cos(tilt)[:, None] * (0, 0, 1) + np.sin(tilt)[:, None] * out
    points = np.concatenate([40 * out - 5 * up, 40 * out + 5 * up])
    squares = [(k, (k + 1) % 10, k + 10, (k + 1) % 10 + 10) for k in range(9)]
    squares.append((9, 10, 19, 0))
    faces = [face for a, b, c, d in squares for face in ((a, b, d), (a, d, c))]
    words = r"open edges, \d+ edges? between faces that look to opposite sides"
    with pytest.raises(NotASolidError, match=words):
        repair(part_of(Mesh(points, faces)))


THREE = (3, 2, 2), (1.5, 1, 1)
BESIDE = {  # sides and middles of boxes that touch it, or one another
    "along an edge": [((1, 1, 2), (3.5, 2.5, 1))],
    "with a face": [((1, 2, 2), (3.5, 1, 1))],
    "with half a face": [((1, 1, 2), (3.5, 0.5, 1))],
    "in a row": [((1, 2, 2), (3.5, 1, 1)), ((2, 2, 2), (5, 1, 1))],
    "round a corner": [((1, 2, 2), (3.5, 1, 1)), ((3, 2, 2), (1.5, 3, 1))],
}
TURNED = [
    (name, turned)
    for name, others in BESIDE.items()
    for count in range(1, len(others) + 2)
    for turned in combinations(range(len(others) + 1), count)
]


@pytest.mark.parametrize(("touching", "flips"), TURNED)
def test_a_body_inside_out_is_never_taken_off_one_that_it_touches(
    touching, flips, tmp_path
):
    # Volumes of boxes (elementary geometry). Where bodies touch, one that is inside out
    # goes on smoothly into the next, and both enclose the difference of their volumes.
    bodies = [box(*THREE), *(box(*each) for each in BESIDE[touching])]
    meshes = [turned(b) if k in flips else b for k, b in enumerate(bodies)]
    path = tmp_path / "touching.stl"
    path.write_bytes(packed_stl(np.concatenate([mesh.corners for mesh in meshes])))
    try:
        part = read_sound_part(path)
    except NotASolidError as error:
        assert "about (" in str(error)  # noqa: PT017 - one of two ends
        assert touching not in {"along an edge", "with half a face"}
    else:
        whole = sum(body.volume for body in bodies)
        assert part.mesh.volume == pytest.approx(whole)


def test_a_body_inside_out_is_refused_with_its_place():
    both = concatenate([box(), turned(box(at=(30, 0, 0)))])
    place = r"1 body inside out; about \(30.000, 0.000, 0.000\) mm"
    with pytest.raises(NotASolidError, match=place):
        refuse_faults(part_of(both))


def test_a_body_inside_out_that_touches_another_is_refused_with_a_place():
    # They share one edge, x = y = 5: four faces meet there.
    both = concatenate([box(), turned(box(at=(10, 10, 0)))])
    _, first, index = np.unique(
        both.vertices, axis=0, return_index=True, return_inverse=True
    )
    touching = Mesh(both.vertices, first[index.ravel()][both.faces])
    with pytest.raises(NotASolidError, match=r"inside out; about \((.*)\) mm") as caught:
        refuse_faults(part_of(touching))
    place = np.array(str(caught.value).split("about (")[1].split(")")[0].split(","), float)
    assert np.abs(place - (10, 10, 0)).max() <= 5.001  # on the body that is turned


def test_faces_that_look_to_opposite_sides_are_told_from_holes():
    cube = box()
    faces = cube.faces.copy()
    faces[0] = faces[0, ::-1]
    words = r"solid: 3 edges between faces that look to opposite sides; about \("
    with pytest.raises(NotASolidError, match=words):
        refuse_faults(part_of(Mesh(cube.vertices, faces)))


def test_a_refusal_of_a_tiny_part_asks_for_its_unit(tmp_path):
    cube = box((1.9, 1.9, 1.9))  # 48 mm, in inches
    (tmp_path / "tiny.stl").write_bytes(packed_stl(cube.corners[2:]))
    words = "largest size is 1.9 mm: is the file in inches\\? give --unit inch; or repair"
    with pytest.raises(NotASolidError, match=words):
        read_sound_part(tmp_path / "tiny.stl", repairs=False)


@pytest.mark.parametrize("name", PARTS)
@pytest.mark.parametrize("others", [(), (dirtied.one_face_lost,)])
def test_what_is_repeated_may_look_either_way(name, others, tmp_path):
    def both(corners, rng):
        for damage in (dirtied.repeated, dirtied.partly_turned, *others):
            corners = damage(corners, rng)
        return corners

    bad, good = damaged(name, both, tmp_path)
    sound = repair(bad).mesh
    assert sound.volume == pytest.approx(good.mesh.volume)
    assert open_edges(sound) == non_manifold_edges(sound) == crossing_faces(sound) == 0


@pytest.mark.parametrize("is_drawn_again", [False, True])
def test_bodies_that_touch_stay_apart_inside_out_or_drawn_again(is_drawn_again):
    # Three boxes in a row share whole sides, cut alike: their volumes are known.
    row = concatenate([box(at=(10.0 * k, 0, 0)) for k in range(3)])
    _, first, index = np.unique(
        row.vertices, axis=0, return_index=True, return_inverse=True
    )
    faces = first[index.ravel()][row.faces]
    inverted = faces[:, ::-1]
    drawn = np.concatenate([faces, inverted, faces]) if is_drawn_again else inverted
    sound = repair(part_of(Mesh(row.vertices, drawn).compact()))
    assert shells_of(sound.mesh).volumes.tolist() == pytest.approx([1000.0] * 3)
    assert "sheets" not in kinds(sound)


@pytest.mark.parametrize("name", PARTS)
def test_faces_repeated_before_all_is_drawn_again_are_no_contact(name, tmp_path):
    # They stand there as often as faces of two bodies that touch would.
    def both(corners, rng):
        return dirtied.two_sided(dirtied.partly_repeated(corners, rng), rng)

    bad, good = damaged(name, both, tmp_path)
    sound = repair(bad).mesh
    assert sound.volume == pytest.approx(good.mesh.volume)
    assert open_edges(sound) == non_manifold_edges(sound) == crossing_faces(sound) == 0


@pytest.mark.parametrize("seed", [3, 5, 11])
def test_what_uniting_leaves_between_flush_bodies_is_no_reason_to_refuse(seed):
    # A plug in a ring, flush but for the rounding of 32 bits, and a bar through both.
    whole = trimesh.util.concatenate(
        [
            trimesh.creation.annulus(5, 9, 6, sections=24),
            trimesh.creation.cylinder(5, 10, sections=24),
            trimesh.creation.box((4, 12, 4)),
        ]
    )
    turn = np.random.default_rng(seed).random(3)
    whole.apply_transform(trimesh.transformations.random_rotation_matrix(turn))
    corners = (whole.vertices + [80, 40, 20]).astype(np.float32).astype(float)
    sound = repair(part_of(Mesh(corners, np.array(whole.faces))))
    assert kinds(sound) == {"bodies united": 2}
    # Closed form: 24-gons of radius 9 and 5 as prisms; the bar lies within them.
    polygon = 12 * np.sin(np.pi / 12)
    assert sound.mesh.volume == pytest.approx(polygon * (9**2 * 6 + 5**2 * 4), rel=1e-6)
    assert not shells_of(sound.mesh).are_sheets.any()
    read = sound.mesh.corners.astype(np.float32)
    assert (read != np.roll(read, 1, axis=1)).any(axis=2).all()  # no face loses a corner
    assert open_edges(sound.mesh) == 0


@pytest.mark.parametrize("width", [0.15, 1.5])
def test_a_narrow_plane_hole_is_closed_though_no_face_shows_its_plane(width):
    top = [(0, 0, 20), (9, 0, 20), (9, width, 20), (0, width, 20)]
    foot = [(-20, -20, 0), (20, -20, 0), (20, 20, 0), (-20, 20, 0)]
    roof = trimesh.convex.convex_hull(np.array([*top, *foot], dtype=float))
    lid = (roof.vertices[roof.faces][:, :, 2] == 20).all(axis=1)
    part = part_of(Mesh(np.array(roof.vertices), np.array(roof.faces)[~lid]))
    if width > 1:
        with pytest.raises(NotASolidError, match="4 open edges"):
            repair(part)
        return
    sound = repair(part)
    assert kinds(sound) == {"holes": 1}
    assert sound.mesh.volume == pytest.approx(roof.volume)
    assert open_edges(sound.mesh) == crossing_faces(sound.mesh) == 0


@pytest.mark.parametrize(("sections", "seed"), [(40, 0), (40, 18), (64, 16)])
def test_corners_made_one_after_uniting_leave_no_body_without_thickness(sections, seed):
    made = trimesh.creation
    whole = trimesh.util.concatenate(
        [
            made.annulus(5, 9, 6, sections=sections),
            made.cylinder(5, 10, sections=sections),
            made.box((4, 22, 4)),
            made.annulus(9, 11, 3, sections=sections),
        ]
    )
    turn = np.random.default_rng(seed).random(3)
    whole.apply_transform(trimesh.transformations.random_rotation_matrix(turn))
    corners = (whole.vertices + [300, 140, 220]).astype(np.float32).astype(float)
    sound = repair(part_of(Mesh(corners, np.array(whole.faces))))
    assert kinds(sound) == {"bodies united": 3}
    assert not shells_of(sound.mesh).are_sheets.any()
    assert open_edges(sound.mesh) == 0
