"""How long reading and writing take, beside trimesh.

Run with: python -m pytest -o python_functions="bench_*" tests/benchmarks/bench_files.py
"""

from __future__ import annotations

import numpy as np
import pytest

from meshcomp.files import read_part, write_part
from meshcomp.files.ply import binary_ply
from meshcomp.files.stl import binary_stl
from meshcomp.files.welding import weld

STEPS = {"5 thousand": 50, "1.2 million": 775}  # of each circle: 2 n² triangles


def ring(steps):
    """Triangles of a torus, (2 n², 3, 3), closed to the last bit."""
    angles = np.linspace(0, 2 * np.pi, steps, endpoint=False)
    u, v = np.meshgrid(angles, angles, indexing="ij")
    across = 30 + 10 * np.cos(v)
    points = np.stack([across * np.cos(u), across * np.sin(u), 10 * np.sin(v)], axis=-1)
    points = points.reshape(-1, 3).astype(np.float32).astype(float)
    i, j = (k.reshape(-1) for k in np.meshgrid(range(steps), range(steps), indexing="ij"))
    a, b = i * steps + j, (i + 1) % steps * steps + j
    c, d = (i + 1) % steps * steps + (j + 1) % steps, i * steps + (j + 1) % steps
    faces = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    return points, faces


@pytest.fixture(scope="module", params=STEPS)
def folder(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench")
    points, faces = ring(STEPS[request.param])
    (folder / "ring.stl").write_bytes(binary_stl(points[faces]))
    (folder / "ring.ply").write_bytes(binary_ply(points, faces))
    part = read_part(folder / "ring.stl")
    write_part(part, folder / "ring.3mf")
    write_part(part, folder / "ring.obj")
    write_part(part, folder / "ring_text.stl", ascii=True)
    return folder


FILES = ["ring.stl", "ring_text.stl", "ring.3mf", "ring.obj", "ring.ply"]


@pytest.mark.parametrize("name", FILES)
def bench_reading(name, folder, benchmark):
    part = benchmark.pedantic(read_part, [folder / name], rounds=3, warmup_rounds=1)
    assert part.source.questions == ()


@pytest.mark.parametrize("name", ["ring.stl", "ring_text.stl", "ring.obj", "ring.ply"])
def bench_reading_with_trimesh(name, folder, benchmark):
    import trimesh

    mesh = benchmark.pedantic(trimesh.load, [folder / name], rounds=3, warmup_rounds=1)
    assert mesh.is_watertight


@pytest.mark.parametrize("name", FILES)
def bench_writing(name, folder, benchmark, tmp_path):
    part = read_part(folder / "ring.stl")
    options = {"ascii": True} if "text" in name else {}
    benchmark.pedantic(write_part, [part, tmp_path / name], options, rounds=3)
    assert (tmp_path / name).stat().st_size == (folder / name).stat().st_size


def bench_welding(folder, benchmark):
    corners = read_part(folder / "ring.stl").mesh.corners
    faces = np.arange(3 * len(corners)).reshape(-1, 3)
    welded = benchmark.pedantic(
        weld, [corners.reshape(-1, 3), faces], rounds=5, warmup_rounds=1
    )
    assert welded.is_closed
