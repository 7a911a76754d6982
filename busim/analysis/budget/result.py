"""The result of a budget, as plain data: for notebooks, tables and JSON. Times in seconds, rates per second.

No code changes a result. Its dataclasses are not frozen: a frozen one takes three times as long to make, and a budget
makes hundreds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass

from busim.recording.figures import Value

SCHEMA = 1


@dataclass(slots=True)
class Range:
    """A number with its unknowns at their best, at their mean and at their worst."""

    best: float
    mean: float
    worst: float

    def later(self, by: float) -> Range:
        """The same with this much added to each."""
        return Range(self.best + by, self.mean + by, self.worst + by)

    @property
    def certain(self) -> bool:
        return abs(self.worst - self.best) <= 1e-9 * max(1.0, abs(self.mean))


@dataclass(slots=True)
class ExchangeBudget:
    """One poll of one camera. `parts`: seconds by the names of `busim.physics.exchange.PARTS`.

    `total`: seconds, without the pause.
    """

    camera: str
    work: str
    values: int
    parts: Mapping[str, Range]
    total: Range
    time_out: float


@dataclass(slots=True)
class GroupBudget:
    """A poll group. `wanted`: seconds between two polls of a camera, 0 for as often as the line allows. `reached`: its
    polls come as often, or by less than 1 % more seldom.
    """

    name: str
    wanted: float
    cycle: Range
    rate: Range
    reached: bool


@dataclass(slots=True)
class CameraBudget:
    """The expected figures of a camera, by the names of `busim.recording.figures`.

    `trouble`: why it never answers, or "". `age_p999`: seconds that the age of the values polled most does not exceed
    in 99.9 % of their rounds; None where there is no such number.
    """

    name: str
    bus_id: int
    trouble: str
    figures: Mapping[str, Value]
    age_p999: float | None = None


@dataclass(slots=True)
class MoveBudget:
    """An operator's move, from the hand to the acknowledgement; `after_polls`: if commands waited for the whole round.

    `bound`: never exceeded while nothing is damaged; `p999`: not exceeded by 99.9 % of the moves. `replaced`: share of
    moves that a newer one of the same control replaces. `second`, `second_worst`: until another panel shows it; None
    where no value that is moved is polled.
    """

    rate: float
    mean: float
    p95: float
    p999: float
    bound: float | None
    replaced: float
    after_polls: float | None
    second: float | None
    second_worst: float | None


@dataclass(slots=True)
class JoystickBudget:
    """A joystick of the plan, moved all the time. `rate`: positions per second; `mean`, `p95`: seconds from a position
    to its acknowledgement, None if none is ever answered; `replaced`: share of positions that newer ones replace.

    `beside`, `beside_p95`: seconds that the move of an operator beside it takes, with all other joysticks moved too;
    `without_p95`: while this one rests. `cycle`, `without_cycle`: seconds between two polls, None if nothing is polled.
    """

    panel: str
    camera: str
    controls: tuple[str, ...]
    rate: float
    mean: float | None
    p95: float | None
    replaced: float
    beside: float
    beside_p95: float
    without_p95: float
    cycle: float | None
    without_cycle: float | None


@dataclass(slots=True)
class StreamBudget:
    """`count` more of one kind: operators (random moves) or joysticks (a steady stream). None: more than it can do."""

    kind: str
    count: int
    share: float
    mean: float | None
    p95: float | None
    bound: float | None
    cycle: float | None


@dataclass(slots=True)
class JobBudget:
    """Work that comes all at once. `exchanges`: their number."""

    name: str
    exchanges: int
    mean: float
    worst: float


@dataclass(slots=True)
class DeadBudget:
    """`count` cameras die. `until`: seconds until they count as offline; the load or cycle till then and after.

    `cycle`, `after`: seconds for a round of the polls that never rest; `load`, `load_after`: where they do rest.
    """

    count: int
    until: float
    cycle: float
    after: float
    load: float | None
    load_after: float | None


@dataclass(slots=True)
class NoiseBudget:
    """A bit error rate. `failing`: share of exchanges lost; `lost`: share of moves that fail in every attempt."""

    bit_error_rate: float
    failing: float
    cycle: float
    lost: float


@dataclass(slots=True)
class SecondMaster:
    """Another master asks at `rate` on the same line: the share of this one's exchanges that it may spoil at most.

    `at_will`: it just sends; `listening`: it waits for `quiet` seconds of silence first.
    """

    rate: float
    at_will: float
    listening: float
    quiet: float


@dataclass(slots=True)
class ArbitratedBudget:
    """Several masters behind a converter that serves one after the other: what this one gets.

    `rate`: exchanges a second; `exchange`: mean seconds of one, with its wait for the others, `alone` without them, and
    `worst` with every other's longest before it; `load`: the share of time that all of them hold the line.
    """

    masters: tuple[str, ...]
    rate: float
    exchange: float
    alone: float
    worst: float
    load: float


@dataclass(slots=True)
class Change:
    """One thing that could be changed alone. `what`: the quantity that gains; `gain`: 0.5 for half as much again."""

    name: str
    text: str
    what: str
    before: float
    after: float
    gain: float


@dataclass(slots=True)
class Need:
    """What still reaches a wanted rate: None if nothing does; then `text` says why."""

    rate: float
    reached: bool
    load: float
    baud: float | None
    cameras: int | None
    packing: float | None
    text: tuple[str, ...]


@dataclass(slots=True)
class LineBudget:
    """One master on one line. `obstacles`: why nothing can be computed; `remarks`: what does not hold, and by how much;
    `uncertain`: why the numbers are right only to a few percent.

    `arbitrated`: where several masters share a converter that arbitrates, instead of most of the rest.
    `limit`: what limits it; `unknown`: which unknown matters most. `more_cameras`: until headroom falls under 30 %.
    """

    line: str
    master: str
    converter: str
    baud: float
    obstacles: tuple[str, ...]
    remarks: tuple[str, ...]
    uncertain: tuple[str, ...] = ()
    limit: str = ""
    unknown: str = ""
    more_cameras: int | None = None
    figures: Mapping[str, Value] | None = None
    load: Range | None = None
    exchanges: tuple[ExchangeBudget, ...] = ()
    groups: tuple[GroupBudget, ...] = ()
    cameras: tuple[CameraBudget, ...] = ()
    moves: MoveBudget | None = None
    joysticks: tuple[JoystickBudget, ...] = ()
    streams: tuple[StreamBudget, ...] = ()
    jobs: tuple[JobBudget, ...] = ()
    dead: tuple[DeadBudget, ...] = ()
    noise: tuple[NoiseBudget, ...] = ()
    second_master: tuple[SecondMaster, ...] = ()
    arbitrated: ArbitratedBudget | None = None
    changes: tuple[Change, ...] = ()
    need: Need | None = None


@dataclass(slots=True)
class Budget:
    """A plan's budget. `assumptions`: those of all its numbers; `sources`: which of its times were measured."""

    plan: str
    lines: tuple[LineBudget, ...]
    assumptions: tuple[str, ...]
    sources: tuple[str, ...] = ()

    def as_json(self) -> dict[str, object]:
        """JSON-ready; `schema` counts up when a meaning changes."""
        return {"schema": SCHEMA, **{field.name: _plain(getattr(self, field.name)) for field in fields(self)}}


def _plain(value: object) -> object:
    if isinstance(value, Value):
        row: dict[str, object] = {"value": value.value, "unit": value.quantity.unit, "kind": value.kind}
        return row if value.value is not None else {**row, "not_applicable": value.why}
    if is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {name: _plain(entry) for name, entry in value.items()}
    if isinstance(value, tuple):
        return [_plain(entry) for entry in value]
    return value
