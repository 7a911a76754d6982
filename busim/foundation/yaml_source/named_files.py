"""Things that a plan calls by name: they come with busim, or stand in a file beside the plan."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cache, lru_cache
from pathlib import Path
from typing import Generic, TypeVar

from busim.foundation.errors import UserError
from busim.foundation.yaml_source.words import is_path, suggestion

Thing = TypeVar("Thing")
_KEPT = 64  # texts; budgets, checks and runs of one plan ask for the same again and again


class NamedFiles(Generic[Thing]):
    """The files of one kind of thing, such as camera models.

    `shipped`: the folder of those that come with busim. `read` makes a thing from a file, `read_text` from a text and
    the path that messages name. `kind` and `example`: what messages call it, and a file of the user's own.
    """

    def __init__(
        self,
        shipped: Path,
        read: Callable[[Path], Thing],
        read_text: Callable[[str, str], Thing],
        kind: str,
        example: str,
    ) -> None:
        self._folder, self._read, self._kind, self._example = shipped, read, kind, example
        self._from_text = lru_cache(maxsize=_KEPT)(read_text)
        self.names = cache(self._names)
        self.shipped = cache(self._shipped)

    def _names(self) -> tuple[str, ...]:
        """The names of those that come with busim, in order."""
        return tuple(sorted(path.stem for path in self._folder.glob("*.yaml")))

    def _shipped(self, name: str) -> Thing:
        """The one of this name that comes with busim."""
        return self._read(self._folder / f"{name}.yaml")

    def beside(self, name: str, folder: str | Path | None, files: Mapping[str, str] | None) -> Thing | None:
        """The one in this file, if `name` is that of a file: it ends in `.yaml`, or its text is in `files`.

        A path is relative to `folder`. Raises Findings for a file with mistakes.
        """
        path = Path(folder or ".") / name
        if files is not None and name in files:
            return self._from_text(files[name], str(path))
        return self._read(path) if is_path(name) else None

    def unknown(self, name: str, known: Iterable[str]) -> UserError:
        """The error for a name that is none of `known`."""
        names = tuple(known)
        return UserError(
            f"there is no {self._kind} of this name",
            found=repr(name[:60]),
            expected=f"{' or '.join(names)}, or a file, such as {self._example}",
            mend=suggestion(name, names, "name one of these"),
        )
