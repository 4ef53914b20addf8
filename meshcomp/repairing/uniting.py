"""Bodies that overlap made one; bodies that merely touch are left as they are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.contacts import flush_pairs
from meshcomp.crossings import crossing_pairs
from meshcomp.meshes import Mesh
from meshcomp.repairing.copies import second_drawings
from meshcomp.repairing.cracks import crack_limit
from meshcomp.repairing.patchwork import Patchwork
from meshcomp.repairing.shells import Shells, shells_inside, shells_of
from meshcomp.repairing.slivers import without_needles, without_slivers
from meshcomp.solids import shared_thicknesses, united
from meshcomp.topology import components, topology_of

__all__ = ["Overlaps", "overlaps_of", "without_overlaps"]

_FLUSH = 1e-4  # mm: planes of two bodies that are nearer are one
_SLIVER = 5e-5  # mm: a cut face that is lower goes, so that rounding folds none
_TOLERANCES = (0.0, 5e-5, 1e-3)  # mm: by which a union may be smoothed, if it must be
_VOLUME_SHARE = 1e-6  # of the bodies' volumes: what uniting may lose to rounding
_NOTHING_MORE = 1e-7  # of a body's volume: what others add to it that lie within it


@dataclass(frozen=True, slots=True, eq=False)
class Overlaps:
    """Which shells make which body, and which bodies overlap."""

    shells: Shells
    body_of_shell: NDArray[np.int64]  # (s,) a shell of positive volume, or -1
    pairs: NDArray[np.int64]  # (k, 2) bodies, by the number of their outer shell

    def faces_of(self, body: int) -> NDArray[np.int64]:
        """Faces of a body and of its cavities."""
        return np.flatnonzero((self.body_of_shell == body)[self.shells.of_face])


def overlaps_of(mesh: Mesh) -> Overlaps:
    """Find bodies that have more than contact in common.

    Where faces of two bodies cross, or lie flush in one plane, the solid that both fill is
    made; if it is no thicker on average than a crack (twice its volume by its surface),
    they touch only.

    Parameters
    ----------
    mesh : Mesh
        Closed, its shells turned outward, mm.
    """
    shells = shells_of(mesh)
    if shells.count == 1:
        return Overlaps(shells, np.zeros(1, np.int64), np.zeros((0, 2), np.int64))
    inside = shells_inside(mesh, shells)
    bodies = _bodies(shells, inside)
    found = Overlaps(shells, bodies, np.zeros((0, 2), np.int64))
    pairs = [_swallowed(shells, inside), *_deep_crossings(mesh, found)]
    return Overlaps(shells, bodies, np.unique(np.concatenate(pairs), axis=0))


def _bodies(shells: Shells, inside: NDArray[np.int64]) -> NDArray[np.int64]:
    """Give each cavity to the smallest body around it."""
    bodies = np.where(shells.volumes > 0, np.arange(shells.count), -1)
    holding = inside[
        (shells.volumes[inside[:, 0]] <= 0) & (shells.volumes[inside[:, 1]] > 0)
    ]
    order = np.argsort(-shells.volumes[holding[:, 1]], kind="stable")
    bodies[holding[order, 0]] = holding[order, 1]
    return bodies


def _swallowed(shells: Shells, inside: NDArray[np.int64]) -> NDArray[np.int64]:
    """Pairs of bodies of which one lies within the other's material."""
    signs = np.sign(shells.volumes)
    about = np.bincount(inside[:, 0], signs[inside[:, 1]], shells.count)
    rows = (signs > 0)[inside].all(axis=1) & (about[inside[:, 0]] > 0)
    return np.sort(inside[rows], axis=1)


def _deep_crossings(mesh: Mesh, found: Overlaps) -> list[NDArray[np.int64]]:
    """Pairs of bodies that cross by more than contact."""
    shells, bodies = found.shells, found.body_of_shell
    near = _near_another(mesh, shells)
    if not near.any():
        return []
    own_body = np.maximum(bodies, 0)[shells.of_face]
    faces = [crossing_pairs(mesh, near), flush_pairs(mesh, own_body, near, _FLUSH)]
    crossing = bodies[shells.of_face[np.concatenate(faces)]]
    crossing = crossing[(crossing[:, 0] != crossing[:, 1]) & (crossing >= 0).all(axis=1)]
    pairs = np.unique(np.sort(crossing, axis=1), axis=0)
    own, places = np.unique(pairs, return_inverse=True)
    groups = [found.faces_of(body) for body in own.tolist()]
    deep = shared_thicknesses(mesh, topology_of(mesh), groups, places.reshape(-1, 2))
    return [pairs[deep > crack_limit(mesh)]]


def _near_another(mesh: Mesh, shells: Shells) -> NDArray[np.bool_]:
    """Faces of which the box meets the box of another shell."""
    from meshcomp.boxes import overlapping_boxes

    pairs = overlapping_boxes(shells.boxes, np.ones(shells.count, dtype=bool))
    low = np.full((shells.count, 3), np.inf)
    high = np.full((shells.count, 3), -np.inf)
    for one, two in (pairs.T, pairs.T[::-1]):
        # All that others may share with a shell lies in one box.
        np.minimum.at(low, one, np.maximum(*shells.boxes[[one, two], 0]))
        np.maximum.at(high, one, np.minimum(*shells.boxes[[one, two], 1]))
    corners = mesh.corners
    own = shells.of_face
    return np.asarray(
        (corners.min(axis=1) <= high[own]).all(axis=1)
        & (corners.max(axis=1) >= low[own]).all(axis=1)
    )


def without_overlaps(work: Patchwork) -> tuple[Patchwork, int, int]:
    """Unite bodies that overlap, if what comes out is sounder than what went in.

    Returns
    -------
    work : Patchwork
    united : int
        How many bodies went into others.
    left : int
        How many overlapping bodies are left as they are, since no sound union was found.
    """
    work, found, again = _drawn_once(work)
    if len(found.pairs) == 0:
        return work, again, 0
    label = components(found.shells.count, found.pairs)
    groups = [
        np.unique(found.pairs[label[found.pairs[:, 0]] == k])
        for k in np.unique(label[found.pairs[:, 0]])
    ]
    rest = np.ones(len(work.mesh.faces), dtype=bool)
    wholes, done, left = [], again, 0
    for bodies in groups:
        faces = [found.faces_of(body) for body in bodies.tolist()]
        whole = _whole(work, faces)
        if whole is None:
            left += len(bodies)
            continue
        done += len(bodies) - 1
        rest[np.concatenate(faces)] = False
        wholes.append(whole)
    return _together([work.only(rest), *wholes]), done, left


def _drawn_once(work: Patchwork) -> tuple[Patchwork, Overlaps, int]:
    """Drop bodies that are others again, but for a hair; count them."""
    found = overlaps_of(work.mesh)
    bodies = {k: found.faces_of(k) for k in np.unique(found.pairs).tolist()}
    again = second_drawings(work.mesh, bodies, found.pairs, crack_limit(work.mesh))
    if not again:
        return work, found, 0
    rows = ~np.isin(found.body_of_shell, again)[found.shells.of_face]
    work = work.only(rows)
    return work, overlaps_of(work.mesh), len(again)


def _whole(work: Patchwork, faces: list[NDArray[np.int64]]) -> Patchwork | None:
    """Make one of overlapping bodies; None where that is no sounder.

    Of several unions that are, the first is taken that brings no edges together, else that
    with the fewest such edges: what reads the file cannot tell which faces go on there.
    """
    before = [Mesh(work.mesh.vertices, work.mesh.faces[rows]) for rows in faces]
    together = Mesh(work.mesh.vertices, work.mesh.faces[np.concatenate(faces)])
    least, crossed = _joined_in_file(together), len(np.unique(crossing_pairs(together)))
    best, fewest, exact = None, np.inf, None
    for tolerance in _TOLERANCES:
        made = united(work.mesh, topology_of(work.mesh), faces, tolerance)
        if made is None:
            continue
        exact = made[0].volume if exact is None else exact
        # What crosses in the largest body alone stays: fewer bodies are sounder then.
        tried = [
            (_largest(work, faces, exact), crossed + 1),
            (_cleaned(work, made, exact), max(crossed, 1)),
        ]
        sound = [w for w, most in tried if w and _is_sounder(w.mesh, before, most)]
        if not sound:
            continue
        whole = sound[0]
        joined = _joined_in_file(whole.mesh)
        if joined < fewest:
            best, fewest = whole, joined
        if joined <= least:
            break
    return best


def _largest(
    work: Patchwork, faces: list[NDArray[np.int64]], volume: float
) -> Patchwork | None:
    """Return the largest body, where others add nothing, such as a second drawing."""
    sizes = [Mesh(work.mesh.vertices, work.mesh.faces[rows]).volume for rows in faces]
    largest = int(np.argmax(sizes))
    return work.only(faces[largest]) if volume <= (1 + _NOTHING_MORE) * max(sizes) else None


def _cleaned(
    work: Patchwork, made: tuple[Mesh, NDArray[np.int64]], exact: float
) -> Patchwork | None:
    """Take out of a union what is too small for 32 bits; None where that tears it.

    `exact` is its volume before anything was smoothed, mm³.
    """
    mesh, parents = made
    new = _is_new(mesh, work.mesh)
    done = Patchwork(_rounded(mesh, new), work.parents[parents])
    done = without_needles(done, _SLIVER, new)
    limits = np.where(new[done.mesh.faces].any(axis=1), _SLIVER, -1.0)
    done, _ = without_slivers(done, limits)
    if abs(done.mesh.volume - exact) > _SLIVER * shells_of(done.mesh).areas.sum():
        return None
    # Corners made one may part what has no thickness from the rest.
    return _without_gaps(_as_read(_without_gaps(done, work.mesh)), work.mesh)


def _as_read(work: Patchwork) -> Patchwork:
    """Make corners one that are so in 32 bits, and drop faces that have no three then."""
    index, count = _places_in_file(work.mesh)
    first = np.zeros(count, np.int64)
    first[index[::-1]] = np.arange(len(index))[::-1]
    faces = first[index][work.mesh.faces]
    whole = (faces != np.roll(faces, -1, axis=1)).all(axis=1)
    if whole.all() and (faces == work.mesh.faces).all():
        return work
    return work.with_faces(faces).only(whole)


def _places_in_file(mesh: Mesh) -> tuple[NDArray[np.int64], int]:
    """Give vertices that 32 bits do not tell apart one number, (n,), and count these."""
    rounded = (mesh.vertices + 0.0).astype(np.float32)
    places, index = np.unique(rounded, axis=0, return_inverse=True)
    return index.ravel(), len(places)


def _without_gaps(work: Patchwork, before: Mesh) -> Patchwork:
    """Drop what uniting left between bodies that do not quite meet: it encloses nothing.

    Faces that were flush but for rounding leave shells without thickness, which would be
    refused; a void between bodies that is as thin as a crack is filled as cracks are.
    """
    shells = shells_of(work.mesh)
    if shells.count == 1:
        return work
    of_face = _is_new(work.mesh, before)[work.mesh.faces].any(axis=1)
    is_new = np.bincount(shells.of_face, of_face, shells.count) > 0
    thin = -2 * shells.volumes <= crack_limit(before) * shells.areas
    gone = shells.are_sheets | (is_new & (shells.volumes < 0) & thin)
    return work.only(~gone[shells.of_face]) if not gone.all() else work


def _is_new(mesh: Mesh, before: Mesh) -> NDArray[np.bool_]:
    """Vertices that were not there before, to the last bit."""
    kinds = np.dtype((np.void, 24))
    new, old = (
        np.ascontiguousarray(m.vertices + 0.0).view(kinds)[:, 0] for m in (mesh, before)
    )
    return np.asarray(~np.isin(new, old))


def _rounded(mesh: Mesh, new: NDArray[np.bool_]) -> Mesh:
    """Round new vertices to the 32 bits that files hold."""
    short = mesh.vertices.astype(np.float32).astype(np.float64)
    return mesh.moved(np.where(new[:, None], short, mesh.vertices))


def _is_sounder(mesh: Mesh, before: list[Mesh], most: int) -> bool:
    """Whether a union is closed, of a likely volume, and fewer faces cross than `most`."""
    if not topology_of(mesh).is_closed:
        return False
    volumes = np.array([body.volume for body in before])
    least, total = volumes.max(), volumes.sum()
    slack = _VOLUME_SHARE * total
    if not least - slack <= mesh.volume <= total + slack:
        return False
    return len(np.unique(crossing_pairs(mesh))) < most


def _joined_in_file(mesh: Mesh) -> int:
    """Count half-edges that are one with others, or none, once 32 bits are read again."""
    index, count = _places_in_file(mesh)
    starts = index[mesh.faces]
    keys = (starts * count + np.roll(starts, -1, axis=1)).ravel()
    found, counts = np.unique(keys, return_counts=True)
    return int(counts[(counts > 1) | (found % (count + 1) == 0)].sum())


def _together(parts: list[Patchwork]) -> Patchwork:
    """Put patchworks into one, sharing no vertices."""
    starts = np.cumsum([0] + [len(part.mesh.vertices) for part in parts[:-1]])
    faces = [p.mesh.faces + start for p, start in zip(parts, starts, strict=True)]
    return Patchwork(
        Mesh(np.concatenate([p.mesh.vertices for p in parts]), np.concatenate(faces)),
        np.concatenate([p.parents for p in parts]),
    )
