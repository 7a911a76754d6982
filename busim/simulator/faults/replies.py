"""The common part of faults of a camera's reply: a cover of the hook point that changes some
replies and counts them.
"""

from __future__ import annotations

from collections.abc import Callable

from busim.protocols import Reply
from busim.simulator.fault_hooks import CameraReply, Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.parameters import Values

# From delay, bytes and reply to the new delay, the new bytes and a text for the record; None: unchanged.
Change = Callable[[int, bytes, Reply], tuple[int, bytes, str] | None]


class ReplyCover:
    """Changes each reply with the chance `share`."""

    inner: CameraReply

    def __init__(self, bench: CameraBench, share: float, change: Change) -> None:
        self._bench = bench
        self._share = share
        self._change = change

    def answer(self, raw: bytes, reply: Reply) -> tuple[int, bytes]:
        delay, raw = self.inner.answer(raw, reply)
        if not raw or not self._bench.happens(self._share):
            return delay, raw
        changed = self._change(delay, raw, reply)
        if changed is None:
            return delay, raw
        delay, raw, text = changed
        self._bench.effect(text)
        return delay, raw


def cover_replies(bench: CameraBench, values: Values, change: Change) -> Remove:
    """Change replies of a camera, each with the chance `values["share"]`."""
    return bench.reply.cover(ReplyCover(bench, values["share"], change))
