"""What is lost when a camera in mid-chain is unplugged."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.analysis.check.wiring import Wiring, listed
from busim.physics.electric import lost

_MOST = 3  # cameras told one by one; behind them it goes on in the same way


def _costs(wiring: Wiring, injected: dict[str, str]) -> list[str]:
    """Each camera whose unplugging costs others, with what it costs. `injected`: a load to where its supply is."""
    index_of = {one.name: index for index, one in enumerate(wiring.hanging)}
    found = []
    for index, one in enumerate(wiring.hanging):
        said = one.unpowered == "cuts"  # by a rule of its own
        if one.place.kind != "camera" or not one.in_chain or said:
            continue
        loss = lost(wiring.stands, index, "unplugged")
        dark = [
            name
            for name, at in injected.items()
            if name not in loss.unreached and (index_of[name] - index) * (index_of[at] - index) < 0
        ]
        costs = [f"costs {listed(loss.unreached)}"] if loss.unreached else []
        costs += [f"takes the supply from {listed(dark)}"] if dark else []
        costs += ["leaves two lines, each with a master"] if loss.split else []
        if costs:
            found.append(f"{one.name!r} {' and '.join(costs)}")
    return found


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        here = {one.name for one in wiring.hanging}
        injected = {
            load.name: feed.supply.at
            for feed in survey.feeds
            for load in feed.loads
            if feed.supply.at in here and load.name in here
        }
        costs = _costs(wiring, injected)
        if costs:
            more = f"; and so on for {len(costs) - _MOST} more" if len(costs) > _MOST else ""
            yield Spot(
                wiring.name_field,
                f"a camera that is unplugged takes others of line {wiring.line.name!r} with it",
                f"(computed) {'; '.join(costs[:_MOST])}{more}; and the end left open reflects",
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
