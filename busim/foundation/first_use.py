"""Names of a package that are fetched at their first use, so that whoever imports the others need not wait for them."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from importlib import import_module
from typing import Any


def fetched(package: str, source: str, names: Iterable[str]) -> Callable[[str], Any]:
    """The `__getattr__` of a package (PEP 562) whose `names` come from the module `source`."""
    later = frozenset(names)

    def __getattr__(name: str) -> Any:
        if name not in later:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        value = getattr(import_module(source), name)
        setattr(sys.modules[package], name, value)
        return value

    return __getattr__
