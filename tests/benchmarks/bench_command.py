"""Cold start of the command line, beside importing what others start with.

python -m pytest tests/benchmarks/bench_command.py

Every run is a new process. No time is asserted: the aims (the whole command at most twice
the import, the help at most a third of it) are read off the table.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from meshcomp.files import read_part

WHEEL = Path(__file__).parents[2] / "models" / "indexing_wheel.stl"  # 5,672 triangles
IMPORT = "import trimesh, manifold3d, scipy.optimize"
COMMAND = "from meshcomp.cli import main; main()"
ROUNDS = 5


def run(*arguments):
    done = subprocess.run(
        [sys.executable, "-c", *map(str, arguments)],
        check=True,
        capture_output=True,
        encoding="utf-8",
    )
    return done.stdout


def bench_importing_geometry(benchmark):
    benchmark.pedantic(run, [IMPORT], rounds=ROUNDS, warmup_rounds=1)


def bench_starting_python(benchmark):
    benchmark.pedantic(run, ["pass"], rounds=ROUNDS, warmup_rounds=1)


@pytest.mark.parametrize("command", ["", "inspect", "compensate"])
def bench_help(command, benchmark):
    arguments = [COMMAND, *([command] if command else []), "--help"]
    shown = benchmark.pedantic(run, arguments, rounds=ROUNDS, warmup_rounds=1)
    assert "Usage" in shown


def bench_inspect(benchmark):
    arguments = [COMMAND, "inspect", WHEEL, "--up", "+Z"]
    shown = benchmark.pedantic(run, arguments, rounds=ROUNDS, warmup_rounds=1)
    assert "bore-01" in shown


def bench_compensate(benchmark, tmp_path):
    out = tmp_path / "wheel.stl"
    options = ["--wall-growth", "-0.05", "--bore-opening", "0.2", "--up", "+Z"]
    arguments = [COMMAND, "compensate", WHEEL, "-o", out, *options]
    benchmark.pedantic(run, arguments, rounds=ROUNDS, warmup_rounds=1)
    assert len(read_part(out).mesh.faces) > 5000
