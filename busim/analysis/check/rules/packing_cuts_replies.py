"""A converter that splits replies."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.foundation.units import show_time


def _find(survey: Survey) -> Spots:
    seen: set[str] = set()
    for timed in survey.timed:
        case, path = timed.case, timed.asker.converter_field
        if not path or path in seen or not case.polls:
            continue
        seen.add(path)
        character = case.format.half_bits * 1e9 / (2 * float(case.baud))
        reply = max(poll.reply for poll in case.polls)
        if 0 < case.packing_idle < character:
            yield Spot(
                f"{path}.packing.idle",
                f"converter {case.converter!r} sends each byte of a reply in a packet of its own",
                f"after {show_time(case.packing_idle)} of silence (planned)",
                f"more than {show_time(character)}, one character on line {case.line!r} (computed)",
            )
        if 0 < case.packing_length < reply:
            yield Spot(
                f"{path}.packing.length",
                f"converter {case.converter!r} splits replies into several packets",
                f"at {case.packing_length} bytes (planned)",
                f"at least {reply}, the longest reply to a poll (computed), or 0",
            )


RULE = Rule(
    id="packing-cuts-replies",
    title="A converter that splits replies",
    severity="note",
    area="time",
    explanation="A controller that takes each packet for a whole reply finds every reply damaged. A controller that "
    "joins packets works well, and hears each reply sooner.",
    source="common practice, no source",
    advice="Check that the controller joins packets, and silence this rule. Or set packing to hold a whole reply.",
    find=_find,
    bad=(("packing: {idle: 2 ms, length: 0}", "packing: {idle: 2 ms, length: «4}"),),
    good=(("packing: {idle: 2 ms, length: 0}", "packing: {idle: 2 ms, length: 64}"),),
)
