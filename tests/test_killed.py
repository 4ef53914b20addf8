"""A job killed at any moment leaves the old file or the new one, whole."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

PLATE = Path(__file__).parents[1] / "models" / "bearing_plate.stl"
KILLS = 10


def started(part, *options):
    """Start the command on a part."""
    command = "from meshcomp.cli import main; main()"
    words = ["compensate", part, "--bore-opening", "0.2", "--up", "+Z", *options]
    return subprocess.Popen(
        [sys.executable, "-c", command, *map(str, words)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
@pytest.mark.parametrize("in_place", [False, True])
def test_a_kill_leaves_the_old_file_or_the_new_one(in_place, tmp_path):
    part = tmp_path / "plate.stl"
    target = part if in_place else tmp_path / "out.stl"
    options = ["--in-place"] if in_place else ["-o", target]
    old = PLATE.read_bytes() if in_place else b"what stood there before"
    part.write_bytes(PLATE.read_bytes())
    began = time.monotonic()
    assert started(part, *options).wait() == 0
    lasted = time.monotonic() - began
    new = target.read_bytes()
    assert new != old

    rng = random.Random(3)  # noqa: S311 - moments to kill at, no secret
    found = set()
    for k in range(KILLS):
        part.write_bytes(PLATE.read_bytes())
        target.write_bytes(old)
        job = started(part, *options)
        # Most of them late, when files are written.
        time.sleep(lasted * (rng.random() if k % 2 else rng.uniform(0.7, 1.1)))
        job.send_signal(signal.SIGKILL)
        job.wait()
        found.add(target.read_bytes())
        assert found <= {old, new}
        if not in_place:
            assert part.read_bytes() == PLATE.read_bytes()
        reports = [p for p in tmp_path.glob("*.report.json") if p.read_bytes()[-1:] != b"}"]
        assert not reports
    assert old in found
