"""A kit of forty parts by one worker and by two, from a cold start.

python -m pytest tests/benchmarks/bench_kit.py

Every run is a new process with workers of its own, so that their start counts. No time is
asserted: the aim (one worker takes at least 1.7 times as long as two) is read off the
table, on a machine of two cores that does nothing else. As a program, it prints the ratio
and the processor time, which tells what the second worker costs even on a busy machine:

    python tests/benchmarks/bench_kit.py [ROUNDS]
"""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pytest

import meshcomp
from meshcomp.meshes import Mesh

MODELS = Path(__file__).parents[2] / "models"
COMMAND = "from meshcomp.cli import main; main()"
COPIES = 5  # of each of the eight demo parts, each some thousandths larger


def write_forty(folder):
    """Write forty parts, no two alike, and a calibration."""
    for path in sorted(MODELS.glob("*.stl")):
        part = meshcomp.read(path, up="+Z")
        for number in range(COPIES):
            mesh = Mesh(part.mesh.vertices * (1 + 0.003 * number), part.mesh.faces)
            larger = part.with_mesh(mesh, np.arange(len(mesh.faces)))
            meshcomp.write(larger, folder / f"{path.stem}-{number}.stl")
    shutil.copy(MODELS / "calibration.json", folder)
    return folder


def run_kit(folder, workers):
    """Make the kit from nothing in a new process."""
    out = folder / "made"
    shutil.rmtree(out, ignore_errors=True)
    arguments = ["kit", folder, "-c", folder / "calibration.json", "-o", out]
    done = subprocess.run(
        [sys.executable, "-c", COMMAND, *map(str, arguments), "--workers", str(workers)],
        check=False,
        capture_output=True,
        encoding="utf-8",
    )
    assert done.returncode in {0, 3}, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_forty(tmp_path_factory.mktemp("forty"))


@pytest.mark.parametrize("workers", [1, 2])
def bench_forty_parts(workers, folder, benchmark):
    shown = benchmark.pedantic(run_kit, [folder, workers], rounds=3)
    assert "of 40 parts proved" in shown


def bench_forty_parts_that_are_there(folder, benchmark):
    run_kit(folder, 2)
    arguments = ["kit", folder, "-c", folder / "calibration.json", "-o", folder / "made"]
    command = [sys.executable, "-c", COMMAND, *map(str, arguments)]
    done = benchmark.pedantic(
        subprocess.run, [command], {"capture_output": True, "text": True}, rounds=3
    )
    assert done.stdout.count(" before ") == 40


def _measured(folder, workers):
    """Return elapsed and processor time of one run, s."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    run_kit(folder, workers)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return time.perf_counter() - start, used


def main(rounds):
    """Print the ratio of one worker's time to that of two, turn and turn about."""
    lines, ratios = [], []
    with tempfile.TemporaryDirectory() as place:
        folder = write_forty(Path(place))
        for _ in range(rounds):
            load = os.getloadavg()[0]
            (one, used_one), (two, used_two) = (_measured(folder, n) for n in (1, 2))
            ratios.append(one / two)
            lines.append(
                f"load {load:5.2f}  one {one:6.1f} s ({used_one:5.1f} s of processor)  "
                f"two {two:6.1f} s ({used_two:5.1f} s)  ratio {one / two:.2f}"
            )
    return "\n".join([*lines, f"median ratio {sorted(ratios)[len(ratios) // 2]:.2f}"])


if __name__ == "__main__":
    print(main(int(sys.argv[1]) if sys.argv[1:] else 3))  # noqa: T201
