"""An address that stands for the network itself, or for everybody in it."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv4Network

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one in survey.converters.values():
        if one.network is None:
            continue
        network = IPv4Network(one.network)
        meaning = {network.network_address: "the network itself", network.broadcast_address: "everybody in it"}
        if network.prefixlen < 31 and IPv4Address(one.host) in meaning:
            yield Spot(
                f"{path}.endpoint",
                f"the address of converter {one.name!r} stands for {meaning[IPv4Address(one.host)]}",
                f"{one.host} in {one.network}",
                f"{network.network_address + 1} to {network.broadcast_address - 1}",
            )


RULE = Rule(
    id="address-of-the-network",
    title="An address that stands for the network itself, or for everybody in it",
    severity="error",
    area="addresses",
    explanation="The first and the last address of a network belong to no device. Many boxes accept them without a "
    "word and are then not to be reached.",
    source="RFC 1122, 3.2.1.3 (from memory); networks of two addresses are excepted: RFC 3021 (from memory)",
    advice="Choose an address between the two.",
    find=_find,
    bad=(("endpoint: 198.51.100.45:15001", "endpoint: «198.51.100.47:15001\n    network: 198.51.100.32/28"),),
    good=(("endpoint: 198.51.100.45:15001", "endpoint: 198.51.100.46:15001\n    network: 198.51.100.32/28"),),
)
