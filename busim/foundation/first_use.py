"""Names of a package that are fetched at their first use, so that whoever imports the others need not wait for them."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any


def by_name(modules: Mapping[str, str]) -> dict[str, str]:
    """Name -> module, from module -> its names with spaces between."""
    return {name: module for module, names in modules.items() for name in names.split()}


def fetched(package: str, sources: Mapping[str, str]) -> Callable[[str], Any]:
    """The `__getattr__` of a package (PEP 562); `sources`: name -> the module, inside the package, that it comes from.
    A name must not be that of a module in the package: importing
    the module would take its place. It raises AttributeError for any other name.
    """

    def __getattr__(name: str) -> Any:
        if name not in sources:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        value = getattr(import_module(f"{package}.{sources[name]}"), name)
        setattr(sys.modules[package], name, value)
        return value

    return __getattr__
