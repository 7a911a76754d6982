"""A converter whose serial port any client can change."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    for path, one in survey.converters.values():
        if one.rfc2217 == "applies" and one.clients.most > 1:
            yield Spot(
                f"{path}.rfc2217",
                f"any client of converter {one.name!r} can change the baud for all others",
                f"applies the settings of clients; up to {one.clients.most} clients",
                "one client, or a port that only the box itself sets",
            )


RULE = Rule(
    id="any-client-may-set-port",
    title="A converter whose serial port any client can change",
    severity="note",
    area="masters",
    explanation="A terminal program opens the port at its own default baud. The box sets the line to that baud, and no "
    "camera answers until somebody sets it back.",
    source="RFC 2217 (COM port control); common practice, no source",
    advice="Set the box to ignore these settings, or to accept one client only.",
    find=_find,
    bad=(("endpoint: 198.51.100.45:15001\n", "endpoint: 198.51.100.45:15001\n    rfc2217: «applies\n"),),
    good=(("endpoint: 198.51.100.45:15001\n", "endpoint: 198.51.100.45:15001\n    rfc2217: acknowledges\n"),),
)
