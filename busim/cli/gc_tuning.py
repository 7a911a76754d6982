"""Python's garbage collection, kept out of the way of live replies, and of the start and end of every command."""

from __future__ import annotations

import atexit
import gc

_YOUNG = 10_000  # new objects before a collection: 700 are a few exchanges, and each collection is a pause


def collect_seldom() -> None:
    """Later objects are collected rarely: imports make hundreds of thousands that stay. None are at the end of the
    process: to look through all of them once more takes as long as to import numpy."""
    gc.set_threshold(_YOUNG, 20, 20)
    atexit.unregister(gc.freeze)
    atexit.register(gc.freeze)


def hold_still() -> None:
    """Objects so far are permanent and skipped by collections; later ones are collected rarely."""
    gc.collect()
    gc.freeze()
    collect_seldom()
