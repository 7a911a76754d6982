"""One master for converters in separate networks without a gateway."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, master in survey.masters.values():
        reached = [(number, survey.converters[name][1]) for number, name in enumerate(master.through)]
        known = [(number, one) for number, one in reached if one.network is not None and one.dials is None]
        lonely = [(number, one) for number, one in known if one.gateway is None]
        networks = {one.network for _, one in known}
        if len(networks) > 1 and len({one.network for _, one in lonely}) > 1:
            number, one = lonely[0]
            others = ", ".join(sorted(str(network) for network in networks - {one.network})[:4])
            yield Spot(
                f"{path}.through[{number}]",
                f"master {master.name!r} reaches converters in several networks, but {one.name!r} has no gateway",
                f"{one.network} here, {others} elsewhere",
                "one network, or a gateway at every converter",
            )


RULE = Rule(
    id="networks-without-gateway",
    title="One master for converters in separate networks without a gateway",
    severity="warning",
    area="addresses",
    explanation="Most computers have one address in one network. Boxes in another network get its requests through a "
    "router, but without a gateway they cannot send replies.",
    source="RFC 1122, 3.3.1.1 (from memory)",
    advice="Put the boxes into one network, or set their gateways. Silence this rule if the controller has a network "
    "card in each network.",
    find=_find,
    bad=(
        ("through: [boulder box", "through: [«boulder box"),
        ("endpoint: 198.51.100.44:15001", "endpoint: 198.51.100.44:15001\n    network: 198.51.100.0/24"),
        ("endpoint: 198.51.100.45:15001", "endpoint: 203.0.113.45:15001\n    network: 203.0.113.0/24"),
    ),
    good=(
        ("endpoint: 198.51.100.44:15001", "endpoint: 198.51.100.44:15001\n    network: 198.51.100.0/24"),
        ("endpoint: 198.51.100.45:15001", "endpoint: 198.51.100.45:15001\n    network: 198.51.100.0/24"),
    ),
)
