"""The real ports that a plan names, each with the converter whose network side it is."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.installation import Installation
from busim.onsite.targets import Target, parse_target


@dataclass(frozen=True, slots=True)
class RealPort:
    """A converter of a plan whose network side is a real port, set as its line is."""

    converter: str
    target: Target
    baud: Fraction
    format: CharFormat


def real_ports(installation: Installation) -> tuple[RealPort, ...]:
    """Those of a plan, in its order. Raises UserError for a name that is no target, and for one that stands twice."""
    found: dict[str, RealPort] = {}
    for line in installation.lines:
        for one in line.converters:
            if one.converter.real_port is None:
                continue
            try:
                target = parse_target(one.converter.real_port)
            except UserError as error:
                error.field = f"{one.field}.port"
                raise
            if target.where in found:
                raise UserError(
                    "two converters have one real port", field=f"{one.field}.port", found=repr(target.text),
                    expected=f"a port of its own, since {found[target.where].converter!r} has this one",
                    mend="name another port",
                )  # fmt: skip
            found[target.where] = RealPort(one.name, target, line.line.baud, line.line.format)
    return tuple(found.values())
