"""A converter at the address of the gateway."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    gateways: dict[str, str] = {}
    for path, one in survey.converters.values():
        if one.gateway is not None:
            gateways.setdefault(one.gateway, f"{path}.gateway")
    for path, one in survey.converters.values():
        if one.host in gateways:
            yield Spot(
                f"{path}.endpoint",
                f"converter {one.name!r} has the address of the gateway",
                f"{one.host}, the gateway at {survey.row(gateways[one.host])}",
                "an address of its own",
            )


RULE = Rule(
    id="gateway-address-taken",
    title="A converter at the address of the gateway",
    severity="error",
    area="addresses",
    explanation="Two devices at one address take turns. One of them is the router here, so the connection to "
    "everything behind it comes and goes.",
    source="RFC 5227 (from memory)",
    advice="Give the converter another address, or correct the gateway.",
    find=_find,
    bad=(
        ("endpoint: 198.51.100.45:15001", "endpoint: 198.51.100.45:15001\n    gateway: 198.51.100.44"),
        ("endpoint: 198.51.100.44:15001", "endpoint: «198.51.100.44:15001"),
    ),
    good=(("endpoint: 198.51.100.45:15001", "endpoint: 198.51.100.45:15001\n    gateway: 198.51.100.1"),),
)
