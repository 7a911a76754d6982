"""A reply has the wrong form, though its checksum may fit."""

from __future__ import annotations

from busim.protocols import Reply
from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count, share, word
from busim.simulator.faults.replies import cover_replies


def _put(bench: CameraBench, values: Values) -> Remove:
    def change(delay: int, raw: bytes, reply: Reply) -> tuple[int, bytes, str]:
        how, number = values["how"], values["bytes"]
        if how == "zeros":
            return delay, raw + bytes(number), f"{number} zeros behind it"
        if how == "junk":
            junk = bytes(bench.stream.between(0, 255) for _ in range(number))
            return delay, raw + junk, f"{junk.hex(' ')} behind it"
        if how == "short":
            return delay, raw[: max(1, len(raw) - number)], f"{number} bytes missing"
        if how == "ahead":
            return delay, bytes(number) + raw, f"{number} zeros ahead of it"
        refused = bench.protocol.encode_reply(reply._replace(refused=reply.refused or 1, values=()))
        return delay, refused, "a short refusal"

    return cover_replies(bench, values, change)


FAULT = Fault(
    name="malformed-reply",
    code="B13",
    title="A reply is malformed",
    on="camera",
    hook="camera reply",
    wire="Zeros or junk follow or precede the reply, its end is missing, or a short refusal stands where "
    "values are expected.",
    seen="Too many or too few bytes; a parser waits for ever, or rejects good ones.",
    parameters=(
        share(),
        word("how", "the kind of damage", "zeros", "junk", "short", "ahead", "refusal"),
        count("bytes", "number of bytes", "2", "1", "64"),
    ),
    put=_put,
    also=("M7",),
)
