"""Python's garbage collection, kept out of the way of replies in live runs and of the start of every command."""

from __future__ import annotations

import gc

_YOUNG = 10_000  # new objects before a collection: 700 are a few exchanges, and each collection is a pause


def collect_seldom() -> None:
    """Later objects are collected rarely: imports make hundreds of thousands that stay."""
    gc.set_threshold(_YOUNG, 20, 20)


def hold_still() -> None:
    """Objects so far are permanent and skipped by collections; later ones are collected rarely."""
    gc.collect()
    gc.freeze()
    collect_seldom()
