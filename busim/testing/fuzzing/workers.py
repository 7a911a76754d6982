"""Processes that run cases. Ctrl-C reaches the main process alone; it tells the others to stop."""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from multiprocessing.synchronize import Event

from busim.testing.fuzzing.case import Case
from busim.testing.fuzzing.pure import PureRun, Result
from busim.testing.fuzzing.served import ServedRun

_stopping: list[Event] = []


class Workers:
    """`jobs` processes that run cases; a context manager. `seen` hears of each result as soon as it is there."""

    def __init__(self, run: PureRun | ServedRun, jobs: int, seen: Callable[[Result], None]) -> None:
        context = multiprocessing.get_context("spawn")  # safe beside threads, and the same on every system
        self._run = run
        self._seen = seen
        self._stop = context.Event()
        self._round: list[tuple[Case, Future[Result]]] = []  # under way, or not looked at yet
        self._pool = ProcessPoolExecutor(jobs, mp_context=context, initializer=_begin, initargs=(self._stop,))

    def one(self, case: Case) -> Result:
        """Run one case."""
        return self._result(self._pool.submit(_work, self._run, case))

    def several(self, _: object, cases: Iterable[Case]) -> Iterator[Result]:
        """Run several side by side; the results in the order of the cases."""
        self._round = [(case, self._pool.submit(_work, self._run, case)) for case in cases]
        while self._round:
            yield self._result(self._round[0][1])
            del self._round[0]

    def unread(self) -> Iterator[tuple[Case, Result]]:
        """Cases of a round that was broken off, with their results: those that had ended by then."""
        for case, future in self._round:
            if future.done() and not future.cancelled() and future.exception() is None:
                yield case, future.result()

    def _result(self, future: Future[Result]) -> Result:
        result = future.result()
        self._seen(result)
        return result

    def __enter__(self) -> Workers:
        return self

    def __exit__(self, *_: object) -> None:
        """Stop the running cases, and wait until all are gone."""
        self._stop.set()
        self._pool.shutdown(cancel_futures=True)


def _begin(stop: Event) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _stopping.append(stop)


def _work(run: PureRun | ServedRun, case: Case) -> Result:
    return run(case, _stopping[0].is_set) if isinstance(run, ServedRun) else run(case)
