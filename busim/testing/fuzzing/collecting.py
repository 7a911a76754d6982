"""Python's garbage collection, kept out of the way of a case."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager

_MANY = 100_000  # new objects: more than a usual case keeps, and few enough for any memory


@contextmanager
def collecting_seldom() -> Iterator[None]:
    """Within it garbage is hardly ever looked for. What a case makes lives until its end: to look through it again and
    again, as Python does after each 700 new objects, takes a tenth of the time.
    """
    before = gc.get_threshold()
    gc.set_threshold(_MANY, *before[1:])
    try:
        yield
    finally:
        gc.set_threshold(*before)
