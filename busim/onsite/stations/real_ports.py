"""The real ports that a plan names: as stations of a line, or as the network side of a converter."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.installation import Installation, ResolvedConverter, ResolvedLine, ResolvedPort
from busim.onsite.targets import Target, parse_target


@dataclass(frozen=True, slots=True)
class RealPort:
    """A real port, set as its line is. `converter`: the name of what is served in its place."""

    converter: str
    target: Target
    baud: Fraction
    format: CharFormat


def real_ports(installation: Installation) -> tuple[RealPort, ...]:
    """Those of a plan, in its order. Raises UserError for a name that is no target, and for one that stands twice."""
    found: dict[str, RealPort] = {}
    for line in installation.lines:
        for one, field in _named(line):
            try:
                target = parse_target(one.converter.real_port or "")
            except UserError as error:
                error.field = field
                raise
            if target.where in found:
                raise UserError(
                    "one real port stands twice", field=field, found=repr(target.text),
                    expected=f"a port of its own, since {found[target.where].converter!r} has this one",
                    mend="name another port",
                )  # fmt: skip
            found[target.where] = RealPort(one.name, target, line.line.baud, line.line.format)
    return tuple(found.values())


def _named(line: ResolvedLine) -> Iterator[tuple[ResolvedConverter, str]]:
    """Converters of a line that are a real port, and ports that stand on it; with their fields in the plan."""
    for station in line.stations:
        at = station.at
        if isinstance(at, ResolvedConverter) and at.converter.real_port is not None:
            yield at, f"{at.field}.port"
        elif isinstance(at, ResolvedPort):
            yield at.box, at.field
