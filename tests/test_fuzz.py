"""Whatever a file holds: a clear error or a whole, sound file, and no hang.

The usual run takes some hundred inputs; `pytest -m fuzz`, or `nox -s fuzz`, more than ten
thousand. An input has the number of its seed: `fuzzed(7)` gives the seventh again.
"""

from __future__ import annotations

import time
import warnings
from collections import Counter

import pytest
from fuzzed import fuzzed
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from meshcomp.corrections import ByHand
from meshcomp.errors import MeshCompError
from meshcomp.files import read_part, write_part
from meshcomp.repairing import read_sound_part
from meshcomp.topology import topology_of
from meshcomp.workflow import compensate_part

LONGEST = 10.0  # s
MOST_FACES = 1_500  # of parts that go through the whole job
CHUNK = 250
USUAL = 60
FULL = 41 * CHUNK  # 10,250 inputs


def outcome(seed, folder):
    """Take an input through the job, and return how it ended."""
    name, data = fuzzed(seed)
    path, out = folder / name, folder / f"out-{name}"
    path.write_bytes(data)
    # Time of the processor: others may be using the machine.
    began, said = time.process_time(), ""
    try:
        found = _done(seed, path, out)
    except MeshCompError as error:
        found, said = type(error).__name__, str(error)
    if found.endswith("Error"):
        assert len(said) > 20, seed
        assert not out.exists(), seed
    assert time.process_time() - began < LONGEST, seed
    left = {p.name for p in folder.iterdir()}
    assert left <= {name, out.name}, seed
    for file in (path, out):
        file.unlink(missing_ok=True)
    return found


def _done(seed, path, out):
    part = read_sound_part(path)
    assert topology_of(part.mesh).is_closed, seed
    assert part.mesh.volume > 0, seed
    if len(part.mesh.faces) <= MOST_FACES and seed % 5 == 0:
        compensate_part(part, out, ByHand(wall_growth=0.05, bore_opening=0.1))
        found = "compensated"
    else:
        write_part(part, out)
        found = "repaired" if part.repairs else "clean"
    unit = None if path.suffix == ".3mf" else "mm"
    assert len(read_part(out, unit=unit).mesh.faces) > 0, seed
    return found


def outcomes(seeds, folder):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return Counter(outcome(seed, folder) for seed in seeds)


def test_changed_files_end_well(tmp_path):
    found = outcomes(range(USUAL), tmp_path)
    # Not all of one kind: the changes are neither too wild nor too tame.
    assert found["NotASolidError"]
    assert found["PartFileError"]
    assert found["repaired"] + found["compensated"] > USUAL / 10


def test_files_that_once_ended_badly_end_well(tmp_path):
    # A patch of whose corners none lay on its circle; features nowhere to be measured.
    outcomes([625, 6595], tmp_path)


@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(seed=st.integers(10**6, 10**9))
def test_other_changed_files_end_well(seed, tmp_path):
    outcomes([seed], tmp_path)


@pytest.mark.fuzz
@pytest.mark.parametrize("chunk", range(FULL // CHUNK))
def test_ten_thousand_changed_files_end_well(chunk, tmp_path, record_property):
    found = outcomes(range(chunk * CHUNK, (chunk + 1) * CHUNK), tmp_path)
    record_property("outcomes", dict(found))
    assert found.total() == CHUNK
