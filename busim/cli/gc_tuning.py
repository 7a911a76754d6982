"""Memory in live runs: Python's search for what nobody holds any more, out of the way of replies."""

from __future__ import annotations

import gc

_YOUNG = 10_000  # objects more than before at which it searches: 700 are a few exchanges, and each search is a pause


def hold_still() -> None:
    """What was built so far is for good and need not be looked through again; what comes now, seldom."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(_YOUNG, 20, 20)
