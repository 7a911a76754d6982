"""An address outside its own network."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv4Network

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one in survey.converters.values():
        if one.network is not None and IPv4Address(one.host) not in IPv4Network(one.network):
            yield Spot(
                f"{path}.endpoint",
                f"the address of converter {one.name!r} is outside its own network",
                one.host,
                f"an address in {one.network}",
            )


RULE = Rule(
    id="address-outside-network",
    title="An address outside its own network",
    severity="error",
    area="addresses",
    explanation="The box treats every other device as remote and sends its replies to a gateway. Requests reach it "
    "from a computer in the right network, but its replies never arrive there.",
    source="RFC 1122, 3.3.1.1 (from memory)",
    advice="Correct the address or the network. Both must agree with the controller's settings.",
    find=_find,
    bad=(("endpoint: 198.51.100.45:15001", "endpoint: «198.51.100.45:15001\n    network: 203.0.113.0/24"),),
    good=(("endpoint: 198.51.100.45:15001", "endpoint: 198.51.100.45:15001\n    network: 198.51.100.0/24"),),
)
