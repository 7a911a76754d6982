"""Files that busim writes: whole or not at all, and never over a file of another kind.

A half-written plan is worse than none on the evening before a show, and a mistyped name must not destroy one. So a file
is written beside its place, readable by its user only, and takes that place when it is complete. It then has the owner
and the rights of the old one. Files left by a killed program are removed by the next one.

Traces are the exception: they are written in place, for hours (`busim.recording.trace.writer`).
"""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import IO

from busim.foundation.errors import UserError

try:
    import fcntl
except ImportError:  # no locks on this system: left-over files stay
    fcntl = None  # type: ignore[assignment]

Known = Callable[[str], bool]
_LOOKED_AT = 1 << 20  # bytes at both ends of an older file that are read to identify it


def check_target(
    name: str, kind: str, *, overwrite: bool = False, known: Known | None = None, inputs: Iterable[str | Path] = ()
) -> None:
    """Raises UserError if no `kind` may be written to this name; ask before long work for it.

    An existing file is replaced with `overwrite`, if it is empty, or if `known` recognises its text. One of `inputs`,
    the files it is made from, is never replaced; nor is a folder, a pipe or a socket.
    """
    try:
        found = os.stat(name)
    except (FileNotFoundError, NotADirectoryError):
        _check_folder(name, kind)
        return
    except (OSError, ValueError) as error:
        raise _unwritten(name, kind, error) from None
    if stat.S_ISDIR(found.st_mode):
        raise UserError("a folder is there already", file=name, mend=f"give a file for the {kind}")
    if not (stat.S_ISREG(found.st_mode) or stat.S_ISCHR(found.st_mode)):
        raise UserError(
            f"the {kind} cannot be written into a pipe or a socket", file=name, mend=f"give a file for the {kind}"
        )
    for path in inputs:
        if Path(path).exists() and Path(path).samefile(name):
            raise UserError(f"the {kind} cannot replace the file it is made from", file=name, mend="give another name")
    if not overwrite and stat.S_ISREG(found.st_mode) and found.st_size:
        _check_like(name, kind, known)


def _check_folder(name: str, kind: str) -> None:
    folder = Path(name).resolve().parent
    if not folder.is_dir():
        raise UserError(
            f"the {kind} cannot be written", file=name, found=f"no folder {str(folder)!r}",
            mend="make it, or choose another place",
        )  # fmt: skip


def _check_like(name: str, kind: str, known: Known | None) -> None:
    if known is None:
        raise UserError("a file is there already", file=name, mend="choose another name, or allow overwriting it")
    try:
        with open(name, "rb") as file:
            data = file.read(_LOOKED_AT)
            if file.seek(0, os.SEEK_END) > _LOOKED_AT:  # some formats identify themselves at their end
                file.seek(max(_LOOKED_AT, file.tell() - _LOOKED_AT))
                data += file.read()
            text = data.decode(errors="replace")
    except OSError as error:
        raise _unwritten(name, kind, error) from None
    if not known(text):
        raise UserError(
            f"a file is there already, and it is no {kind}", file=name, mend=f"choose another name for the {kind}"
        )


@contextlib.contextmanager
def whole_file(
    name: str | Path, kind: str, *, overwrite: bool = False, known: Known | None = None,
    inputs: Iterable[str | Path] = (), new: bool = False, private: bool = False,
) -> Iterator[IO[bytes]]:  # fmt: skip
    """A file to write into. It is at `name` when the block ends well; otherwise nothing has changed.

    A full disk or a power cut leaves the old file or the new one, never a part. A link stays a link. A terminal or a
    device is written directly. Other targets are checked by `check_target`. `new`: raises FileExistsError if there is a
    file; `private`: only the user may read it. Raises UserError if it cannot be written.
    """
    text = str(name)
    if not new:
        check_target(text, kind, overwrite=overwrite, known=known, inputs=inputs)
    try:
        if os.path.exists(text) and not os.path.isfile(text):
            with open(text, "wb") as device:
                yield device
            return
        target = Path(text) if new else Path(text).resolve()
        _sweep(target)
        with _beside(target) as (file, place):
            yield file
            file.flush()
            os.fsync(file.fileno())
            _take_place(file, place, target, new=new, private=private)
    except OSError as error:
        if new and isinstance(error, FileExistsError):
            raise
        raise _unwritten(text, kind, error) from None


@contextlib.contextmanager
def _beside(target: Path) -> Iterator[tuple[IO[bytes], Path]]:
    """A file of our own beside the target, locked while it is written, and removed afterwards in any case."""
    place = target.with_name(f".{target.name[:200]}.{os.getpid()}.part")
    descriptor = os.open(place, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    try:
        with open(descriptor, "wb") as file:
            if fcntl is not None:
                with contextlib.suppress(OSError):  # a file system without locks
                    fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            yield file, place
    finally:
        place.unlink(missing_ok=True)


def _take_place(file: IO[bytes], place: Path, target: Path, *, new: bool, private: bool) -> None:
    try:
        old: os.stat_result | None = os.stat(target)
    except FileNotFoundError:
        old = None
    with contextlib.suppress(OSError):  # a memory stick has neither owners nor rights
        if old is not None and (old.st_uid, old.st_gid) != (os.geteuid(), os.getegid()):
            os.fchown(file.fileno(), old.st_uid, old.st_gid)
    with contextlib.suppress(OSError):
        mode = 0o666 & ~_umask() if old is None else stat.S_IMODE(old.st_mode)
        os.fchmod(file.fileno(), 0o600 if private else mode)
    if not new:
        place.replace(target)
        return
    try:
        os.link(place, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links
        if os.path.lexists(target):
            raise FileExistsError(str(target)) from None
        place.replace(target)


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def _sweep(target: Path) -> None:
    """Remove files beside the target that killed programs left: those that nobody holds locked."""
    if fcntl is None:
        return
    start = f".{target.name[:200]}."
    with contextlib.suppress(OSError):
        for name in os.listdir(target.parent):
            if name.startswith(start) and name.endswith(".part") and name[len(start) : -5].isdigit():
                _remove_unlocked(target.parent / name)


def _remove_unlocked(left: Path) -> None:
    with contextlib.suppress(OSError):
        descriptor = os.open(left, os.O_WRONLY | os.O_NONBLOCK | os.O_NOFOLLOW)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            left.unlink()
        finally:
            os.close(descriptor)


def _unwritten(name: str, kind: str, error: Exception) -> UserError:
    return UserError(
        f"the {kind} cannot be written", file=name, found=getattr(error, "strerror", None) or str(error),
        mend="choose another place, or make room and see who may write there",
    )  # fmt: skip
