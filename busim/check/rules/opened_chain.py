"""What is lost when a camera in mid-chain is unplugged."""

from __future__ import annotations

from busim.check.rule import Rule, Spot, Spots
from busim.check.survey import Survey
from busim.check.wiring import Wiring, listed
from busim.electric import lost

_MOST = 8


def _costs(wiring: Wiring) -> list[str]:
    found = []
    for index, one in enumerate(wiring.hanging):
        loss = lost(wiring.stands, index, "unplugged")
        said = one.unpowered == "cuts"  # by a rule of its own
        if one.in_chain and one.place.kind == "camera" and not said and (loss.unreached or loss.split):
            split = ", and the masters are on two lines then" if loss.split else ""
            found.append(f"with {one.name!r} {listed(loss.unreached) or 'no other'}{split}")
    return found


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        costs = _costs(wiring)
        if costs:
            more = f" and so on for {len(costs) - _MOST} more" if len(costs) > _MOST else ""
            yield Spot(
                wiring.name_field,
                f"a camera that is unplugged takes others of line {wiring.line.name!r} with it",
                f"lost (computed): {'; '.join(costs[:_MOST])}{more}; and the end left open reflects",
                "that whoever changes a camera in the show knows this, or that both its cables can be joined at once",
            )


RULE = Rule(
    id="opened-chain",
    title="What is lost when a camera in mid-chain is unplugged",
    severity="note",
    area="cable",
    explanation="The cable goes through the cameras. Unplug one and everything behind it is gone from the "
    "controller, and the end that is left open reflects, so that those before it may falter too.",
    source="common practice, no source; what is lost is computed from the order of the line",
    advice="Lead each camera off a tee with a short stub, and write that as `stub: 0.3 m`; or keep a coupler for two "
    "plugs at each camera, and silence this with that as the reason.",
    find=_find,
    bad=(
        ("  - name: boulder line", "  - name: «boulder line"),
        ("boulder left, after: 18 m, stub: 0.3 m", "boulder left, after: 18 m"),
    ),
    good=(("boulder left, after: 18 m, stub: 0.3 m", "boulder left, after: 18 m, stub: 1 m"),),
)
