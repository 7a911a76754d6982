"""Files that commands write, in the one way that busim has for it (`busim.foundation.output`)."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

from busim.foundation.output import check_target, whole_file

__all__ = ["check_target", "refuse_other", "write_whole"]


def refuse_other(name: str, kind: str, known: Callable[[str], bool], inputs: Iterable[str | Path] = ()) -> None:
    """Raises UserError where a file of this name is there and its text is not known as `kind`, or is not to be read."""
    check_target(name, kind, known=known, inputs=inputs)


def write_whole(
    name: str, content: str | bytes, kind: str, *, new: bool = False, known: Callable[[str], bool] | None = None,
    inputs: Iterable[str | Path] = (), private: bool = False,
) -> None:  # fmt: skip
    """Write a file, text as UTF-8, whole or not at all. `kind` is what it is to be.

    A file that is there is replaced; where `known` is given, only one whose text it knows as its like. One of `inputs`
    is never. `new`: raises FileExistsError where there is a file. `private`:
    nobody but the user may read it. Raises UserError where it cannot be written.
    """
    data = content.encode() if isinstance(content, str) else content
    with whole_file(name, kind, overwrite=known is None, known=known, inputs=inputs, new=new, private=private) as file:
        file.write(data)
