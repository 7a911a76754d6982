"""A gateway outside the network of its converter."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv4Network

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one in survey.converters.values():
        if one.network is None or one.gateway is None:
            continue
        if IPv4Address(one.gateway) not in IPv4Network(one.network):
            yield Spot(
                f"{path}.gateway",
                f"the gateway of converter {one.name!r} is outside its network",
                one.gateway,
                f"an address in {one.network}",
            )


RULE = Rule(
    id="gateway-outside-network",
    title="A gateway outside the network of its converter",
    severity="error",
    area="addresses",
    explanation="A box must reach its gateway within its own network. With this gateway it answers only there, and a "
    "controller elsewhere gets no connection.",
    source="RFC 1122, 3.3.1.1 (from memory)",
    advice="Write the address that the router has in the network of the converter.",
    find=_find,
    bad=(
        (
            "endpoint: 198.51.100.45:15001",
            "endpoint: 198.51.100.45:15001\n    network: 198.51.100.0/24\n    gateway: «203.0.113.1",
        ),
    ),
    good=(
        (
            "endpoint: 198.51.100.45:15001",
            "endpoint: 198.51.100.45:15001\n    network: 198.51.100.0/24\n    gateway: 198.51.100.1",
        ),
    ),
)
