"""A converter at a self-assigned address."""

from __future__ import annotations

from ipaddress import IPv4Address

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one in survey.converters.values():
        if IPv4Address(one.host).is_link_local:
            yield Spot(
                f"{path}.endpoint",
                f"converter {one.name!r} has a self-assigned (link-local) address",
                one.host,
                "a fixed address",
            )


RULE = Rule(
    id="link-local-address",
    title="A converter at a self-assigned address",
    severity="warning",
    area="addresses",
    explanation="A box that asks for an address and gets none takes one from 169.254.0.0/16, and a different one after "
    "the next power cut. The controller then looks in the wrong place.",
    source="RFC 3927 (from memory)",
    advice="Set a fixed address in the box, and write that address here.",
    find=_find,
    bad=(("endpoint: 198.51.100.45:15001", "endpoint: «169.254.7.45:15001"),),
    good=(("endpoint: 198.51.100.45:15001", "endpoint: 203.0.113.45:15001"),),
)
