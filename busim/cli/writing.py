"""Files that commands write, all through `busim.foundation.output`."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

from busim.foundation.output import check_target, whole_file

__all__ = ["check_target", "refuse_other", "write_whole"]


def refuse_other(name: str, kind: str, known: Callable[[str], bool], inputs: Iterable[str | Path] = ()) -> None:
    """Raises UserError if a file of this name exists and its text is not a `kind`, or cannot be read."""
    check_target(name, kind, known=known, inputs=inputs)


def write_whole(
    name: str, content: str | bytes, kind: str, *, new: bool = False, known: Callable[[str], bool] | None = None,
    inputs: Iterable[str | Path] = (), private: bool = False,
) -> None:  # fmt: skip
    """Write a file, text as UTF-8, whole or not at all. `kind`: its kind, in words.

    An existing file is replaced; with `known`, only if `known` recognises its text. One of `inputs` is never replaced.
    `new`: raises FileExistsError if there is a file. `private`: only the user may read it. Raises UserError if it
    cannot be written.
    """
    data = content.encode() if isinstance(content, str) else content
    with whole_file(name, kind, overwrite=known is None, known=known, inputs=inputs, new=new, private=private) as file:
        file.write(data)
