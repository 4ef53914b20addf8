"""The refusal of a part that is no sound solid: what is wrong with it, and where."""

from __future__ import annotations

from collections.abc import Container

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, unit
from meshcomp.errors import NotASolidError
from meshcomp.files.units import size_question
from meshcomp.meshes import Mesh
from meshcomp.parts import Part
from meshcomp.repairing.faults import Faults, find_faults
from meshcomp.repairing.rims import loops_of
from meshcomp.repairing.turning import plain_edges
from meshcomp.topology import edge_ends

__all__ = ["refuse_faults"]

_MOST_PLACES = 4  # named in a message, of each kind
_SHARP = 0.9  # cosine between faces at an edge that is drawn
_MOST_DRAWN = 5_000
_MOST_LOOPS = 2_000  # open edges that are linked to say how many holes there are
_SINGULAR = {"edges": "edge", "faces": "face", "bodies": "body", "surfaces": "surface"}


def refuse_faults(part: Part, tolerated: Container[str] = ()) -> None:
    """Raise where a part is no sound solid.

    Parameters
    ----------
    part : Part
        As read, or as repaired.
    tolerated : container of str
        Kinds of fault that are let pass.

    Raises
    ------
    NotASolidError
        Naming what is wrong, how often, and the first places.

    Examples
    --------
    >>> import meshcomp
    >>> refuse_faults(meshcomp.demo_part("shaft_spacer"))
    """
    faults = find_faults(part)
    found = {kind: at for kind, at in faults.places.items() if kind not in tolerated}
    if not found:
        return
    listed = ", ".join(_counted(kind, len(at)) for kind, at in found.items())
    places = _places(part, faults, list(found))
    raise NotASolidError(
        f"{part.name}: not a closed, sound solid: {listed}{places}: "
        f"{_question(part)}repair the mesh, or export it again as one solid",
        open_edges=_segments(part, faults.open_edges),
        outline=_segments(part, _sharp_edges(part.mesh)),
    )


def _question(part: Part) -> str:
    """Ask about the unit, where the size is an unlikely one."""
    largest = float(np.ptp(part.mesh.bounds, axis=0).max())
    question = size_question(largest, part.source.unit)
    return f"{question}; or " if question else ""


def _counted(kind: str, count: int) -> str:
    if count > 1:
        return f"{count} {kind}"
    words = kind.split(" ")
    plural = next(k for k, word in enumerate(words) if word in _SINGULAR)
    words[plural] = _SINGULAR[words[plural]]
    return f"1 {' '.join(words)}"


def _segments(part: Part, half_edges: NDArray[np.int64]) -> NDArray[np.float64]:
    """Both ends of half-edges in the file's frame, (k, 2, 3), mm."""
    return part.stand.to_file(edge_ends(part.mesh, half_edges))


def _sharp_edges(mesh: Mesh) -> NDArray[np.int64]:
    """Half-edges at which faces meet at an angle, for a drawing: the longest of many."""
    pairs, alike = plain_edges(mesh)
    normals = unit(mesh.area_vectors)
    bend = dot(normals[pairs[:, 0] // 3], normals[pairs[:, 1] // 3])
    sharp = pairs[(np.where(alike, bend, -bend) < _SHARP), 0]
    starts, ends = edge_ends(mesh, sharp).transpose(1, 0, 2)
    lengths = np.linalg.norm(starts - ends, axis=1)
    return np.asarray(sharp[np.argsort(-lengths, kind="stable")[:_MOST_DRAWN]])


def _places(part: Part, faults: Faults, kinds: list[str]) -> str:
    """Say where the first faults of each kind are."""
    said = ""
    for kind in kinds:
        if kind == "open edges":
            said += _holes(part, faults.rims)
            continue
        places = faults.places[kind]
        shown = part.stand.to_file(places[:_MOST_PLACES])
        said += _listed("about" if len(kinds) == 1 else f"{kind} about", shown, len(places))
    return said


def _holes(part: Part, rims: NDArray[np.int64]) -> str:
    """Say where the first holes are."""
    loops = loops_of(part.mesh, rims[:_MOST_LOOPS]) or [rims[:1]]
    shown = [_segments(part, loop)[:, 0].mean(axis=0) for loop in loops[:_MOST_PLACES]]
    return _listed("open about", np.array(shown), len(loops))


def _listed(words: str, places: NDArray[np.float64], count: int) -> str:
    listed = ", ".join(f"({x:.3f}, {y:.3f}, {z:.3f})" for x, y, z in places)
    return f"; {words} {listed}{' and more' if count > len(places) else ''} mm"
