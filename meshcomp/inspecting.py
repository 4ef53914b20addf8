"""Look at a part: the state of its solid, its features, and what its stand means."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection import find_features
from meshcomp.detection.holes import groups
from meshcomp.detection.patterns import patterns
from meshcomp.errors import NotASolidError
from meshcomp.features import Cylinder, Feature
from meshcomp.inspections import Inspection, SolidState, StandCount
from meshcomp.meshes import Mesh
from meshcomp.parts import Part
from meshcomp.repairing.duplicates import without_repeated
from meshcomp.repairing.patchwork import untouched
from meshcomp.stands import STANDS, Stand
from meshcomp.topology import Topology, bodies_and_holes, topology_of

__all__ = ["inspect", "solid_state"]

STANDING_LIMIT = 5.0  # degrees between axis and build direction
LYING_LIMIT = 85.0
_ADJUSTED_LEAST = 2  # so many odd sizes are no accident


def inspect(part: Part) -> Inspection:
    """Find the features of a part and describe its solid.

    Parameters
    ----------
    part : Part
        As read by `meshcomp.read`, and made sound by `meshcomp.repair`.

    Raises
    ------
    NotASolidError
        If the mesh has open edges or faces that stand in it twice, or is inside out.

    Examples
    --------
    >>> import meshcomp
    >>> spacer = meshcomp.demo_part("shaft_spacer")
    >>> [f"{f.id} {f.nominal_size:.3f}" for f in meshcomp.inspect(spacer).cylinders]
    ['bore-01 8.000', 'boss-01 12.000']
    """
    topology = topology_of(part.mesh)
    _refuse_open(part, topology)
    _refuse_repeated(part, topology)
    solid = solid_state(part.mesh, topology, part.stand)
    if solid.volume <= 0:
        raise NotASolidError(
            f"{part.name}: the mesh is inside out (volume {solid.volume:.3f} mm³): "
            "turn its faces over in the program that made it"
        )
    features, internal = find_features(part.mesh, topology)
    return Inspection(
        part=part,
        solid=solid,
        features=features,
        internal_faces=internal,
        stands=_stands(part.stand, features),
        notes=(*part.source.questions, *_adjusted(features)),
        groups=groups(features),
        patterns=patterns(features),
    )


def solid_state(mesh: Mesh, topology: Topology, stand: Stand) -> SolidState:
    """Describe a solid in the file's frame."""
    bodies, holes = bodies_and_holes(mesh)
    ends = stand.to_file(mesh.bounds)
    low, high = ends.min(axis=0).tolist(), ends.max(axis=0).tolist()
    return SolidState(
        is_watertight=topology.is_closed,
        bodies=bodies,
        genus=holes,
        volume=mesh.volume,
        bounds=((low[0], low[1], low[2]), (high[0], high[1], high[2])),
        triangles=len(mesh.faces),
    )


def _refuse_open(part: Part, topology: Topology) -> None:
    """Raise with the place where a mesh is open."""
    if topology.is_closed:
        return
    half_edges = topology.open_half_edges
    first = part.mesh.vertices[part.mesh.faces.ravel()[half_edges[0]]]
    x, y, z = part.stand.to_file(first)
    raise NotASolidError(
        f"{part.name}: not a closed solid: {len(half_edges)} open edges, the first at "
        f"({x:.3f}, {y:.3f}, {z:.3f}) mm: repair the mesh, or export it again as one solid"
    )


def _refuse_repeated(part: Part, topology: Topology) -> None:
    """Raise where faces lie on each other the same way round: all is closed then, twice."""
    if not topology.crowded:
        return
    count = without_repeated(untouched(part.mesh))[1]
    if count:
        raise NotASolidError(
            f"{part.name}: {count} faces stand in the mesh more than once: drop them with "
            "meshcomp.repair, or export it again as one solid"
        )


def _stands(present: Stand, features: tuple[Feature, ...]) -> tuple[StandCount, ...]:
    """Count how bores would stand; the present way first, then those that do better."""
    axes = np.array(
        [f.direction for f in features if isinstance(f, Cylinder) and f.is_internal]
    ).reshape(-1, 3)
    axes = present.to_file(axes)
    now = _count(present.up, axes)
    others = [_count(up, axes) for up in STANDS if up[1] != present.up[1] and up[0] == "+"]
    better = [count for count in others if count.standing > now.standing]
    return (now, *sorted(better, key=lambda count: -count.standing))


def _count(up: str, axes: NDArray[np.float64]) -> StandCount:
    along = np.abs(axes[:, "XYZ".index(up[1])])
    angles = np.degrees(np.arccos(np.minimum(along, 1.0)))
    standing = int((angles <= STANDING_LIMIT).sum())
    lying = int((angles >= LYING_LIMIT).sum())
    return StandCount(
        up=up, standing=standing, lying=lying, leaning=len(angles) - standing - lying
    )


def _adjusted(features: tuple[Feature, ...]) -> tuple[str, ...]:
    """Notice sizes that look compensated by hand: 20.06 where others are round."""
    sizes = [(f.id, f.nominal_size) for f in features if f.nominal_size is not None]
    odd = [(name, size) for name, size in sizes if _looks_adjusted(size)]
    round_ones = sum(1 for _, size in sizes if abs(size * 10 - round(size * 10)) < 0.02)  # noqa: PLR2004
    if len(odd) < _ADJUSTED_LEAST or round_ones < len(odd):
        return ()
    listed = ", ".join(f"{name} {size:.2f}" for name, size in odd[:6])
    return (
        (
            f"{len(odd)} sizes look adjusted by hand already ({listed}): compensating them "
            "again would count twice; keep them with --keep ID, or set the true size with "
            "--set ID=SIZE"
        ),
    )


def _looks_adjusted(size: float) -> bool:
    """Whether a size is a few hundredths off a half millimetre, and round in hundredths."""
    off = abs(size * 2 - round(size * 2)) / 2
    hundredths = abs(size * 100 - round(size * 100))
    return 0.015 < off < 0.085 and hundredths < 0.1  # noqa: PLR2004
