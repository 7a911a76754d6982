"""Standard output and error as they are found on site: closed, led into a full disk, in a locale of another time."""

from __future__ import annotations

import errno
import io
import os
import re
import sys

from busim.foundation.printable import printable

FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}  # what a write says to which nobody but the user can make room


# What rich sends to a terminal: colours, and a bar of progress that is drawn over itself.
_OWN = re.compile(r"(\x1b\[[0-9;]*m|\x1b\[[0-9]*[AK]|\x1b\[\?25[hl]|\r)")


class _Visible(io.TextIOWrapper):
    """A stream in which control characters are seen and not obeyed, whoever forgot to make them visible before."""

    def write(self, text: str) -> int:
        if self.isatty() or "FORCE_COLOR" in os.environ:
            pieces = _OWN.split(text)
            pieces[::2] = map(printable, pieces[::2])
            super().write("".join(pieces))
        else:
            super().write(printable(text))
        return len(text)


def prepare() -> None:
    """Make both take all text: a file or pipe gets UTF-8, as plans are, and a terminal escapes for what it lacks.

    Control characters out of plans and traces are written out in both.
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


def undelivered() -> str | None:
    """Why standard output could not be written to its end, or None. A reader that wants no more is no reason."""
    try:
        sys.stdout.flush()
    except OSError as error:
        # What is left in it would fail again when Python ends, and change the exit code.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return None if error.errno == errno.EPIPE else error.strerror or str(error)
    return None
