"""Meshes of parts made anew in ways that must not change what is found.

Sources: isotropic remeshing and quadric decimation of `pymeshlab`; trimesh's division of
faces at their mid-edges; numpy's 32-bit floats and random numbers.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

import meshcomp
from meshcomp.features import Cylinder
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.topology import topology_of

__all__ = [
    "decimated",
    "divided",
    "inspected",
    "remeshed",
    "shaken",
    "shuffled",
    "single",
    "sizes",
    "subdivided",
    "turned",
]


def inspected(mesh: Mesh) -> Inspection:
    spacer = meshcomp.demo_part("shaft_spacer")
    one_piece = np.zeros(len(mesh.faces), dtype=np.int64)
    return meshcomp.inspect(replace(spacer, mesh=mesh, piece_of_face=one_piece))


def sizes(mesh: Mesh) -> list[tuple[str, float, float]]:
    """Kind, diameter and length of the cylinders found in a mesh, sorted."""
    found = [f for f in inspected(mesh).features if isinstance(f, Cylinder)]
    return sorted((f.kind, f.nominal_size, f.end - f.start) for f in found)


def turned(mesh: Mesh, rotation, shift=(0, 0, 0)) -> Mesh:
    return mesh.moved(mesh.vertices @ np.asarray(rotation).T + shift)


def shuffled(mesh: Mesh, rng) -> Mesh:
    """Give vertices, faces and the corners of faces another order."""
    place = rng.permutation(len(mesh.vertices))
    vertices = np.zeros_like(mesh.vertices)
    vertices[place] = mesh.vertices
    faces = place[mesh.faces[rng.permutation(len(mesh.faces))]]
    first = rng.integers(0, 3, len(faces))
    return Mesh(
        vertices, np.take_along_axis(faces, (first[:, None] + np.arange(3)) % 3, axis=1)
    )


def divided(mesh: Mesh, rng, rounds: int = 3) -> Mesh:
    """Split edges drawn at random, each anywhere along it, no two of one face at a time."""
    for _ in range(rounds):
        mesh = _split(mesh, rng)
    return mesh


def _split(mesh: Mesh, rng) -> Mesh:
    pairs = topology_of(mesh).pairs
    taken = np.zeros(len(mesh.faces), dtype=bool)
    chosen = []
    for one, other in pairs[rng.permutation(len(pairs))[: len(mesh.faces) // 3]].tolist():
        if not taken[[one // 3, other // 3]].any():
            taken[[one // 3, other // 3]] = True
            chosen.append((one, other))
    halves = np.array(chosen).ravel()
    starts = mesh.faces.ravel()[halves]
    ends = mesh.faces[halves // 3, (halves + 1) % 3]
    tips = mesh.faces[halves // 3, (halves + 2) % 3]
    share = rng.uniform(0.2, 0.8, len(chosen))[:, None]
    points = (1 - share) * mesh.vertices[starts[::2]] + share * mesh.vertices[ends[::2]]
    new = len(mesh.vertices) + np.repeat(np.arange(len(chosen)), 2)
    fresh = [np.column_stack([starts, new, tips]), np.column_stack([new, ends, tips])]
    return Mesh(
        np.concatenate([mesh.vertices, points]),
        np.concatenate([mesh.faces[~taken], *fresh]),
    )


def subdivided(mesh: Mesh, times: int) -> Mesh:
    from trimesh.remesh import subdivide

    vertices, faces = mesh.vertices, mesh.faces
    for _ in range(times):
        vertices, faces = subdivide(vertices, faces)
    return Mesh(vertices, faces)


def single(mesh: Mesh, shift) -> Mesh:
    """Store a mesh in 32 bits, far from the origin."""
    return mesh.moved((mesh.vertices + shift).astype(np.float32).astype(float))


def shaken(mesh: Mesh, rng, most: float = 0.003) -> Mesh:
    """Move each vertex by up to 3 µm, any way."""
    ways = rng.normal(size=mesh.vertices.shape)
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    return mesh.moved(mesh.vertices + ways * rng.uniform(0, most, (len(ways), 1)))


def remeshed(mesh: Mesh, edge: float = 1.0) -> Mesh:
    import pymeshlab

    tools = _loaded(mesh)
    tools.meshing_isotropic_explicit_remeshing(
        targetlen=pymeshlab.PureValue(edge), iterations=10
    )
    return _taken(tools)


def decimated(mesh: Mesh, share: float = 0.25) -> Mesh:
    tools = _loaded(mesh)
    tools.meshing_decimation_quadric_edge_collapse(
        targetfacenum=int(share * len(mesh.faces)), preservenormal=True, planarquadric=True
    )
    return _taken(tools)


def _loaded(mesh: Mesh):
    import pymeshlab

    tools = pymeshlab.MeshSet()
    tools.add_mesh(pymeshlab.Mesh(mesh.vertices, mesh.faces))
    return tools


def _taken(tools) -> Mesh:
    made = tools.current_mesh()
    return Mesh(made.vertex_matrix(), made.face_matrix())
