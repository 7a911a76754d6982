"""All judges by name. A judge is one module of `judges` with `JUDGE` in it; no other place lists it."""

from __future__ import annotations

import pkgutil
from functools import cache
from importlib import import_module
from types import MappingProxyType

from busim.foundation.errors import UserError
from busim.testing import judges as package
from busim.testing.judging import Judge


@cache
def all_judges() -> MappingProxyType[str, type[Judge]]:
    """Every judge by its name, in the order of names."""
    found = {}
    for module in pkgutil.iter_modules(package.__path__):
        judge = getattr(import_module(f"{package.__name__}.{module.name}"), "JUDGE", None)
        if judge is not None:
            found[judge.about.name] = judge
    return MappingProxyType(dict(sorted(found.items())))


def judge_page(name: str) -> str:
    """The page of a judge as markdown. Raises UserError for an unknown name."""
    judge = all_judges().get(name)
    if judge is None:
        raise UserError("there is no judge of this name", found=repr(name[:60]), expected=", ".join(all_judges()))
    return judge.about.page()
