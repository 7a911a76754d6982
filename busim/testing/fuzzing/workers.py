"""Runs cases in this process, in processes of this machine or on an existing dask cluster.

Ctrl-C reaches the main process alone; it tells the others to stop.
"""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from multiprocessing.synchronize import Event
from typing import Any

from busim.runtime.sweep_workers import result_of
from busim.testing.fuzzing.case import Case
from busim.testing.fuzzing.pure import PureRun, Result
from busim.testing.fuzzing.served import ServedRun
from busim.testing.fuzzing.virtual import VirtualRun

AnyRun = PureRun | VirtualRun | ServedRun
_stopping: list[Event] = []


class Workers:
    """`jobs` processes that run cases; a context manager. `seen` hears of each result as soon as it is there.

    One job in virtual time is done by this process itself. `executor`: whoever works in their place, as a cluster;
    not for a program in wall time.
    """

    def __init__(
        self, run: AnyRun, jobs: int, seen: Callable[[Result], None], executor: Executor | None = None
    ) -> None:  # fmt: skip
        self._run = run
        self._seen = seen
        self._stop: Event | None = None
        self._round: list[tuple[Case, Future[Result]]] = []  # under way, or not looked at yet
        self._own: Executor | None = None
        self._work: Callable[[Any, Case], Result] = _work_there
        if executor is None and jobs == 1 and not isinstance(run, ServedRun):
            executor = _Here()
        if executor is None:
            context = multiprocessing.get_context("spawn")  # safe beside threads, and the same on every system
            self._stop, self._work = context.Event(), _work
            executor = self._own = ProcessPoolExecutor(
                jobs, mp_context=context, initializer=_begin, initargs=(self._stop,)
            )
        self._pool = executor

    def one(self, case: Case) -> Result:
        """Run one case. Raises WorkerGone, as `several` does."""
        return self._result(self._pool.submit(self._work, self._run, case))

    def several(self, _: object, cases: Iterable[Case]) -> Iterator[Result]:
        """Run several side by side; the results in the order of the cases."""
        self._round = []
        for case in cases:
            self._round.append((case, self._pool.submit(self._work, self._run, case)))
        while self._round:
            yield self._result(self._round[0][1])
            del self._round[0]

    def unread(self) -> Iterator[tuple[Case, Result]]:
        """Cases of a round that was broken off, with their results: those that had ended by then."""
        for case, future in self._round:
            if future.done() and not future.cancelled() and future.exception() is None:
                yield case, future.result()

    def _result(self, future: Future[Result]) -> Result:
        result = result_of(future)
        self._seen(result)
        return result

    def __enter__(self) -> Workers:
        return self

    def __exit__(self, *_: object) -> None:
        """Stop the running cases, and wait until all are gone."""
        if self._stop is not None:
            self._stop.set()
        if self._own is not None:
            self._own.shutdown(cancel_futures=True)
        for _case, future in self._round:
            future.cancel()


class _Here(Executor):
    """Works at once, in this process."""

    def submit(self, what: Callable[..., Any], /, *arguments: Any, **named: Any) -> Future[Any]:
        future: Future[Any] = Future()
        future.set_result(what(*arguments, **named))
        return future


def _begin(stop: Event) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _stopping.append(stop)


def _work(run: AnyRun, case: Case) -> Result:
    return run(case, _stopping[0].is_set) if isinstance(run, ServedRun) else run(case)


def _work_there(run: PureRun | VirtualRun, case: Case) -> Result:
    return run(case)
