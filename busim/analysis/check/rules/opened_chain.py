"""A camera in mid-chain whose unplugging disconnects others."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.analysis.check.wiring import Wiring, listed
from busim.physics.electric import lost

_MOST = 3  # cameras named one by one; the rest is a number


def _costs(wiring: Wiring, injected: dict[str, str]) -> list[str]:
    """One text per camera that disconnects others when unplugged. `injected`: load to the station of its supply."""
    index_of = {one.name: index for index, one in enumerate(wiring.hanging)}
    found = []
    for index, one in enumerate(wiring.hanging):
        said = one.unpowered == "cuts"  # dead-camera-cuts reports it
        if one.place.kind != "camera" or not one.in_chain or said:
            continue
        loss = lost(wiring.stands, index, "unplugged")
        dark = [
            name
            for name, at in injected.items()
            if name not in loss.unreached and (index_of[name] - index) * (index_of[at] - index) < 0
        ]
        costs = [f"disconnects {listed(loss.unreached)}"] if loss.unreached else []
        costs += [f"cuts the supply of {listed(dark)}"] if dark else []
        costs += ["splits the line in two, each with a master"] if loss.split else []
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
            more = f"; {len(costs) - _MOST} more alike" if len(costs) > _MOST else ""
            yield Spot(
                wiring.name_field,
                f"unplugging one camera disconnects others on line {wiring.line.name!r}",
                f"(computed) {'; '.join(costs[:_MOST])}{more}; the open end reflects",
                "each camera on a tee, or a briefed crew with a coupler to join the two cables",
            )


RULE = Rule(
    id="opened-chain",
    title="A camera in mid-chain whose unplugging disconnects others",
    severity="note",
    area="cable",
    explanation="The cable goes through the cameras. When one is unplugged, the controller loses every camera behind "
    "it. The open end reflects, so the cameras before it may falter too.",
    source="common practice, no source; what is lost is computed from the order of the line",
    advice="Connect each camera to a tee with a short stub, and write that as `stub: 0.3 m`. Or brief the crew, carry "
    "a coupler to join the two cables, and silence this rule with that as the reason.",
    find=_find,
    hands_on=True,
    bad=(
        ("  - name: boulder line", "  - name: «boulder line"),
        ("boulder left, after: 18 m, stub: 0.3 m", "boulder left, after: 18 m"),
    ),
    good=(("boulder left, after: 18 m, stub: 0.3 m", "boulder left, after: 18 m, stub: 1 m"),),
)
