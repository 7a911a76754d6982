"""Actions that a program must not take in virtual time, watched for in its own threads.

A blocking socket would reach the real network at the addresses of the plan: a simulated test could move real cameras.
So busim refuses it by name, whichever library opens it: Python calls audit hooks (PEP 578) before it connects, sends to
an address or looks a name up. The module `time` is not refused, since much of its use is harmless. But a program that
waits by it waits in wall time while simulated hours pass. So the first such call of each module gives a warning with
its place, or gets simulated time if the session says so (`stand_in`).

Both hold in the world's thread and in threads started from it, while the world runs. Earlier threads, such as a test
runner's or a worker's, are left alone.
"""

from __future__ import annotations

import sys
import threading
import time
import warnings
import weakref
from collections.abc import Callable, Collection
from types import FrameType, ModuleType
from typing import Any

from busim.foundation.errors import UserError
from busim.runtime.clocks.refused import refuse

STILL = 50_000  # turns, or looks at the clock, at one instant after which time counts as stuck
_NAMES = ("time", "time_ns", "monotonic", "monotonic_ns", "perf_counter", "perf_counter_ns", "sleep")
_REAL: dict[str, Callable[..., Any]] = {name: getattr(time, name) for name in _NAMES}
# Modules whose looks at the clock are their own affair: Python's library, busim, and programs that run and measure
# tests.
_APART = frozenset({"busim", "_pytest", "pytest", "pluggy", "hypothesis", "xdist", "execnet", "coverage"})
_LOOK_UPS = frozenset({"socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr", "socket.getnameinfo"})
_SENDING = {"socket.connect": "connect", "socket.sendto": "sendto", "socket.sendmsg": "sendmsg"}
_START = threading.Thread.start

_active: list[Guard] = []
_hooked = False
_bound: list[tuple[weakref.ref[ModuleType], str, str]] = []  # a module, the name there, the name in `time`
_searched: dict[str, weakref.ref[ModuleType]] = {}  # by the key in `sys.modules`


class WallTime(UserWarning):
    """A program in virtual time used the wall clock, or slept by it."""


class Guard:
    """Watches inside its context, in the thread that enters it and in threads started from there.

    `now`: the simulated instant, ns; `sleep(ns)`: let it pass. `stand_in`: names of modules whose `time` is simulated;
    "time" stands for all of them. `told`: modules that have had their warning.
    """

    def __init__(
        self, now: Callable[[], int], sleep: Callable[[int], None], stand_in: Collection[str] = (),
        told: set[str] | None = None,
    ) -> None:  # fmt: skip
        self._now = now
        self._sleep = sleep
        self._all = "time" in stand_in
        self._stand_in = frozenset(stand_in)
        self._thread = 0
        self._started: list[threading.Thread] = []
        self._told = set() if told is None else told
        self._looked = (-1, 0)  # at which instant, how often

    def __enter__(self) -> Guard:
        _hook()
        self._thread = threading.get_ident()
        _active.append(self)
        if len(_active) == 1:
            _wrap()
        return self

    def __exit__(self, *_: object) -> None:
        _active.remove(self)
        if not _active:
            _unwrap()

    def covers(self, thread: int) -> bool:
        """Whether this thread belongs to the world."""
        return thread == self._thread or any(one.ident == thread for one in self._started)

    def start(self, thread: threading.Thread) -> None:
        """A thread of the world starts another."""
        self._started = [one for one in self._started if one.ident is None or one.is_alive()]
        self._started.append(thread)

    def call(self, name: str, arguments: tuple[Any, ...], caller: FrameType) -> Any:
        """The result of `time.NAME(*arguments)` for its caller."""
        module = str(caller.f_globals.get("__name__", "?"))
        if _apart(module):
            return _REAL[name](*arguments)
        if self._all or module in self._stand_in:
            return self._simulated(name, arguments, caller)
        if module not in self._told:
            self._told.add(module)
            warnings.warn_explicit(
                f"{module} calls time.{name}() in virtual time, and gets wall time: its time-outs and pauses are wrong "
                f"by any factor. In a coroutine take loop.time() and asyncio.sleep(), or make the session with "
                f'stand_in=("{module}",), or ("time",) for every module',
                WallTime, caller.f_code.co_filename, caller.f_lineno, module,
            )  # fmt: skip
        return _REAL[name](*arguments)

    def _simulated(self, name: str, arguments: tuple[Any, ...], caller: FrameType) -> Any:
        now = self._now()
        instant, looks = self._looked
        self._looked = now, looks + 1 if instant == now else 0
        if looks > STILL:
            self._looked = -1, 0
            raise UserError(
                "the program waits for time to pass, and only looks at the clock",
                found=f"{STILL} calls of time.{name} at one simulated instant, "
                f"{caller.f_code.co_filename}:{caller.f_lineno}",
                mend="pause in the loop: await asyncio.sleep(), or time.sleep() where it is stood in for",
            )
        if name == "sleep":
            return self._pass(*arguments)
        return now if name.endswith("_ns") else now / 1e9

    def _pass(self, seconds: float) -> None:
        if seconds < 0:
            raise ValueError("sleep length must be non-negative")
        if threading.get_ident() != self._thread:
            refuse("sleeping threads (time.sleep)", "sleep in the thread of the world, or use wall time (busim.Live)")
        self._sleep(round(seconds * 1e9))


# -- one for the process: Python's audit hooks and its modules are there once -------------------------------------


def _here() -> Guard | None:
    """The guard of the calling thread."""
    thread = threading.get_ident()
    return next((guard for guard in reversed(_active) if guard.covers(thread)), None)


def _hook() -> None:
    global _hooked
    if not _hooked:
        _hooked = True
        sys.addaudithook(_audit)  # for good: an audit hook cannot be removed


def _audit(event: str, arguments: tuple[Any, ...]) -> None:
    if not _active:
        return
    if event in _SENDING:
        address = arguments[1]
        if isinstance(address, tuple) and _here() is not None:  # a Unix socket's is text, and stays on this machine
            refuse(f"blocking sockets (socket.{_SENDING[event]} to {address[0]}:{address[1]})")
    elif event in _LOOK_UPS and _here() is not None:
        refuse(f"name look-ups ({event} of {arguments[0]!r})")


def _start(thread: threading.Thread) -> None:
    guard = _here()
    if guard is not None:
        guard.start(thread)
    _START(thread)


def _wrapper(name: str) -> Callable[..., Any]:
    real = _REAL[name]

    def call(*arguments: Any) -> Any:
        guard = _here() if _active else None
        return real(*arguments) if guard is None else guard.call(name, arguments, sys._getframe(1))

    call.__name__ = call.__qualname__ = name
    return call


_WRAPPERS = {name: _wrapper(name) for name in _NAMES}


def _wrap() -> None:
    """Put the wrappers where programs find the originals: in `time`, and in modules that imported them by name.

    A module that imports one meanwhile keeps it; outside a world it does the same as the original.
    """
    for key, module in list(sys.modules.items()):  # thousands, for each world: mostly all are known
        known = _searched.get(key)
        if (known is None or known() is not module or key == "__main__") and isinstance(module, ModuleType):
            _search(key, module)
    for name, wrapper in _WRAPPERS.items():
        setattr(time, name, wrapper)
    threading.Thread.start = _start  # type: ignore[method-assign,assignment]
    _rebind(_REAL, _WRAPPERS)


def _unwrap() -> None:
    for name, real in _REAL.items():
        setattr(time, name, real)
    threading.Thread.start = _START  # type: ignore[method-assign]
    _rebind(_WRAPPERS, _REAL)


def _search(key: str, module: ModuleType) -> None:
    """Find the names under which a module has functions of `time`."""
    _searched[key] = weakref.ref(module)
    if _apart(key):
        return
    kinds = {id(real): name for name, real in _REAL.items()}
    for own, value in list(vars(module).items()):
        name = kinds.get(id(value))
        if name is not None:
            _bound.append((weakref.ref(module), own, name))


def _rebind(old: dict[str, Callable[..., Any]], new: dict[str, Callable[..., Any]]) -> None:
    for reference, own, name in _bound:
        module = reference()
        if module is not None and vars(module).get(own) is old[name]:
            vars(module)[own] = new[name]


def _apart(module: str) -> bool:
    top = module.partition(".")[0]
    return top in _APART or (top in sys.stdlib_module_names and top != "__main__")
