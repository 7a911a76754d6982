"""A converter on the port of another service."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey

_SERVICES = {
    20: "file transfer (FTP)", 21: "file transfer (FTP)", 22: "remote login (SSH)", 25: "mail (SMTP)",
    53: "name resolution (DNS)", 67: "address assignment (DHCP)", 68: "address assignment (DHCP)",
    69: "file transfer (TFTP)", 80: "web pages (HTTP)", 123: "clock time (NTP)",
    161: "network management (SNMP)", 162: "network management (SNMP)", 443: "web pages (HTTPS)",
    502: "MODBUS TCP, which frames messages in another way", 8080: "web pages (HTTP)",
}  # fmt: skip


def _find(survey: Survey) -> Spots:
    for path, one in survey.converters.values():
        if one.dials is None and one.port in _SERVICES:
            yield Spot(
                f"{path}.endpoint",
                f"converter {one.name!r} uses the port of {_SERVICES[one.port]}",
                f"port {one.port}",
                "a port that no other service uses, usually above 1024",
            )


RULE = Rule(
    id="port-of-another-service",
    title="A converter on the port of another service",
    severity="warning",
    area="addresses",
    explanation="The box may keep that port for its own service. The controller then connects, sends its requests to a "
    "web page and waits. Firewalls on site may block the port or inspect it.",
    source="IANA Service Name and Transport Protocol Port Number Registry (from memory)",
    advice="Choose another port in the box, and write it here.",
    find=_find,
    bad=(("endpoint: 198.51.100.45:15001", "endpoint: «198.51.100.45:80"),),
    good=(("endpoint: 198.51.100.45:15001", "endpoint: 198.51.100.45:4001"),),
)
