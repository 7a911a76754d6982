"""MODBUS RTU without parity and with one stop bit."""

from __future__ import annotations

from busim.analysis.check.examples import delivered
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.protocols import ModbusRtu


def _find(survey: Survey) -> Spots:
    for wire in survey.wires:
        form = wire.line.format
        if isinstance(wire.protocol, ModbusRtu) and form.parity == "N" and form.stop_halves < 4:
            yield Spot(
                f"{wire.field}.format",
                f"line {wire.line.name!r} has neither parity nor a second stop bit",
                str(form),
                "8E1, or 8N2 without parity",
            )


RULE = Rule(
    id="one-stop-bit-without-parity",
    title="MODBUS RTU without parity and with one stop bit",
    severity="note",
    area="settings",
    explanation="The standard asks for 11 bits per character. 8N1 is common and works, but only the checksum catches "
    "single flipped bits, and a strict station may refuse it.",
    source="MODBUS over Serial Line V1.02, 2.5.1 (even parity by default, two stop bits without)",
    advice="Set 8E1 if all stations can. Silence this rule if they cannot.",
    find=_find,
    bad=(
        (
            "    baud: 115200 Bd\n    format: 8E1\n    protocol: modbus-rtu\n",
            "    baud: 115200 Bd\n    format: «8N1\n    protocol: modbus-rtu\n",
        ),
        *delivered("factory_baud: 115200 Bd, factory_format: 8N1"),
    ),
    good=(
        (
            "    baud: 115200 Bd\n    format: 8E1\n    protocol: modbus-rtu\n",
            "    baud: 115200 Bd\n    format: 8N2\n    protocol: modbus-rtu\n",
        ),
        *delivered("factory_baud: 115200 Bd, factory_format: 8N2"),
    ),
)
