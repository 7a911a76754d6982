"""A converter that receives its own echo."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one in survey.converters.values():
        if one.driver.echo:
            yield Spot(
                f"{path}.driver.echo",
                f"converter {one.name!r} receives its own requests and forwards them like replies",
                "echo: true",
                "echo: false, the receiver is off while the driver is on",
            )


RULE = Rule(
    id="converter-hears-itself",
    title="A converter that receives its own echo",
    severity="warning",
    area="settings",
    explanation="Each request comes back before its reply. A controller that takes the first frame for the reply reads "
    "its own request. Packing also begins too early.",
    source="common practice, no source",
    advice="Switch the echo off in the box (or on its board), or make the controller discard its own requests.",
    find=_find,
    hands_on=True,
    bad=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}\n"
            "    driver: {echo: «true}",
        ),
    ),
    good=(
        (
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}",
            "    packing: {idle: 2 ms, length: 0}\n    latency: 1 ms\n    clients: {most: 4}\n"
            "    driver: {echo: false}",
        ),
    ),
)
