"""A supply that is overloaded."""

from __future__ import annotations

from busim.analysis.check.feeds import STATES
from busim.analysis.check.figures import beyond
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for feed in survey.feeds:
        if feed.limit is None or feed.classed:
            continue
        for state in STATES:
            amperes = feed.drawn(state)
            watts = feed.watts(state) if amperes is None else amperes * feed.volts
            if watts > feed.limit:
                yield Spot(
                    f"{feed.field}.limit",
                    f"{feed.supply.name!r} is overloaded",
                    f"{beyond(watts, feed.limit)} W {STATES[state]}, cable loss included (computed), for "
                    f"{len(feed.loads)} loads",
                    f"at most {feed.limit:g} W (planned)",
                )
                break


RULE = Rule(
    id="supply-limit-exceeded",
    title="A supply that is overloaded",
    severity="error",
    area="supply",
    explanation="A supply at its limit lowers its voltage, or switches off and retries. All its loads fail with it, at "
    "the moment when most cameras move.",
    source="sum of the loads and of what the cable takes; that supplies fold back or switch off: common practice, "
    "no source",
    advice="Use a larger supply or a second one. If only the start-up is too much, switch cameras on in groups. A "
    "larger supply may need another fuse and cable. A licensed electrician chooses cables and fuses by the local code.",
    find=_find,
    hands_on=True,
    bad=(("limit: 60 W", "limit: «25 W"),),
    good=(("limit: 60 W", "limit: 50 W"),),
)
