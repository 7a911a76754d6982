"""Memory in live runs: Python's garbage collection, kept out of the way of replies."""

from __future__ import annotations

import gc

_YOUNG = 10_000  # new objects before a collection: 700 are a few exchanges, and each collection is a pause


def hold_still() -> None:
    """Objects so far are permanent and skipped by collections; later ones are collected rarely."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(_YOUNG, 20, 20)
