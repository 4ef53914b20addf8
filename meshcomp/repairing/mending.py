"""The repairs in their order, each counted."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import NotASolidError
from meshcomp.meshes import Mesh, concatenate
from meshcomp.parts import Part, Repair
from meshcomp.repairing.corners import with_corners_moved
from meshcomp.repairing.cracks import crack_limit, joined_cracks, rim_edges
from meshcomp.repairing.disentangling import disentangled
from meshcomp.repairing.duplicates import without_repeated
from meshcomp.repairing.faults import find_faults
from meshcomp.repairing.filling import filled
from meshcomp.repairing.folds import without_folds
from meshcomp.repairing.patchwork import Patchwork, untouched
from meshcomp.repairing.planes import with_planes_joined
from meshcomp.repairing.redrawn import without_redrawn
from meshcomp.repairing.refusing import refuse_faults
from meshcomp.repairing.sheets import without_sheets
from meshcomp.repairing.shells import turned_as_one, turned_outward
from meshcomp.repairing.slivers import flat_limit, without_slivers
from meshcomp.repairing.turning import turned_alike
from meshcomp.repairing.uniting import without_overlaps
from meshcomp.topology import topology_of

__all__ = ["repair"]

# What cannot always be helped and does no harm: all that follows takes slivers, and bodies
# that overlap are each shaped for themselves.
_TOLERATED = ("faces without area", "overlapping bodies")
_MOST_OPEN = 200_000  # edges of one face: more are triangles without a surface
_MOST_ROUNDS = 4  # filling one hole may show another


def repair(part: Part) -> Part:
    """Make a sound solid of a part as it was read, where that is safe.

    A sound part is returned as it is, unless it is large and divides planes much finer
    than their shape needs: those are made of few faces again. Each piece of a file is
    repaired for itself, and several bodies in it stay several, unless they overlap. Faces
    that need no repair keep their coordinates to the last bit.

    Parameters
    ----------
    part : Part
        As read by `meshcomp.read`.

    Returns
    -------
    part : Part
        With `repairs`: what was done, and how often.

    Raises
    ------
    NotASolidError
        If no sound solid can safely be made of it, with the places.

    Examples
    --------
    >>> import meshcomp
    >>> spacer = meshcomp.demo_part("shaft_spacer")
    >>> repair(spacer) is spacer
    True
    >>> inverted = spacer.with_mesh(
    ...     Mesh(spacer.mesh.vertices, spacer.mesh.faces[:, ::-1]),
    ...     np.arange(len(spacer.mesh.faces)),
    ... )
    >>> [(r.kind, r.count) for r in repair(inverted).repairs]
    [('bodies turned', 1)]
    """
    part = with_planes_joined(part)
    faults = find_faults(part)
    if not faults.any:
        return part
    if len(faults.open_edges) > _MOST_OPEN and len(rim_edges(part.mesh)) > _MOST_OPEN:
        refuse_faults(part)
    try:
        return _repaired(part)
    except NotASolidError:
        whole = _as_one_piece(part, faults.open_edges // 3)
        if whole is None:
            raise
        try:
            return _repaired(whole)
        except NotASolidError:
            pass
        raise


def _repaired(part: Part) -> Part:
    groups = [
        np.flatnonzero(part.piece_of_face == k) for k in np.unique(part.piece_of_face)
    ]
    done = [_mended(_own(part.mesh, rows)) for rows in groups]
    mesh = concatenate([work.mesh for work, _ in done])
    if len(mesh.faces) == 0:
        raise NotASolidError(
            f"{part.name}: its {len(part.mesh.faces)} faces enclose nothing: export it "
            "again as one solid"
        )
    parents = [rows[work.parents] for rows, (work, _) in zip(groups, done, strict=True)]
    mended = part.with_mesh(mesh.compact(), np.concatenate(parents))
    log = _summed([r for _, log in done for r in log])
    mended = replace(mended, repairs=(*part.repairs, *log))
    refuse_faults(mended, tolerated=_TOLERATED)
    return mended


def _as_one_piece(part: Part, open_faces: NDArray[np.int64]) -> Part | None:
    """Make one piece of those that are open: some programs name every surface of a solid.

    None where only one is, or where pieces are objects with coordinates of their own.
    """
    own = part.piece_of_face
    pieces = np.unique(own[open_faces])
    if len(pieces) < 2 or part.source.container is not None:  # noqa: PLR2004
        return None
    _, first, index = np.unique(
        part.mesh.vertices, axis=0, return_index=True, return_inverse=True
    )
    joined = np.isin(own, pieces)
    faces = np.where(
        joined[:, None], first[index.ravel()][part.mesh.faces], part.mesh.faces
    )
    return replace(
        part,
        mesh=Mesh(part.mesh.vertices, faces),
        piece_of_face=np.where(joined, pieces[0], own),
    )


def _own(mesh: Mesh, rows: NDArray[np.int64]) -> Mesh:
    return mesh if len(rows) == len(mesh.faces) else Mesh(mesh.vertices, mesh.faces[rows])


def _summed(log: list[Repair]) -> tuple[Repair, ...]:
    """Add up what was done to several pieces, in the order of the first of each kind."""
    counts: dict[str, int] = {}
    for entry in log:
        counts[entry.kind] = counts.get(entry.kind, 0) + entry.count
    return tuple(Repair(kind=kind, count=n) for kind, n in counts.items() if n)


_Step = Iterator[tuple[Patchwork, str, int]]


def _mended(mesh: Mesh) -> tuple[Patchwork, list[Repair]]:
    """Join cracks as wide as they may be; where that closes nothing, only narrow ones."""
    first = _mended_by(mesh, (_surfaces, _solids))
    if topology_of(first[0].mesh).is_closed or not _joins_cracks(first[1]):
        return first
    second = _mended_by(mesh, (_narrow_surfaces, _solids))
    return second if topology_of(second[0].mesh).is_closed else first


def _joins_cracks(log: list[Repair]) -> bool:
    return any(repair.kind == "cracks" and repair.count for repair in log)


def _mended_by(
    mesh: Mesh, steps: tuple[Callable[[Patchwork], _Step], ...]
) -> tuple[Patchwork, list[Repair]]:
    work, log = untouched(mesh), []
    for step in steps:
        done = list(step(work))
        log += [Repair(kind=kind, count=count) for _, kind, count in done]
        work = done[-1][0]
    return work, log


def _narrow_surfaces(work: Patchwork) -> _Step:
    return _surfaces(work, narrow=True)


def _surfaces(work: Patchwork, *, narrow: bool = False) -> _Step:
    """Make closed surfaces that look to one side."""
    work, count = without_repeated(work)
    yield work, "repeated faces", count
    work, cracks = joined_cracks(work, narrow=narrow)
    yield work, "cracks", cracks
    if cracks:
        work, count = without_repeated(work)
        yield work, "repeated faces", count
    work, count = turned_alike(work)
    yield work, "faces turned", count
    work, count = without_redrawn(work)
    yield work, "repeated faces", count
    if count:
        work, count = turned_alike(work)
        yield work, "faces turned", count
    work, count = turned_as_one(work)
    yield work, "bodies turned", count
    limits = np.full(len(work.mesh.faces), flat_limit(work.mesh))
    for _ in range(_MOST_ROUNDS):
        if topology_of(work.mesh).is_closed:
            break
        before = len(work.mesh.faces)
        work, slits, holes = filled(work)
        yield work, "slits", slits
        work, moved = with_corners_moved(work)
        yield work, "slits", moved
        yield work, "holes", holes
        new = np.full(len(work.mesh.faces) - before, crack_limit(work.mesh))
        limits = np.concatenate([limits, new])
        if not slits + holes + moved:
            break
    filling = int((limits != flat_limit(work.mesh)).sum())
    work, count = without_slivers(work, limits)
    # Those that only filled a slit were never in the file.
    yield work, "faces without area", max(count - filling, 0)
    if cracks:
        work, count = without_folds(work)
        yield work, "faces without area", count


def _solids(work: Patchwork) -> _Step:
    """Make sound solids of closed surfaces."""
    work, count = turned_as_one(work)
    yield work, "bodies turned", count
    work, count = without_sheets(work)
    yield work, "sheets", count
    if not topology_of(work.mesh).is_closed:
        return
    work, count = turned_outward(work)
    yield work, "bodies turned", count
    work, count = without_repeated(work)
    yield work, "repeated faces", count
    work, count, left = without_overlaps(disentangled(work))
    yield work, "bodies united", count
    yield work, "overlaps left", left
