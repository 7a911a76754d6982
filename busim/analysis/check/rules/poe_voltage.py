"""A PoE supply with a voltage that PoE does not have."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey

_LEAST, _MOST = 44.0, 57.0  # V at the port of the source: IEEE Std 802.3, type 1, from memory


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        volts = feed.supply.voltage
        if feed.supply.kind == "poe" and not (volts.low >= _LEAST and volts.high <= _MOST):
            span = f"{volts.low:g} V" if volts.low == volts.high else f"{volts.low:g} to {volts.high:g} V"
            yield Spot(
                f"{feed.field}.voltage",
                f"the voltage of {feed.supply.name!r} is none of PoE",
                f"{span} (planned)",
                f"{_LEAST:g} to {_MOST:g} V at the port (IEEE Std 802.3, from memory)",
            )


RULE = Rule(
    id="poe-voltage",
    title="A PoE supply with a voltage that PoE does not have",
    severity="warning",
    area="supply",
    explanation="A device for PoE does not start at a lower voltage. A source that puts a fixed voltage on the pairs "
    "without asking the device is no PoE, and can destroy what is not made for it.",
    source="IEEE Std 802.3, clause 33 (44 to 57 V at the source, from memory)",
    advice="Read the label of the source. Write the volts of a PoE port as `44..57 V`. For a source with a fixed "
    "voltage write `kind: dc`, and feed only devices whose data sheets allow that voltage.",
    find=_find,
    hands_on=True,
    bad=(
        (
            "feeds: [boulder box, boulder left, boulder right, boulder mats]",
            "feeds: [boulder left, boulder right, boulder mats]",
        ),
        (
            "supplies:\n",
            "supplies:\n  - {name: rack port, kind: poe, poe_class: 3, voltage: «24 V, feeds: [boulder box]}\n",
        ),
    ),
    good=(
        (
            "feeds: [boulder box, boulder left, boulder right, boulder mats]",
            "feeds: [boulder left, boulder right, boulder mats]",
        ),
        (
            "supplies:\n",
            "supplies:\n  - {name: rack port, kind: poe, poe_class: 3, voltage: 44..57 V, feeds: [boulder box]}\n",
        ),
    ),
)
