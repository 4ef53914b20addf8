"""A surface that a file draws twice with other triangles counts once.

Outside references: the undamaged part for its volume, trimesh for other triangles, for
bodies and for the Euler number, pymeshlab for crossing and open edges, closed forms for
the volumes of boxes.
"""

from __future__ import annotations

import dirtied
import numpy as np
import pytest
import trimesh
from outside import plane
from outside.crossings import crossing_faces, non_manifold_edges, open_edges
from test_files_samples import packed_stl
from test_repairing import PARTS, box, kinds, part_of, turned
from test_repairing_together import mended

import meshcomp
from meshcomp.errors import NotASolidError
from meshcomp.files import read_part
from meshcomp.meshes import Mesh, concatenate
from meshcomp.repairing import read_sound_part, repair
from meshcomp.repairing.shells import shells_of
from meshcomp.repairing.windings import doubled_faces
from meshcomp.topology import topology_of


def as_it_is(corners, _rng):
    return corners


def divided(corners):
    """Divide each face at its middle, so that all edges are those of the first drawing."""
    middle = corners.mean(axis=1).astype(np.float32).astype(float)
    fans = [np.stack([corners[:, k], corners[:, (k + 1) % 3], middle], 1) for k in range(3)]
    return np.concatenate(fans)


def quartered(corners):
    """Divide each face into four, so that no edge is one of the first drawing."""
    mesh = trimesh.Trimesh(**trimesh.triangles.to_kwargs(corners), process=False)
    return np.asarray(mesh.subdivide().triangles).astype(np.float32).astype(float)


def drawn_again(folder, name, again, damage):
    good = meshcomp.demo_part(name)
    corners = good.mesh.corners
    both = np.concatenate([corners, again(corners)])
    (folder / "bad.stl").write_bytes(packed_stl(damage(both, np.random.default_rng(3))))
    return folder / "bad.stl", good


@pytest.mark.parametrize("name", PARTS)
@pytest.mark.parametrize("again", [divided, quartered])
def test_what_is_drawn_again_counts_once(name, again, tmp_path):
    path, good = drawn_again(tmp_path, name, again, as_it_is)
    sound = repair(read_part(path))
    assert sound.repairs
    assert sound.mesh.volume == pytest.approx(good.mesh.volume, rel=1e-6)
    assert open_edges(sound.mesh) == non_manifold_edges(sound.mesh) == 0
    assert crossing_faces(sound.mesh) == 0
    other = trimesh.Trimesh(sound.mesh.vertices, sound.mesh.faces, process=False)
    assert other.body_count == 1
    assert other.euler_number == good.mesh.to_trimesh().euler_number
    assert repair(sound) is sound


@pytest.mark.parametrize("name", PARTS)
@pytest.mark.parametrize(
    "damage", [dirtied.partly_turned, dirtied.one_face_lost, dirtied.partly_repeated]
)
def test_other_faults_may_come_with_it(name, damage, tmp_path):
    path, good = drawn_again(tmp_path, name, divided, damage)
    sound = repair(read_part(path))
    assert open_edges(sound.mesh) == non_manifold_edges(sound.mesh) == 0
    assert sound.mesh.volume == pytest.approx(good.mesh.volume, rel=1e-6)
    assert shells_of(sound.mesh).count == 1


@pytest.mark.parametrize("name", PARTS)
@pytest.mark.parametrize(
    "damage",
    [dirtied.cracked, dirtied.with_t_junctions, dirtied.with_flat_faces],
)
@pytest.mark.parametrize("again", [divided, quartered])
def test_never_does_a_volume_count_twice(name, damage, again, tmp_path):
    path, good = drawn_again(tmp_path, name, again, damage)
    sound, words = mended(read_part(path))
    if sound is None:
        assert " about (" in words
        return
    assert sound.mesh.volume == pytest.approx(good.mesh.volume, rel=5e-4)


def test_without_repair_it_is_refused_with_the_place(tmp_path):
    path, _ = drawn_again(tmp_path, "knob", divided, as_it_is)
    words = r"not a closed, sound solid: \d+ repeated faces; about \(-?\d"
    with pytest.raises(NotASolidError, match=words):
        read_sound_part(path, repairs=False)


def test_bodies_that_touch_with_other_triangles_stay_two():
    # Two cubes share a side, which each cuts along another diagonal.
    one, _ = cubes()
    _, two = cubes(at=1.0)
    both = joined(one, two)
    assert topology_of(both).crowded > 0
    part = part_of(both)
    assert repair(part) is part
    assert shells_of(part.mesh).volumes.tolist() == pytest.approx([1.0, 1.0])
    assert len(doubled_faces(part.mesh)) == 0


def cubes(at=0.0):
    """Cubes of 1 mm from x = `at`, their sides cut along the one diagonal or the other."""
    corners = np.indices((2, 2, 2)).reshape(3, -1).T[:, ::-1] + (at, 0.0, 0.0)
    sides = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2)]
    sides = [*sides, (1, 3, 7, 5)]
    ones = [t for a, b, c, d in sides for t in ((a, b, c), (a, c, d))]
    others = [t for a, b, c, d in sides for t in ((a, b, d), (b, c, d))]
    return Mesh(corners, ones), Mesh(corners, others)


def joined(*meshes):
    """Several meshes on shared vertices."""
    whole = concatenate(list(meshes))
    _, first, index = np.unique(
        whole.vertices, axis=0, return_index=True, return_inverse=True
    )
    return Mesh(whole.vertices, first[index.ravel()][whole.faces]).compact()


def test_a_cube_drawn_along_both_diagonals_counts_once():
    sound = repair(part_of(joined(*cubes())))
    assert kinds(sound) == {"repeated faces": 12}
    assert sound.mesh.volume == pytest.approx(1.0)


def test_faces_drawn_twice_are_found_by_what_lies_behind_them():
    # The winding number behind both drawings is two, and one behind what is drawn once.
    assert len(doubled_faces(joined(*cubes()))) > 0
    assert len(doubled_faces(box())) == 0


def test_equal_bodies_that_touch_along_an_edge_stay_two():
    # Each lies on both sides of the edge that they share: that is no rim of a surface.
    part = part_of(joined(box(), box(at=(10, 10, 0))))
    assert topology_of(part.mesh).crowded == 1
    assert repair(part) is part
    assert shells_of(part.mesh).volumes.tolist() == pytest.approx([1000.0, 1000.0])


def test_a_drawing_that_hangs_together_with_its_copy_is_refused(tmp_path):
    # Faces without area, and the same in quarters: taking them up joins both drawings.
    good = meshcomp.demo_part("knob")
    once = dirtied.with_flat_faces(good.mesh.corners, np.random.default_rng(1))
    both = np.concatenate([once, quartered(once)])
    (tmp_path / "bad.stl").write_bytes(packed_stl(both))
    bad = read_part(tmp_path / "bad.stl")
    assert bad.mesh.volume == pytest.approx(2 * good.mesh.volume, rel=1e-4)
    with pytest.raises(NotASolidError, match=r"surfaces? drawn twice; about \("):
        repair(bad)


def test_both_sides_of_one_body_go_though_another_has_one():
    two_sided = box()
    faces = np.concatenate([two_sided.faces, two_sided.faces[:, ::-1]])
    both = concatenate([Mesh(two_sided.vertices, faces), box((4, 4, 4), at=(5, 0, 0))])
    sound = repair(part_of(both))
    assert kinds(sound) == {"repeated faces": 12, "bodies united": 1}
    assert sound.mesh.volume == pytest.approx(1000 + 4 * 4 * 2)
    assert crossing_faces(sound.mesh) == open_edges(sound.mesh) == 0


def test_most_of_a_file_is_never_dropped_as_flat():
    # A plate drawn from both sides, cracked so that its sides are no copies, and a box.
    plate = box((40, 40, 1)).corners
    halves = np.where((plate[:, :, 0] > 0).all(axis=1)[:, None, None], 0.2, 0.0)
    plate = plate + halves
    both = np.concatenate([plate, plate[:, ::-1], box((2, 2, 2), at=(60, 0, 0)).corners])
    with pytest.raises(NotASolidError, match=r" about \("):
        repair(part_of(welded(both)))


def test_a_body_that_sticks_out_of_one_inside_out_is_not_turned_with_it():
    # An angle of 18.75 mm² by 4 mm; half of the stub lies in it, all within its box.
    angle = [(0, 0), (6, 0), (6, 1.5), (1.5, 1.5), (1.5, 8), (0, 8)]
    stub = box((2, 2, 1), at=(1.5, 2.5, 2))
    sound = repair(part_of(concatenate([turned(plane.prism([angle], 0, 4)), stub])))
    assert kinds(sound) == {"bodies turned": 1, "bodies united": 1}
    assert sound.mesh.volume == pytest.approx(18.75 * 4 + 2)


def welded(corners):
    mesh = Mesh(corners.reshape(-1, 3), np.arange(corners.size // 3).reshape(-1, 3))
    return joined(mesh)
