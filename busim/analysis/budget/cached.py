"""A property that is worked out once and kept: `functools.cached_property` without the lock that it has in Python 3.11.

Most of what a budget keeps takes less time than the lock. Two threads at worst work out the same twice.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

__all__ = ["kept"]

if TYPE_CHECKING:
    from functools import cached_property as kept
else:

    class kept:
        """As `functools.cached_property`: for methods without arguments, of classes whose instances have a dict."""

        def __init__(self, work: Callable[[Any], Any]) -> None:
            self._work, self.__doc__ = work, work.__doc__

        def __set_name__(self, owner: type, name: str) -> None:
            self._name = name

        def __get__(self, instance: Any, owner: type | None = None) -> Any:
            if instance is None:
                return self
            found = self._work(instance)
            setattr(instance, self._name, found)
            return found
