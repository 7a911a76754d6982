"""All judges by name. A judge is one module of `judges` with `JUDGE` in it; no other place lists it.

Beside them stands the one that needs no line: whether the program under test stays up.
"""

from __future__ import annotations

import pkgutil
from functools import cache
from importlib import import_module
from types import MappingProxyType

from busim.foundation.errors import UserError
from busim.testing import judges as package
from busim.testing.judging import About, Judge

OF_CAMPAIGNS = About(
    name="stays-up",
    title="Stays up: the program runs until its case is over",
    passes="the program connects, sends requests, and still runs when its case is over",
    catches="a crash, an exit or a raised error because of a reply or a lost connection; a program that takes more and "
    "more memory",
    needs="a campaign: `busim fuzz` watches the process, or the function in virtual time",
    bound="the end of the case; memory as `--memory` says (our own choice)",
)


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
