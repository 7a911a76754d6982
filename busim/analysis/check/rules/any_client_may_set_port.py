"""A converter whose serial port any client may set."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one in survey.converters.values():
        if one.rfc2217 == "applies" and one.clients.most > 1:
            yield Spot(
                f"{path}.rfc2217",
                f"any client of converter {one.name!r} may change the baud for all",
                f"applies what clients set, and takes {one.clients.most} of them",
                "one client, or a port that is set in the box alone",
            )


RULE = Rule(
    id="any-client-may-set-port",
    title="A converter whose serial port any client may set",
    severity="note",
    area="masters",
    explanation="A terminal program that opens the port at its own default sets the line to that, and all cameras "
    "are gone until somebody sets it back.",
    source="RFC 2217 (COM port control); common practice, no source",
    advice="Let the box ignore such settings, or take one client alone.",
    find=_find,
    bad=(("endpoint: 198.51.100.45:15001\n", "endpoint: 198.51.100.45:15001\n    rfc2217: «applies\n"),),
    good=(("endpoint: 198.51.100.45:15001\n", "endpoint: 198.51.100.45:15001\n    rfc2217: acknowledges\n"),),
)
