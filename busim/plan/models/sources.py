"""Where camera models come from: files of busim, and files beside a plan."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from busim.foundation.schema import begun
from busim.foundation.yaml_source import NamedFiles
from busim.plan.models.model import Model
from busim.plan.models.reading import read, read_text

_FILES = NamedFiles(Path(__file__).parent / "shipped", read, read_text, "camera model", "./our-camera.yaml")
_STARTER = Path(__file__).parent / "starter.yaml"


def names() -> tuple[str, ...]:
    """The models that come with busim, in order of their names."""
    return _FILES.names()


def find(name: str, folder: str | Path | None = None, files: Mapping[str, str] | None = None) -> Model:
    """The model of this name, or in this file: a name that ends in `.yaml` is a path, relative to `folder`.
    Its text comes from `files` if it is there.

    Raises UserError for an unknown model, and Findings for a file with mistakes.
    """
    found = _FILES.beside(name, folder, files)
    return load(name) if found is None else found


def load(name: str) -> Model:
    """A shipped model by its name. Raises UserError for an unknown name."""
    if name not in names():
        raise _FILES.unknown(name, names())
    return _FILES.shipped(name)


def starter(name: str) -> str:
    """The text of a first model of this name. Raises UserError for an invalid name."""
    return begun(_STARTER, name, "camera model", "wall-camera")
