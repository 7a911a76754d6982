"""A converter that dials out of its network without a gateway."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv4Network

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one in survey.converters.values():
        if one.dials is None or one.network is None or one.gateway is not None:
            continue
        if IPv4Address(one.dials[0]) not in IPv4Network(one.network):
            yield Spot(
                f"{path}.dials",
                f"converter {one.name!r} dials out of its network without a gateway",
                f"{one.dials[0]}, outside {one.network}",
                f"a controller in {one.network}, or a gateway",
            )


RULE = Rule(
    id="no-gateway-to-controller",
    title="A converter that dials out of its network without a gateway",
    severity="error",
    area="addresses",
    explanation="Without a gateway a box cannot reach other networks. It retries again and again, and the controller "
    "shows no sign of it.",
    source="RFC 1122, 3.3.1.1 (from memory)",
    advice="Set the gateway, or put box and controller into one network.",
    find=_find,
    bad=(
        (
            "endpoint: 198.51.100.45:15001",
            "endpoint: 198.51.100.45:15001\n    network: 198.51.100.0/24\n    dials: «203.0.113.5:4000",
        ),
    ),
    good=(
        (
            "endpoint: 198.51.100.45:15001",
            "endpoint: 198.51.100.45:15001\n    network: 198.51.100.0/24\n    gateway: 198.51.100.1\n"
            "    dials: 203.0.113.5:4000",
        ),
    ),
)
