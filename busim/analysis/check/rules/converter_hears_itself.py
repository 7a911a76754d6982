"""A converter that hears what it sends."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one in survey.converters.values():
        if one.driver.echo:
            yield Spot(
                f"{path}.driver.echo",
                f"converter {one.name!r} hears what it sends, and passes it on as if a camera had said it",
                "echo: true",
                "a receiver that is off while the driver is on",
            )


RULE = Rule(
    id="converter-hears-itself",
    title="A converter that hears what it sends",
    severity="warning",
    area="settings",
    explanation="Each request comes back before its reply. A controller that takes the first frame for the answer "
    "reads its own words; and packing begins too early.",
    source="common practice, no source",
    advice="Switch the echo off in the box (or on its board), or see that the controller drops what it has sent "
    "itself.",
    find=_find,
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
