"""A port number at which something else is usually found."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey

_SERVICES = {
    20: "file transfer", 21: "file transfer", 22: "remote login", 25: "mail", 53: "names", 67: "address requests",
    68: "address requests", 69: "file transfer of updates", 80: "the box's own web page", 123: "time",
    161: "network management", 162: "network management", 443: "the box's own web page", 502: "MODBUS TCP, which "
    "frames its messages in another way", 8080: "a web page",
}  # fmt: skip


def _find(survey: Survey) -> Spots:
    for path, one in survey.converters.values():
        if one.dials is None and one.port in _SERVICES:
            yield Spot(
                f"{path}.endpoint",
                f"converter {one.name!r} is to be found at the port of {_SERVICES[one.port]}",
                f"port {one.port}",
                "a port that nothing else uses, mostly one above 1024",
            )


RULE = Rule(
    id="port-of-another-service",
    title="A port number at which something else is usually found",
    severity="warning",
    area="addresses",
    explanation="The box may keep that port for itself, so that the controller connects, sends its requests to a "
    "web page and waits; and firewalls of the house treat it as what it usually is.",
    source="IANA Service Name and Transport Protocol Port Number Registry (from memory)",
    advice="Choose another port in the box, and write it here.",
    find=_find,
    bad=(("endpoint: 198.51.100.45:15001", "endpoint: «198.51.100.45:80"),),
    good=(("endpoint: 198.51.100.45:15001", "endpoint: 198.51.100.45:4001"),),
)
