"""The sources of protocols: code of busim, declarations of busim, files beside a plan, and other packages.

A package brings one by an entry point of the group `busim.protocols`: its name is the protocol's, its object a
BusProtocol or a function that makes one.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path
from typing import TYPE_CHECKING

from busim.foundation.errors import UserError
from busim.foundation.yaml_source import NamedFiles
from busim.protocols.contract import BusProtocol
from busim.protocols.modbus_rtu import ModbusRtu

if TYPE_CHECKING:
    from busim.protocols.declared import DeclaredProtocol


def _read(path: str | Path) -> DeclaredProtocol:
    from busim.protocols.declared import read  # it takes a while to load, and most plans have no such file

    return read(path)


def _read_text(text: str, path: str = "") -> DeclaredProtocol:
    from busim.protocols.declared import read_text

    return read_text(text, path)


GROUP = "busim.protocols"
_FILES: NamedFiles[BusProtocol] = NamedFiles(
    Path(__file__).parent / "declarations", _read, _read_text, "protocol", "./wall.yaml"
)
_NEEDED = ("name", "addresses", "broadcast", "most_values", "keys", "answers_broadcast")


def find(name: str, folder: str | Path | None = None, files: Mapping[str, str] | None = None) -> BusProtocol:
    """The protocol of this name, or in this file. A name that ends in `.yaml` is a path, relative to `folder`; `files`
    may hold its text.

    Raises UserError for an unknown one, and Findings for a file with mistakes.
    """
    found = _FILES.beside(name, folder, files)
    if found is not None:
        return found
    if name == "modbus-rtu":
        return ModbusRtu()
    if name in _FILES.names():
        return _FILES.shipped(name)
    brought = _brought().get(name)
    if brought is None:
        raise _FILES.unknown(name, names())
    return _load(brought)


def names() -> tuple[str, ...]:
    """The names of all protocols."""
    return tuple(dict.fromkeys(("modbus-rtu", *_FILES.names(), *_brought())))


def _brought() -> dict[str, EntryPoint]:
    return {point.name: point for point in entry_points(group=GROUP)}


def _load(point: EntryPoint) -> BusProtocol:
    """Raises UserError if a package's object is no protocol: it is not our code."""
    found = None
    try:
        found = point.load()
        protocol = found() if callable(found) else found
    except Exception as error:
        raise _useless(point, f"{type(error).__name__}: {error}") from error
    lacking = [name for name in _NEEDED if not hasattr(protocol, name)]
    if lacking:
        raise _useless(point, f"{type(protocol).__name__} without {', '.join(lacking)}")
    return protocol  # type: ignore[no-any-return]


def _useless(point: EntryPoint, found: str) -> UserError:
    return UserError(
        f"the protocol {point.name!r} that a package brings cannot be used",
        found=found,
        expected=f"{point.value}: a busim.protocols.BusProtocol, or a function that makes one",
        mend="mend or remove the package that has this entry point",
    )
