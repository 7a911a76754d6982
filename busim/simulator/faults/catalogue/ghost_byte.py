"""A receiver sees a start bit when a driver switches on or off."""

from __future__ import annotations

from busim.protocols import Reply
from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, share, time, word
from busim.simulator.faults.replies import cover_replies

_BITS = {"00": 9, "FE": 2, "FF": 1}


def _put(bench: CameraBench, values: Values) -> Remove:
    def strike(at: int) -> None:
        bit = 1e9 / float(bench.station.setting.baud)
        length = round(_BITS[values["byte"]] * bit)
        bench.kernel.at_or_now(at, lambda _: bench.line.pulse(length, False))

    def change(delay: int, raw: bytes, _: Reply) -> tuple[int, bytes, str]:
        asked, setting = bench.asked_at, bench.station.setting
        if values["when"] == "after-request":
            strike(asked + min(values["offset"], delay))
        elif values["when"] == "before-reply":
            strike(max(asked, asked + delay - values["offset"] - setting.char))
        else:
            strike(asked + delay + setting.offset(len(raw) * setting.halves) + values["offset"])
        return delay, raw, values["when"]

    return cover_replies(bench, values, change)


FAULT = Fault(
    name="ghost-byte",
    code="P2",
    title="A ghost byte at turnaround",
    on="camera",
    hook="line level",
    wire="The pair dips to space for 1, 2 or 9 bits when the direction changes; a receiver takes it for a "
    "start bit and hears FF, FE or 00, which may have a framing error.",
    seen="A reply of one byte more, which begins with 00; or a lone byte where a reply is expected.",
    parameters=(
        share(),
        word("byte", "the byte that a receiver reads", "00", "FF", "FE"),
        word("when", "when", "before-reply", "after-request", "after-reply"),
        time("offset", "how far from there", "200 us", "0", "2 ms"),
    ),
    put=_put,
)
