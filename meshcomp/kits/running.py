"""Jobs run side by side: in this process, in others, or on a Dask cluster."""

from __future__ import annotations

import contextlib
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from typing import Any, TypeVar

from meshcomp.errors import OptionError

__all__ = ["all_done", "start_early", "workers_for"]

_Task = TypeVar("_Task")
_Result = TypeVar("_Result")


def workers_for(tasks: int, wanted: int | None = None) -> int:
    """Return how many workers to start: as asked, or one for each core.

    Raises
    ------
    OptionError
        If fewer than one is asked for.
    """
    if wanted is not None and wanted < 1:
        raise OptionError(f"{wanted} workers can do nothing: ask for 1 or more")
    from joblib import cpu_count

    return max(1, min(tasks, cpu_count() if wanted is None else wanted))


def start_early(get_ready: Callable[[], None], workers: int) -> threading.Thread:
    """Start workers now, to load in the background while this process goes on reading.

    They are the ones that `all_done` takes for as many workers; it waits for none of them.

    Parameters
    ----------
    get_ready : callable
        Called once in each.
    workers : int
    """

    def start() -> None:
        from joblib import Parallel, delayed

        # What goes wrong here goes wrong again where it can be told.
        with contextlib.suppress(Exception):
            Parallel(n_jobs=workers, batch_size=1)(
                delayed(get_ready)() for _ in range(workers)
            )

    thread = threading.Thread(target=start, name="start of workers", daemon=True)
    thread.start()
    return thread


def all_done(
    do: Callable[[_Task], _Result],
    tasks: Sequence[_Task],
    *,
    lost: Callable[[_Task, str], _Result],
    workers: int | None = None,
    dask: str | None = None,
) -> Iterator[_Result]:
    """Do all tasks and return each result when it is there, in whatever order.

    Parameters
    ----------
    do : callable
        Takes one task; may be called in another process.
    tasks : sequence
    lost : callable
        Makes the result of a task whose worker died, from the task and the words.
    workers : int, optional
        Processes; one for each core unless said otherwise. One: this process.
    dask : str, optional
        Address of a Dask scheduler whose workers see the same files.

    Raises
    ------
    OptionError
        If the cluster cannot be reached, or Dask is not installed.
    """
    if not tasks:
        return
    left = dict(enumerate(tasks))
    try:
        for number, result in _side_by_side(do, tasks, workers, dask):
            del left[number]
            yield result
    except _worker_deaths() as error:
        # One task killed its worker, and that broke the pool or, after some tries, the run
        # on a cluster: each of the others gets a process of its own here, so that only the
        # culprit is lost.
        for task in left.values():
            yield _alone(do, task, lost, error)


def _side_by_side(
    do: Callable[[_Task], _Result],
    tasks: Sequence[_Task],
    workers: int | None,
    dask: str | None,
) -> Iterator[tuple[int, _Result]]:
    from joblib import Parallel, delayed

    count = workers_for(len(tasks), workers)
    with _backend(dask):
        parallel = Parallel(
            n_jobs=-1 if dask else count,
            return_as="generator_unordered",
            batch_size=1,
            pre_dispatch="all" if dask else "2*n_jobs",
        )
        calls = (delayed(_numbered)(do, number, task) for number, task in enumerate(tasks))
        yield from parallel(calls)


def _numbered(
    do: Callable[[_Task], _Result], number: int, task: _Task
) -> tuple[int, _Result]:
    return number, do(task)


@contextlib.contextmanager
def _backend(dask: str | None) -> Iterator[None]:
    """Let joblib work on a cluster while this lasts, if there is one."""
    if dask is None:
        yield
        return
    from joblib import parallel_config

    try:
        from dask.distributed import Client
    except ImportError as error:
        raise OptionError(
            "--dask needs Dask: python -m pip install 'meshcomp[dask]'"
        ) from error
    try:
        client = Client(dask, timeout="10s")
    except (OSError, ValueError) as error:
        raise OptionError(f"no Dask scheduler answers at {dask!r} ({error})") from error
    with client, parallel_config(backend=_watched_dask()):
        yield


def _watched_dask() -> str:
    """Return the name of joblib's Dask backend, made to tell of a task that is lost.

    The backend itself keeps silent about a task whose workers died, so that joblib would
    wait for it without end.
    """
    from joblib import register_parallel_backend
    from joblib._dask import DaskDistributedBackend

    class Watched(DaskDistributedBackend):  # type: ignore[misc]
        def submit(self, func: Any, callback: Any = None) -> Any:
            future = super().submit(func, callback)

            def tell(done: Any) -> None:
                if done.exception() is not None:
                    callback(done.exception())

            future.add_done_callback(tell)
            return future

        def retrieve_result_callback(self, out: Any) -> Any:
            if isinstance(out, BaseException):
                raise out
            return super().retrieve_result_callback(out)

    register_parallel_backend("watched dask", Watched)
    return "watched dask"


def _worker_deaths() -> tuple[type[BaseException], ...]:
    """Return the errors by which joblib's backends say that a worker died."""
    from concurrent.futures.process import BrokenProcessPool

    from joblib.externals.loky.process_executor import TerminatedWorkerError

    known: tuple[type[BaseException], ...] = (BrokenProcessPool, TerminatedWorkerError)
    if "distributed" in sys.modules:
        from distributed import KilledWorker

        known = (*known, KilledWorker)
    return known


def _alone(
    do: Callable[[_Task], _Result],
    task: _Task,
    lost: Callable[[_Task, str], _Result],
    broken: BaseException,
) -> _Result:
    """Do one task in a process of its own."""
    from concurrent.futures import ProcessPoolExecutor
    from concurrent.futures.process import BrokenProcessPool
    from multiprocessing import get_context

    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        try:
            return pool.submit(do, task).result()
        except BrokenProcessPool:
            words = "its worker died, for want of memory perhaps: try it by itself"
            return lost(task, f"{words} ({type(broken).__name__})")
