"""The workers of a simulated sweep: processes of this machine, or an existing dask cluster.

Both are an executor with `submit`. A task is texts and numbers alone, so the results do not depend on the kind or
number of workers. Each result goes into a journal beside the output at once; after Ctrl-C the same command continues
from there.
"""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, TypeVar

from busim.experiments.sweep import Axis, Sweep, Task, gather, points, simulate
from busim.foundation.errors import UserError, not_installed
from busim.foundation.output import whole_file
from busim.foundation.version import VERSION
from busim.plan import Plan, source_text

_AHEAD = 4  # tasks handed out per worker: enough that none is idle, few enough to drop at Ctrl-C

T = TypeVar("T")
Found = dict[str, dict[str, float | None]]


@contextmanager
def processes(workers: int) -> Iterator[Executor]:
    """This many processes of this machine. Raises UserError for an impossible number."""
    if not 1 <= workers <= 1024:
        raise UserError("no number of workers", found=str(workers), expected="1 to 1024", mend="say for example 2")
    context = multiprocessing.get_context("spawn")  # the same on every system, and safe beside threads
    pool = ProcessPoolExecutor(workers, mp_context=context, initializer=_leave_interrupts)
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


def _leave_interrupts() -> None:
    """Ctrl-C reaches every process of the terminal; only the main process reacts."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@contextmanager
def cluster(scheduler: str) -> Iterator[Executor]:
    """An existing dask cluster by the address of its scheduler. Raises UserError without dask or the cluster."""
    try:
        from distributed import Client
    except ImportError:
        raise not_installed("dask", "dask", "--engine dask", ", here and on the cluster") from None
    try:
        client: Any = Client(scheduler, timeout="10s", set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TimeoutError) as error:
        raise UserError(
            "no scheduler answers", found=repr(scheduler), expected="the address of a running dask scheduler",
            mend=f"start one, or check the address ({str(error)[:100]})",
        ) from None  # fmt: skip
    try:
        yield client.get_executor(pure=False)
    finally:
        with suppress(Exception):  # it may be gone by now
            client.close()


class WorkerGone(UserError):
    """A process of this machine died, or the cluster is gone; what it had to do is lost."""


def result_of(future: Future[T]) -> T:
    """What a worker found, once it is there. Raises WorkerGone, and what the work itself raises."""
    try:
        return future.result()
    except (CancelledError, BrokenExecutor) as error:
        raise _gone(error) from None
    except Exception as error:
        if type(error).__name__ == "KilledWorker":  # of dask, where the workers of a task died again and again
            raise _gone(error) from None
        raise


def _gone(error: Exception) -> WorkerGone:
    return WorkerGone(
        "a worker is gone, and its work with it", found=f"{type(error).__name__} {error}".strip()[:160],
        mend="look whether this machine ran out of memory, and whether the cluster still runs; then run it again",
    )  # fmt: skip


def simulated_sweep(
    plan: Plan,
    axes: Sequence[Axis],
    executor: Executor,
    *,
    workers: int,
    seeds: int,
    length: int,
    line: str | None = None,
    need: float | None = None,
    journal: Path | None = None,
    advanced: Callable[[int, int], None] = lambda *_: None,
) -> Sweep:
    """Simulate every point with seeds 1 to `seeds` for `length` ns each.

    `journal`: the file of results so far; the caller removes it after writing the output. `advanced` gets the number of
    finished tasks, and of all. Raises UserError for unknown names, and for a journal of another sweep.
    """
    places = points(axes)
    names = tuple(axis.name for axis in axes)
    files = tuple(sorted(plan.files.items()))
    text = source_text(plan)
    tasks = {
        (number, seed): Task(text, files, names, place, line, seed, length)
        for number, place in enumerate(places)
        for seed in range(1, seeds + 1)
    }
    kept = _Journal(journal, tasks)
    found = dict(kept.found)
    try:
        for key, result in _worked(executor, {key: task for key, task in tasks.items() if key not in found}, workers):
            found[key] = result
            kept.keep(key, result)
            advanced(len(found), len(tasks))
    finally:
        kept.close()
    return gather(plan, axes, found, range(1, seeds + 1), need)


def _worked(
    executor: Executor, tasks: dict[tuple[int, int], Task], workers: int
) -> Iterator[tuple[tuple[int, int], Found]]:
    """Results as they come."""
    waiting = iter(tasks.items())
    under_way: dict[Future[Found], tuple[int, int]] = {}
    try:
        while True:
            while len(under_way) < _AHEAD * workers and (following := next(waiting, None)) is not None:
                under_way[executor.submit(simulate, following[1])] = following[0]
            if not under_way:
                return
            for future in wait(under_way, return_when=FIRST_COMPLETED).done:
                yield under_way.pop(future), result_of(future)
    finally:
        for future in under_way:
            future.cancel()


class _Journal:
    """Lines of JSON: first the sweep, then one for each result."""

    def __init__(self, path: Path | None, tasks: dict[tuple[int, int], Task]) -> None:
        self.found: dict[tuple[int, int], Found] = {}
        self._file = None
        if path is None:
            return
        about = hashlib.sha256(repr((VERSION, sorted(tasks.items()))).encode()).hexdigest()
        head = json.dumps({"sweep": about})
        lines = path.read_text(encoding="utf-8", errors="replace").split("\n") if path.exists() else []
        whole = lines[:-1]  # the last line of a killed run may be incomplete
        if (whole and whole[0] != head) or (lines and not whole and not head.startswith(lines[0])):
            raise UserError(
                "the journal belongs to another sweep", found=str(path), expected="no journal, or one of this sweep",
                mend="remove it, or give another output",
            )  # fmt: skip
        for text in whole[1:]:
            number, seed, result = json.loads(text)
            self.found[number, seed] = result
        with whole_file(path, "journal", overwrite=True) as file:
            entries = [{"sweep": about}, *([number, seed, result] for (number, seed), result in self.found.items())]
            file.write("".join(json.dumps(entry) + "\n" for entry in entries).encode())
        self._file = path.open("a", encoding="utf-8")

    def keep(self, key: tuple[int, int], result: Found) -> None:
        if self._file is not None:
            self._write([*key, result])

    def _write(self, entry: object) -> None:
        assert self._file is not None
        self._file.write(json.dumps(entry) + "\n")
        self._file.flush()

    def close(self) -> None:
        if self._file is not None:
            self._file.close()
