"""How long each step of the job takes, on parts of several sizes.

python -m pytest tests/benchmarks/bench_job.py
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import meshcomp
from meshcomp.crossings import crossing_pairs
from meshcomp.meshes import Mesh
from meshcomp.repairing import read_sound_part
from meshcomp.reports import record_html
from meshcomp.segmentation import planar_regions
from meshcomp.topology import topology_of
from meshcomp.views import plan_views
from meshcomp.workflow import plan_part

RULE = meshcomp.ByHand(wall_growth=-0.05, bore_opening=0.2)
PARTS = ["shaft_spacer", "bearing_plate", "indexing_wheel"]


def split(mesh: Mesh, times: int) -> Mesh:
    """Cut every triangle in four, some times over."""
    for _ in range(times):
        shape = mesh.to_trimesh().subdivide()
        mesh = Mesh(np.array(shape.vertices), np.array(shape.faces))
    return mesh


@pytest.fixture(scope="module", params=[*PARTS, "indexing_wheel 2", "bearing_plate 5"])
def part(request):
    name, _, times = request.param.partition(" ")
    plain = meshcomp.demo_part(name)
    if not times:
        return plain
    mesh = split(plain.mesh, int(times))  # 90,752 and 1,138,688 triangles
    return replace(plain, mesh=mesh, piece_of_face=np.zeros(len(mesh.faces), np.int64))


@pytest.fixture(scope="module")
def found(part):
    return meshcomp.inspect(part)


@pytest.fixture(scope="module")
def made(found):
    return meshcomp.compensate(found, meshcomp.plan(found, RULE))


def anew(mesh: Mesh) -> Mesh:
    """Return the mesh without what is kept of it."""
    return Mesh(mesh.vertices, mesh.faces)


def bench_topology(part, benchmark):
    assert benchmark(lambda: topology_of(anew(part.mesh))).is_closed


def bench_regions(part, benchmark):
    topology = topology_of(part.mesh)
    assert len(benchmark(lambda: planar_regions(anew(part.mesh), topology)).areas) > 4


def bench_loading_with_trimesh(part, benchmark, tmp_path):
    """Time what detection and the whole job are held against: at most twice that."""
    import trimesh

    meshcomp.write(part, tmp_path / "part.stl")
    loaded = benchmark.pedantic(
        trimesh.load, [tmp_path / "part.stl"], rounds=5, warmup_rounds=1
    )
    assert len(loaded.faces) == len(part.mesh.faces)


def bench_whole_job(part, benchmark, tmp_path):
    """Read, repair, inspect, plan, compensate, write and prove."""
    meshcomp.write(part, tmp_path / "part.stl")

    def job():
        read = read_sound_part(tmp_path / "part.stl")
        return meshcomp.compensate_part(read, tmp_path / "out.stl", RULE)

    assert benchmark.pedantic(job, rounds=3, warmup_rounds=1).conforms


def bench_crossings(part, benchmark):
    assert len(benchmark(crossing_pairs, part.mesh)) == 0


def bench_inspecting(part, benchmark):
    found = benchmark.pedantic(
        lambda: meshcomp.inspect(replace(part, mesh=anew(part.mesh))),
        rounds=3,
        warmup_rounds=1,
    )
    assert found.cylinders


def bench_planning(found, benchmark):
    assert benchmark(meshcomp.plan, found, RULE).corrections


def bench_compensating(found, benchmark):
    plan = meshcomp.plan(found, RULE)
    made = benchmark.pedantic(meshcomp.compensate, [found, plan], rounds=3, warmup_rounds=1)
    assert made.limits == ()


def bench_verifying(found, made, benchmark):
    proof = benchmark.pedantic(meshcomp.verify, [found, made, made.part], rounds=3)
    assert proof.conforms


def bench_plan_views(found, made, benchmark):
    views = benchmark.pedantic(plan_views, [found, made.plan, made.part.mesh], rounds=3)
    assert views


def bench_html(part, benchmark):
    record = plan_part(part, RULE)
    assert benchmark.pedantic(record_html, [record], rounds=3).startswith("<!")
