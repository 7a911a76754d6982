"""Standard output and error in the field: closed, on a full disk, in an old locale."""

from __future__ import annotations

import atexit
import contextlib
import errno
import io
import os
import re
import sys

from busim.foundation.printable import printable

FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}  # errors of a write that only the user can mend


# The sequences that rich sends to a terminal: colours, and a progress bar drawn over itself.
_OWN = re.compile(r"(\x1b\[[0-9;]*m|\x1b\[[0-9]*[AK]|\x1b\[\?25[hl]|\r)")


class _Visible(io.TextIOWrapper):
    """A stream that escapes control characters, even those that no other code escaped."""

    def write(self, text: str) -> int:
        if self.isatty() or "FORCE_COLOR" in os.environ:
            pieces = _OWN.split(text)
            pieces[::2] = map(printable, pieces[::2])
            super().write("".join(pieces))
        else:
            super().write(printable(text))
        return len(text)


def prepare() -> None:
    """Make both accept all text: a file or pipe gets UTF-8, as plans are; a terminal gets escapes for missing
    characters.

    Control characters from plans and traces are escaped in both.
    """
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115 (open until the end)
        elif type(stream) is io.TextIOWrapper:
            encoding = stream.encoding if stream.isatty() else "utf-8"
            buffering = stream.line_buffering, stream.write_through
            visible = _Visible(stream.detach(), encoding, "backslashreplace", None, *buffering)
            setattr(sys, name, visible)
        elif isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(encoding=None if stream.isatty() else "utf-8", errors="backslashreplace")
    atexit.register(_give_up_the_rest)


def _give_up_the_rest() -> None:
    """Drop what nobody reads: it would fail again at Python's exit, and change the exit code."""
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(ValueError):  # closed, or not a file
            try:
                stream.flush()
            except OSError:
                os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def undelivered() -> str | None:
    """Why standard output could not be completed, or None. A reader that closed it is no reason."""
    try:
        sys.stdout.flush()
    except OSError as error:
        # The rest in its buffer would fail again at Python's exit, and change the exit code.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return None if error.errno == errno.EPIPE else error.strerror or str(error)
    return None
