"""A shutter time longer than a frame."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one in survey.cameras.values():
        if one.shutter is None or one.frame_rate is None:
            continue
        frame = 1 / one.frame_rate.rate
        if one.shutter > frame:
            word = "field" if one.frame_rate.interlaced else "frame"
            yield Spot(
                f"{path}.shutter",
                f"the shutter time of camera {one.name!r} is longer than its {word}",
                f"{float(one.shutter) * 1000:.4g} ms (planned)",
                f"at most {float(frame) * 1000:.4g} ms, a {word} of {one.frame_rate} (computed)",
            )


RULE = Rule(
    id="shutter-longer-than-frame",
    title="A shutter time longer than a frame",
    severity="error",
    area="video",
    explanation="No camera can do it. The camera refuses the write, or sets another shutter time than the panel shows, "
    "and the planned exposure is not reached.",
    source="frame times: ITU-R BT.709 (from memory); never longer than the frame or field: common practice, no source",
    advice="Choose a shorter shutter time, and more light or gain.",
    find=_find,
    bad=(
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, frame_rate: 50p, shutter: «1/25 s",
        ),
    ),
    good=(
        (
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms",
            "speed finish, bus_id: 22, serial: 4105, turnaround: 2..6 ms, frame_rate: 50p, shutter: 1/50 s",
        ),
    ),
)
