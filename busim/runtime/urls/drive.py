"""Advancing a kernel without an event loop, for one thread that waits now and then."""

from __future__ import annotations

from collections.abc import Callable, Sized
from typing import Any, TypeVar

from busim.foundation.errors import BusimError, Defect
from busim.simulator.kernel import Kernel

_T = TypeVar("_T")


class Drive:
    """All methods raise Defect if an event of the kernel fails; `failure` then holds it, and nothing goes on."""

    def __init__(self, kernel: Kernel) -> None:
        self._kernel = kernel
        self.failure: BusimError | None = None

    @property
    def now(self) -> int:
        """The simulated instant, ns."""
        return self._kernel.now

    def next_deadline(self) -> int | None:
        return self._kernel.next_deadline()

    def go(self, to: int) -> None:
        """Advance to the instant `to`."""
        self._guarded(self._kernel.advance, to)

    def go_until(self, to: int, found: Sized) -> None:
        """Advance to `to`, or to the first instant after which something is in `found`."""
        self._guarded(self._kernel.advance_until, to, found)

    def enter(self, what: Callable[..., _T], *arguments: Any) -> _T:
        """An action of the program: apply it after the events of this instant, as replay does."""
        self._guarded(self._kernel.advance, self._kernel.now)
        return self._guarded(what, *arguments)

    def _guarded(self, what: Callable[..., _T], *arguments: Any) -> _T:
        if self.failure is not None:
            raise self.failure
        try:
            return what(*arguments)
        except BusimError as error:
            self.failure = error
            raise
        except Exception as error:
            self.failure = Defect(f"{type(error).__name__}: {error}")
            raise self.failure from error
