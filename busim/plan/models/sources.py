"""Where camera models come from: files of busim, and files beside a plan."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, lru_cache
from pathlib import Path

from busim.foundation.errors import UserError
from busim.foundation.schema import begun
from busim.foundation.yaml_source import is_path, nearest
from busim.plan.models.model import Model
from busim.plan.models.reading import read, read_text

_SHIPPED = Path(__file__).parent / "shipped"
_STARTER = Path(__file__).parent / "starter.yaml"


@cache
def names() -> tuple[str, ...]:
    """The models that come with busim, in order of their names."""
    return tuple(sorted(path.stem for path in _SHIPPED.glob("*.yaml")))


def find(name: str, folder: str | Path | None = None, files: Mapping[str, str] | None = None) -> Model:
    """The model of this name, or in this file: a name that ends in `.yaml` is a path, relative to `folder`.
    Its text comes from `files` if it is there.

    Raises UserError for an unknown model, and Findings for a file with mistakes.
    """
    if files is not None and name in files:
        return _beside(files[name], str(Path(folder or ".") / name))
    if is_path(name):
        return read(Path(folder or ".") / name)
    return load(name)


@lru_cache(maxsize=64)
def _beside(text: str, path: str) -> Model:
    """The model of a file beside a plan, cached, because budgets and runs read the same text again and again."""
    return read_text(text, path)


@cache
def load(name: str) -> Model:
    """A shipped model by its name. Raises UserError for an unknown name."""
    if name not in names():
        meant = nearest(name, names())
        raise UserError(
            "there is no camera model of this name",
            found=repr(name[:60]),
            expected=" or ".join(names()) + ", or a file, such as ./our-camera.yaml",
            mend=f"did you mean `{meant}`?" if meant else "name one of these",
        )
    return read(_SHIPPED / f"{name}.yaml")


def starter(name: str) -> str:
    """The text of a first model of this name. Raises UserError for an invalid name."""
    return begun(_STARTER, name, "camera model", "wall-camera")
