"""The pipe from a run to the process that writes its trace."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys

_PIPE = 1 << 20


def pipe_of(process: subprocess.Popen[bytes]) -> int:
    """The pipe into the writer: never blocking, and as large as the system allows."""
    assert process.stdin is not None
    pipe = process.stdin.fileno()
    os.set_blocking(pipe, False)
    with contextlib.suppress(ImportError, AttributeError, OSError):  # Linux only
        import fcntl

        fcntl.fcntl(pipe, fcntl.F_SETPIPE_SZ, _PIPE)
    return pipe


def unread(pipe: int) -> int | None:
    """Bytes in the pipe that the writer has not taken; None if the system does not say."""
    try:
        import fcntl
        import termios

        return int.from_bytes(fcntl.ioctl(pipe, termios.FIONREAD, bytes(4)), sys.byteorder)
    except (ImportError, OSError):
        return None
