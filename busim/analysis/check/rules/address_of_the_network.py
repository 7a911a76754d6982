"""An address reserved for the network itself or for broadcast."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv4Network

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one in survey.converters.values():
        if one.network is None:
            continue
        network = IPv4Network(one.network)
        meaning = {network.network_address: "network address", network.broadcast_address: "broadcast address"}
        if network.prefixlen < 31 and IPv4Address(one.host) in meaning:
            yield Spot(
                f"{path}.endpoint",
                f"the address of converter {one.name!r} is the {meaning[IPv4Address(one.host)]} of its network",
                f"{one.host} in {one.network}",
                f"an address from {network.network_address + 1} to {network.broadcast_address - 1}",
            )


RULE = Rule(
    id="address-of-the-network",
    title="An address reserved for the network itself or for broadcast",
    severity="error",
    area="addresses",
    explanation="The first and the last address of a network belong to no device. Many boxes accept them without a "
    "warning and cannot be reached afterwards.",
    source="RFC 1122, 3.2.1.3 (from memory); networks of two addresses are excepted: RFC 3021 (from memory)",
    advice="Choose an address in the allowed range.",
    find=_find,
    bad=(("endpoint: 198.51.100.45:15001", "endpoint: «198.51.100.47:15001\n    network: 198.51.100.32/28"),),
    good=(("endpoint: 198.51.100.45:15001", "endpoint: 198.51.100.46:15001\n    network: 198.51.100.32/28"),),
)
