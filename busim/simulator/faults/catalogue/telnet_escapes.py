"""A converter speaks Telnet, and its clients do not."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.converters import Telnet, escaped, plain_data
from busim.simulator.fault_hooks import Remove, remove_all
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, word
from busim.simulator.faults.passages import cover_down, cover_up

_OFFERS = bytes.fromhex("FF FD 00 FF FB 00 FF FB 03")  # do and will binary (RFC 856), will suppress go-ahead (RFC 858)


def _put(bench: ConverterBench, values: Values) -> Remove:
    telnet = Telnet(frozenset())
    text = values["cr_nul"] == "yes"

    def up(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        left = escaped(data).replace(b"\r", b"\r\0") if text else escaped(data)
        if left != data:
            bench.effect(f"{len(left) - len(data)} bytes more")
        pass_on(left, 0)

    def down(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        left = plain_data(telnet.receive(data))
        if text:
            left = left.replace(b"\r\0", b"\r")
        if left != data:
            bench.effect(f"{len(data) - len(left)} bytes less")
        pass_on(left, 0)

    def arrived(client: int) -> None:
        bench.effect("options are offered")
        bench.put_up(_OFFERS, client)

    removes = []
    if values["way"] != "to-line":
        removes.append(cover_up(bench, up))
    if values["way"] != "to-net":
        removes.append(cover_down(bench, down))
    if values["offers"] == "yes":
        removes.append(bench.arrivals(arrived))
    return remove_all(*removes)


FAULT = Fault(
    name="telnet-escapes",
    code="C11",
    title="Telnet on one side only",
    on="converter",
    hook="converter",
    wire="Towards the line the converter takes FF for the begin of a Telnet command and drops what belongs to it; of "
    "two FF one goes on. Towards the network each FF goes out as two.",
    seen="Each reply with an FF in it is one byte longer and its checksum is off; each request with one is shorter. "
    "Groups of three bytes come at connecting, where options are offered.",
    parameters=(
        word("cr_nul", "whether 0D goes out as 0D 00, and 0D 00 comes in as 0D", "no", "yes"),
        word("way", "which way", "both", "to-line", "to-net"),
        word("offers", "whether it offers options to a client that connects", "no", "yes"),
    ),
    put=_put,
    hides=("requests", "replies"),
    source="RFC 854 for the doubled FF and the NUL behind CR, RFC 855 for commands",
)
