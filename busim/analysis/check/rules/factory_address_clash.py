"""Two boxes with the same factory address."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    planned = {one.host: (path, one.box or one.name) for path, one in survey.converters.values()}
    first: dict[str, tuple[str, str]] = {}
    for path, one in survey.converters.values():
        if one.factory_address is None:
            continue
        own = one.box or one.name
        delivered = first.setdefault(one.factory_address, (f"{path}.factory_address", own))
        set_on_site = planned.get(one.factory_address)
        for other, box in [delivered, *([(f"{set_on_site[0]}.endpoint", set_on_site[1])] if set_on_site else [])]:
            if box != own:
                yield Spot(
                    f"{path}.factory_address",
                    f"{own!r} has the address of {box!r} as delivered",
                    f"{one.factory_address}, also at {survey.row(other)}",
                    "one device per address at any time",
                )
                break


RULE = Rule(
    id="factory-address-clash",
    title="Two boxes with the same factory address",
    severity="warning",
    area="addresses",
    explanation="With factory settings, both boxes take turns at one address. Settings meant for one reach the other, "
    "and only the box that answered last seems to exist.",
    source="address conflicts: RFC 5227 (from memory); boxes of one kind have the same factory address: common "
    "practice, no source",
    advice="Connect the boxes one at a time, and set the planned address before you plug in the next one. Silence this "
    "rule if the steps on site say so.",
    find=_find,
    hands_on=True,
    bad=(
        ("  - name: boulder box\n", "  - name: boulder box\n    factory_address: 192.0.2.10\n"),
        ("  - name: speed box\n", "  - name: speed box\n    factory_address: «192.0.2.10\n"),
    ),
    good=(
        ("  - name: boulder box\n", "  - name: boulder box\n    factory_address: 192.0.2.10\n"),
        ("  - name: speed box\n", "  - name: speed box\n    factory_address: 192.0.2.11\n"),
    ),
)
