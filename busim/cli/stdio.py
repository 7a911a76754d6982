"""Standard output and error as they are found on site: closed, led into a full disk, in a locale of another time."""

from __future__ import annotations

import errno
import io
import os
import sys

FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}  # what a write says to which nobody but the user can make room


def prepare() -> None:
    """Make both take all text: a file or pipe gets UTF-8, as plans are, and a terminal escapes for what it lacks."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115 (open until the end)
        elif isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(encoding=None if stream.isatty() else "utf-8", errors="backslashreplace")


def undelivered() -> str | None:
    """Why standard output could not be written to its end, or None. A reader that wants no more is no reason."""
    try:
        sys.stdout.flush()
    except OSError as error:
        # What is left in it would fail again when Python ends, and change the exit code.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return None if error.errno == errno.EPIPE else error.strerror or str(error)
    return None
