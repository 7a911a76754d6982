"""A converter at a loopback address."""

from __future__ import annotations

from ipaddress import IPv4Address

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one in survey.converters.values():
        if IPv4Address(one.host).is_loopback:
            yield Spot(
                f"{path}.endpoint",
                f"converter {one.name!r} has a loopback address",
                one.host,
                "an address on the network of the site",
            )


RULE = Rule(
    id="loopback-address",
    title="A converter at a loopback address",
    severity="warning",
    area="addresses",
    explanation="Addresses that begin with 127 never leave the computer. The plan works only on the computer where it "
    "was rehearsed.",
    source="RFC 1122, 3.2.1.3 (from memory)",
    advice="Write the address that the box has on site. `busim serve` chooses a loopback address for it by itself.",
    find=_find,
    bad=(("endpoint: 198.51.100.45:15001", "endpoint: «127.0.0.45:15001"),),
    good=(("endpoint: 198.51.100.45:15001", "endpoint: 203.0.113.45:15001"),),
)
