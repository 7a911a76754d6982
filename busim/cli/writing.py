"""Files that commands write: whole or not at all, and never over something of the user's that is not their like.

A half-written plan is worse than none on the evening before a show, and a name typed wrong must not cost one.
"""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Callable
from pathlib import Path

from busim.foundation.errors import UserError


def refuse_other(name: str, kind: str, known: Callable[[str], bool]) -> None:
    """Raises UserError where a file of this name is there and its text is not known as `kind`, or is not to be read."""
    file = Path(name)
    try:
        if file.is_dir():
            raise UserError("a folder is there already", file=name, mend=f"give a file for the {kind}")
        if file.is_file() and file.stat().st_size and not known(file.read_text(encoding="utf-8", errors="replace")):
            raise UserError(
                f"a file is there already, and it is no {kind}", file=name, mend=f"choose another name for the {kind}"
            )
    except OSError as error:
        raise _unwritten(name, kind, error) from None


def place(name: str, kind: str) -> None:
    """Raises UserError where no such file can be, before something that takes long is to be written into it."""
    folder = Path(name).resolve().parent
    if not folder.is_dir():
        raise UserError(
            f"the {kind} cannot be written", file=name, found=f"no folder {str(folder)!r}",
            mend="make it, or choose another place",
        )  # fmt: skip
    if Path(name).is_dir():
        raise UserError("a folder is there already", file=name, mend=f"give a file for the {kind}")


def write_whole(name: str, content: str | bytes, kind: str, *, new: bool = False) -> None:
    """Write a file, text as UTF-8: a full disk or a power cut leaves the old one or the new one and no half of either.

    A link stays a link, and a file keeps who may read it. `new`: raises FileExistsError where there is a file.
    Raises UserError where it cannot be written; `kind` is what it was to be.
    """
    target = Path(name)
    data = content.encode() if isinstance(content, str) else content
    try:
        if target.exists() and not target.is_file():  # a pipe or a terminal has no whole
            target.write_bytes(data)
            return
        target = target.resolve()
        beside = target if new else target.with_name(f".{target.name[:200]}.{os.getpid()}.part")
        with beside.open("xb") as file:
            try:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
                if target.exists():
                    with contextlib.suppress(PermissionError):  # a memory stick knows no such thing
                        shutil.copymode(target, beside)
                beside.replace(target)
            except BaseException:
                beside.unlink()
                raise
    except OSError as error:
        if new and isinstance(error, FileExistsError):
            raise
        raise _unwritten(name, kind, error) from None


def _unwritten(name: str, kind: str, error: OSError) -> UserError:
    return UserError(
        f"the {kind} cannot be written", file=name, found=error.strerror or str(error),
        mend="choose another place, or make room and see who may write there",
    )  # fmt: skip
