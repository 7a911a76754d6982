"""The request that somebody else sends on a line."""

from __future__ import annotations

from busim.protocols import READ, BusProtocol, Request
from busim.simulator.faults.parameters import Values


def foreign_request(protocol: BusProtocol, values: Values) -> bytes:
    """A read of the value `key` at `bus_id`, or at the nearest ID that the protocol has. Raises Defect for a key that
    its messages cannot carry.
    """
    low, high = protocol.addresses
    return protocol.encode_request(Request(max(low, min(high, values["bus_id"])), READ, values["key"], 1))
