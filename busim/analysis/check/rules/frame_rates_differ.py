"""Cameras with different frame rates."""

from __future__ import annotations

from collections import Counter

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    said = [(path, one) for path, one in survey.cameras.values() if one.frame_rate is not None]
    counts = Counter(str(one.frame_rate) for _, one in said)
    if len(counts) < 2:
        return
    (usual, number), (_, next_number), *_ = counts.most_common(2)
    most = number > next_number  # otherwise no rate is usual, and the first camera is the reference
    first = said[0][1]
    rate, others = (usual, f"{number} others") if most else (str(first.frame_rate), repr(first.name))
    for path, one in said:
        if str(one.frame_rate) != rate:
            yield Spot(
                f"{path}.frame_rate",
                f"camera {one.name!r} has another frame rate than {'most' if most else others}",
                f"{one.frame_rate} (planned)",
                f"{rate}, as {others}",
            )


RULE = Rule(
    id="frame-rates-differ",
    title="Cameras with different frame rates",
    severity="warning",
    area="video",
    explanation="Pictures of different rates cannot be cut together without conversion. Shutter limits differ as well, "
    "so one knob has different effects.",
    source="common practice, no source",
    advice="Set all cameras to one rate. Silence this rule for a camera that is meant to be slow-motion.",
    find=_find,
    bad=(
        ("boulder left, bus_id: 2", "boulder left, frame_rate: 50p, bus_id: 2"),
        ("boulder right, bus_id: 3", "boulder right, frame_rate: 50p, bus_id: 3"),
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, frame_rate: «59.94p",
        ),
    ),
    good=(
        ("boulder left, bus_id: 2", "boulder left, frame_rate: 50p, bus_id: 2"),
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, frame_rate: 50p",
        ),
    ),
)
