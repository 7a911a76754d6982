"""Short turns on the processor: the system then wakes a live session at once, though a browser draws beside it.

Linux 6.12 and later give a thread that asks for a shorter slice the processor before one with a longer slice, without
more of it in all (`sched_setattr(2)`, `sched_runtime` of a thread of the normal policy: 0.1 to 100 ms). Older kernels
take the call and do nothing; elsewhere nothing is asked for.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import platform
import struct
from collections.abc import Iterator
from contextlib import contextmanager

_SLICE = 100_000  # ns, the shortest that Linux grants
_CALLS = {"x86_64": 314, "aarch64": 274, "riscv64": 274}  # number of sched_setattr (Linux, its tables of system calls)
_ATTRIBUTES = struct.Struct("=IIQiIQQQ")  # size, policy, flags, nice, priority, runtime, deadline, period
_RESET_ON_FORK = 1  # what is started from here has slices of its own


@contextmanager
def short_slices() -> Iterator[None]:
    """Inside, this thread has short slices; the threads and programs that it starts do not."""
    asked = _ask(_SLICE)
    try:
        yield
    finally:
        if asked:
            _ask(0)


def _ask(slice_ns: int) -> bool:
    """Ask for slices of this many ns, 0 for the usual ones. Returns whether the system took the call."""
    number = _CALLS.get(platform.machine())
    if platform.system() != "Linux" or number is None or os.sched_getscheduler(0) & 0xFF != os.SCHED_OTHER:
        return False
    nice = os.getpriority(os.PRIO_PROCESS, 0)
    wanted = _ATTRIBUTES.pack(_ATTRIBUTES.size, os.SCHED_OTHER, _RESET_ON_FORK, nice, 0, slice_ns, 0, 0)
    with contextlib.suppress(OSError, AttributeError):  # a C library without `syscall`
        return bool(ctypes.CDLL(None).syscall(number, 0, wanted, 0) == 0)
    return False
