"""The lines of a trace with their stations in order, as metres along the cable and as numbers of the trace."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from busim.installation import Installation, ResolvedLine
from busim.recording.trace import Trace

LIGHT = 299_792_458  # m/s, by definition of the metre


@dataclass(frozen=True, slots=True)
class Stand:
    """A station on its line. `number` in the trace, 0 if it never sends or hears; `kind`: camera, converter, master.

    `metres` from the first position; `delay`: propagation from there, ns. `planned` False: it sends, but the plan does
    not have it.
    """

    number: int
    name: str
    kind: str
    metres: float
    delay: int
    planned: bool = True


@dataclass(frozen=True)
class LaidLine:
    """A line. `number` in the trace; `positions`: metres of each position of its order;
    `bit`: ns, rounded, for zooming.

    `resolved` None: the plan of the trace has no such line.
    """

    number: int
    name: str
    stands: tuple[Stand, ...]
    positions: tuple[float, ...]
    velocity: float
    bit: float
    resolved: ResolvedLine | None

    @cached_property
    def by_number(self) -> dict[int, Stand]:
        """The stations by their numbers in the trace."""
        return {stand.number: stand for stand in self.stands if stand.number}

    @cached_property
    def length(self) -> float:
        """Metres from the first position to the last, at least 1."""
        return max(1.0, *(stand.metres for stand in self.stands), *self.positions)

    def delay(self, one: float, other: float) -> int:
        """Propagation between two places in metres, ns."""
        return delay_of(abs(one - other), self.velocity)

    def stand(self, number: int) -> Stand | None:
        """The station with this number; None if it is not on the line."""
        return self.by_number.get(number)


def delay_of(metres: float, velocity: float) -> int:
    """Propagation over a distance in metres, ns; `velocity` as a share of that of light."""
    return round(metres / (velocity * LIGHT) * 1e9)


def laid_lines(trace: Trace, site: Installation) -> tuple[LaidLine, ...]:
    """Every line of a trace, in the order of its plan."""
    found = {(name.kind, name.name, name.parent): number for number, name in trace.names.items()}
    lines = []
    for resolved in site.lines:
        number = found.get(("line", resolved.name, 0))
        if number is not None:
            lines.append(_laid(trace, number, resolved, found))
    return tuple(lines)


def _laid(trace: Trace, number: int, resolved: ResolvedLine, found: dict[tuple[str, str, int], int]) -> LaidLine:
    line = resolved.line
    stands = []
    for place in line.order:
        if place.kind != "terminator":
            parent = 0 if place.kind == "master" else number
            known = found.get((place.kind, place.name, parent), 0)
            stands.append(Stand(known, place.name, place.kind, place.metres, delay_of(place.metres, line.velocity)))
    numbers = {stand.number for stand in stands}
    for other, name in trace.names.items():
        if name.parent == number and other not in numbers:
            stands.append(Stand(other, name.name, name.kind, 0.0, 0, planned=False))
    return LaidLine(
        number, resolved.name, tuple(stands), tuple(place.metres for place in line.order), line.velocity,
        1e9 / float(line.baud), resolved,
    )  # fmt: skip
