"""Kits side by side: in processes, on a cluster, killed half-way and begun again."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from kit_parts import MODELS, forty

from meshcomp.errors import OptionError
from meshcomp.kits.making import Workers, make_kit
from meshcomp.kits.reading import folder_kit
from meshcomp.kits.running import all_done, workers_for
from meshcomp.kits.store import tidy
from meshcomp.kits.tasks import Job

TWO = Workers(count=2)
MAIN = "from meshcomp.cli import main; main()"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return forty(tmp_path_factory.mktemp("forty"))


def kit_of(folder, out):
    return folder_kit(folder, folder / "calibration.json", out=out)


def written(out):
    return {path.name: path.read_bytes() for path in out.glob("*.stl")}


def test_forty_parts_are_the_same_by_one_worker_and_by_two(folder, tmp_path):
    for count in (1, 2):
        workers = Workers(count=count)
        outcome = make_kit(kit_of(folder, tmp_path / str(count)), workers=workers)
        assert len(outcome.parts) == 40
        assert outcome.conforms

    assert written(tmp_path / "1") == written(tmp_path / "2")


def test_one_corrupt_part_gives_39_results_and_one_clear_error(tmp_path):
    place = forty(tmp_path)
    bad = place / "spacer-17.stl"
    bad.write_bytes(bad.read_bytes()[:1000])

    outcome = make_kit(kit_of(place, tmp_path / "out"), workers=TWO)

    assert len(written(tmp_path / "out")) == 39
    assert sum(part.conforms for part in outcome.parts) == 39
    (failed,) = outcome.failed
    assert failed.name == "spacer-17"
    assert "spacer-17.stl" in failed.error


def start(folder, out):
    """Begin a kit in a process group of its own, which can be killed whole."""
    return subprocess.Popen(
        [sys.executable, "-c", MAIN, "kit", folder, "--workers", "2"]
        + ["-c", folder / "calibration.json", "-o", out],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )


def done(out):
    return set(out.glob(".meshcomp-kit/*.json"))


@pytest.mark.skipif(os.name != "posix", reason="process groups are killed by POSIX signals")
@pytest.mark.parametrize("enough", [1, 20])
def test_killed_and_started_again_it_does_only_the_rest(folder, tmp_path, enough):
    out = tmp_path / "out"
    process = start(folder, out)
    until = time.monotonic() + 120
    while len(done(out)) < enough and process.poll() is None and time.monotonic() < until:
        time.sleep(0.01)
    os.killpg(process.pid, signal.SIGKILL)
    process.wait()
    before = {path.stem for path in done(out)}
    times = {name: (out / f"{name}.stl").stat().st_mtime_ns for name in before}
    assert enough <= len(before) < 40

    outcome = make_kit(kit_of(folder, out), workers=TWO)

    assert {part.name for part in outcome.parts if part.was_there} == before
    assert {n: (out / f"{n}.stl").stat().st_mtime_ns for n in before} == times
    assert outcome.conforms
    assert len(written(out)) == 40
    assert [path.name for path in out.glob(".*") if path.is_file()] == []  # no halves


LEFT = """
import os, sys
import meshcomp
from meshcomp.files.atomic import save_atomically
from meshcomp.workflow import compensate_part
os.fsync = lambda handle: os._exit(9)  # killed with all its bytes written, and no name
if sys.argv[2] == "part":
    rule = meshcomp.ByHand(wall_growth=-0.05)
    compensate_part(meshcomp.demo_part("shaft_spacer"), sys.argv[1], rule)
save_atomically(sys.argv[1] + ".report.html", b"page")
"""


@pytest.mark.parametrize("what", ["part", "report"])
@pytest.mark.parametrize("name", ["spacer.stl", f"{'long' * 30}.stl"])
def test_what_a_killed_run_left_goes_whatever_it_was_writing(tmp_path, what, name):
    out = tmp_path / name
    ended = subprocess.run([sys.executable, "-c", LEFT, str(out), what], check=False)
    assert ended.returncode == 9
    assert len(list(tmp_path.iterdir())) == 1

    other = tmp_path / ".other.0123abcd.stl"
    other.write_bytes(b"")
    tidy(Job(part=None, out=out, calibration_sha256=""))
    assert list(tmp_path.iterdir()) == [other]


def square(number):
    return number * number


def square_unless_seven(number):
    if number == 7:
        os._exit(3)  # as if the system had killed it for want of memory
    return number * number


def lost(number, words):
    return f"{number}: {words}"


def test_a_worker_that_dies_loses_its_own_task_only():
    results = list(all_done(square_unless_seven, range(12), lost=lost, workers=2))

    (gone,) = [result for result in results if isinstance(result, str)]
    assert gone.startswith("7: its worker died")
    assert sorted(r for r in results if r != gone) == [n * n for n in range(12) if n != 7]


def test_no_task_needs_no_worker():
    assert list(all_done(square, [], lost=lost)) == []


def test_as_many_workers_as_asked_and_no_more_than_there_is_work():
    assert workers_for(3, 8) == 3
    assert workers_for(40, 2) == 2
    assert 1 <= workers_for(1000) <= os.cpu_count()
    with pytest.raises(OptionError, match="0 workers can do nothing"):
        workers_for(3, 0)


def test_a_cluster_that_is_not_there_is_told():
    pytest.importorskip("dask.distributed")
    tasks = all_done(square, [1], lost=lost, dask="tcp://127.0.0.1:9", workers=1)
    with pytest.raises(
        OptionError, match=r"no Dask scheduler answers at 'tcp://127\.0\.0\.1:9'"
    ):
        list(tasks)


def test_without_dask_it_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "dask.distributed", None)
    with pytest.raises(OptionError, match=r"pip install 'meshcomp\[dask\]'"):
        list(all_done(square, [1], lost=lost, dask="tcp://127.0.0.1:9"))


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::ResourceWarning")
def test_a_task_that_kills_workers_of_a_cluster_is_lost_alone():
    distributed = pytest.importorskip("dask.distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        address = cluster.scheduler_address
        results = list(all_done(square_unless_seven, range(9), lost=lost, dask=address))

    (gone,) = [result for result in results if isinstance(result, str)]
    assert gone.startswith("7: its worker died")
    assert sorted(r for r in results if r != gone) == [n * n for n in range(9) if n != 7]


@pytest.mark.filterwarnings("ignore::ResourceWarning")
def test_the_same_on_a_local_cluster(tmp_path):
    distributed = pytest.importorskip("dask.distributed")
    for name in ("shaft_spacer", "knob", "pinion"):
        (tmp_path / f"{name}.stl").write_bytes((MODELS / f"{name}.stl").read_bytes())
    (tmp_path / "bad.stl").write_bytes(b"no mesh")
    kit = folder_kit(tmp_path, MODELS / "calibration.json", out=tmp_path / "there")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        outcome = make_kit(kit, workers=Workers(dask=cluster.scheduler_address))
    here = make_kit(
        folder_kit(tmp_path, MODELS / "calibration.json", out=tmp_path / "here"),
        workers=Workers(count=1),
    )

    assert [part.name for part in outcome.failed] == ["bad"]
    assert sum(part.conforms for part in outcome.parts) == 3
    assert written(Path(tmp_path / "there")) == written(Path(tmp_path / "here"))
    assert [part.verdict for part in outcome.parts] == [p.verdict for p in here.parts]
