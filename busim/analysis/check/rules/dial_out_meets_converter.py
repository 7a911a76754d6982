"""A converter that dials out to another converter."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    listening = {(one.host, one.port): path for path, one in survey.converters.values() if one.dials is None}
    for path, one in survey.converters.values():
        if one.dials in listening:
            yield Spot(
                f"{path}.dials",
                f"converter {one.name!r} connects to another converter, not to the controller",
                f"{one.dials[0]}:{one.dials[1]}, the endpoint in {survey.row(listening[one.dials])}",
                "the address and port at which the controller listens",
            )


RULE = Rule(
    id="dial-out-meets-converter",
    title="A converter that dials out to another converter",
    severity="error",
    area="addresses",
    explanation="The two boxes join their lines into one long line. Each forwards the other's traffic, and every "
    "request appears on both. The controller waits for a connection that never comes.",
    source="common practice, no source",
    advice="Write the controller's own address in `dials`; `endpoint` is for boxes that listen.",
    find=_find,
    bad=(("endpoint: 198.51.100.45:15001", "endpoint: 198.51.100.45:15001\n    dials: «198.51.100.44:15001"),),
    good=(("endpoint: 198.51.100.45:15001", "endpoint: 198.51.100.45:15001\n    dials: 198.51.100.5:4000"),),
)
