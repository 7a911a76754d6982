"""A case: one master on one line, as plain numbers that a what-if can change.

The installation is read here and nowhere else in the budget. A case is small and frozen, so that "what if the baud were
twice as high" is a copy with one field replaced.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from busim.analysis.budget.lengths import Talk
from busim.foundation.units import CharFormat, Spread
from busim.installation import (
    Asker,
    Command,
    Installation,
    MasterPolicy,
    Port,
    ResolvedCamera,
    ResolvedConverter,
    ResolvedJoystick,
    ResolvedLine,
    resolve,
)
from busim.physics.electric import MOST_UNIT_LOADS, propagation_ns
from busim.plan import Plan
from busim.protocols import READ, WRITE, BusProtocol, Reply

_CLOCKS = Fraction(2, 100)  # by which two stations may differ and still talk: MODBUS over Serial Line V1.02, 3.2


class Unit(NamedTuple):
    """A camera. `distance`: propagation from the asker, ns; `trouble`: why it never answers, "" if it answers.

    `writes`: the runs of neighbouring registers that can be written, each by its length. `bauds`: those that its model
    supports, empty if unknown.
    """

    name: str
    bus_id: int
    turnaround: Spread
    distance: float
    lead: int
    hold: int
    baud: Fraction
    ppm: float
    trouble: str
    writes: tuple[int, ...]
    bauds: tuple[Fraction, ...] = ()


class Poll(NamedTuple):
    """One repeated read: `unit` counts in `Case.units`; `every` ns. `request`, `reply`: mean lengths
    in characters (`lengths`).

    `escapes`, `spare`: how many characters longer and shorter both together can be.

    `work` is its name in trace and figures: that of its group, with the first key behind it in further runs of
    registers. `hole`: how many registers lie between the run of the group before and this one and could be read as
    well, 0 where there is no such run.
    """

    unit: int
    group: str
    work: str
    first: str
    size: int
    hole: int
    request: float
    reply: float
    every: int
    escapes: float = 0
    spare: float = 0


class Move(NamedTuple):
    """Moves of one control: `rate` per second, all panels together, `steady` of them from joysticks; lengths as in
    `Poll`."""

    unit: int
    control: str
    rate: float
    request: float
    reply: float
    group: str  # in which its value is polled, "" if it is not polled
    escapes: float = 0
    spare: float = 0
    steady: float = 0.0


class Joystick(NamedTuple):
    """A joystick of `panel`: every `every` ns, up to `jitter` late, a move of each of `moves` (numbers in the case)."""

    panel: str
    moves: tuple[int, ...]
    every: int
    jitter: int


class Case(NamedTuple):
    """One master on one line. Times in ns; `converter` is "" for a master on the line itself.

    `masters`: everybody who asks on this line; `clash`: bus IDs that more than one camera there answers to.
    `faulty`: what makes the asker's own bytes unusable, or "". `arbitrated`: the converter serves one request after the
    other, and all masters of the line ask through it. `at_once`: the converter sends a reply on when it is whole.
    `room`: how many more cameras like the average of these the pair and its bus IDs bear.
    """

    line: str
    master: str
    protocol: BusProtocol
    baud: Fraction
    format: CharFormat
    ppm: float
    lead: int
    hold: int
    converter: str
    packing_idle: int
    packing_length: int
    latency: Spread
    gap: int
    listen: int
    back_off: int
    time_out: int | None
    retries: int
    policy: MasterPolicy
    bit_error_rate: float
    chatter: float
    units: tuple[Unit, ...]
    polls: tuple[Poll, ...]
    moves: tuple[Move, ...]
    masters: tuple[str, ...]
    clash: tuple[int, ...]
    faulty: str
    arbitrated: bool = False
    at_once: bool = False
    room: int = 0
    joysticks: tuple[Joystick, ...] = ()


def cases(plan: Plan | Installation) -> list[Case]:
    """Every master on each of its lines, line by line. Raises Findings as `resolve` does."""
    return usable_cases(resolve(plan))


def usable_cases(site: Installation) -> list[Case]:
    """The same for the lines of an installation on which nothing is unresolved."""
    moved = _moved(site)
    return [case for line in site.lines if line.usable for case in _line_cases(line, moved)]


class _Moved(NamedTuple):
    """What panels move, by master and camera: moves per second of each control, and of them those of joysticks.
    `joysticks`: those of each master, with their panel's name."""

    rates: Mapping[tuple[str, str], Mapping[str, float]]
    steady: Mapping[tuple[str, str], Mapping[str, float]]
    joysticks: Mapping[str, Sequence[tuple[str, ResolvedJoystick]]]


def _moved(site: Installation) -> _Moved:
    """What all panels of each master move."""
    rates: dict[tuple[str, str], dict[str, float]] = {}
    steady: dict[tuple[str, str], dict[str, float]] = {}
    joysticks: dict[str, list[tuple[str, ResolvedJoystick]]] = {}
    for panel in site.panels:
        master = panel.panel.master
        for command in panel.commands:
            _add(rates, master, command)
        for stick in panel.joysticks:
            joysticks.setdefault(master, []).append((panel.panel.name, stick))
            for command in stick.commands:
                _add(rates, master, command)
                _add(steady, master, command)
    return _Moved(rates, steady, joysticks)


def _add(rates: dict[tuple[str, str], dict[str, float]], master: str, command: Command) -> None:
    own = rates.setdefault((master, command.camera.name), {})
    own[command.control] = own.get(command.control, 0) + command.rate


def _line_cases(line: ResolvedLine, moved: _Moved) -> Iterator[Case]:
    """Every master on one line."""
    answers = [one.camera.bus_id for one in line.cameras if one.camera.present]
    masters = tuple(asker.master.name for asker in line.askers)
    boxes = {asker.converter_field for asker in line.askers}
    for asker in line.askers:
        case = _case(line, asker, masters, answers, moved)
        converter = asker.converter
        ordered = converter is not None and converter.clients.sharing == "arbitrated" and len(boxes) == 1
        ended = converter is not None and _ends(case, converter.packing_delimiter)
        yield case._replace(arbitrated=ordered, at_once=ordered or ended, room=_room(line))


def _room(line: ResolvedLine) -> int:
    """Number of further cameras by unit loads (TIA/EIA-485-A via TI SLLA272: 32) and by addresses of the protocol."""
    loads = [one.unit_load for one in line.cameras]
    others = sum(
        1.0 if not isinstance(one.at, ResolvedConverter) else one.at.converter.unit_load
        for one in line.stations
        if one.at is not None and not isinstance(one.at, ResolvedCamera)
    )
    first, last = line.speaks.addresses
    ids = last - first + 1 - len(loads)
    if not loads:
        return max(0, ids)
    left = MOST_UNIT_LOADS - sum(loads) - others
    return max(0, min(ids, int(left / (sum(loads) / len(loads)) + 1e-9)))


def _ends(case: Case, delimiter: bytes) -> bool:
    """True if replies end with the delimiter of the converter's packing."""
    if not delimiter or not case.units:
        return False
    reply = Reply(case.units[0].bus_id, READ, 0, (0,))
    return case.protocol.encode_reply(reply).endswith(delimiter)


def _case(line: ResolvedLine, asker: Asker, masters: tuple[str, ...], answers: list[int], moved: _Moved) -> Case:
    plan, master, converter = line.line, asker.master, asker.converter
    protocol, port = line.speaks, asker.port
    units = tuple(_unit(one, asker, plan.velocity) for one in asker.cameras)
    talks = _talks(asker, moved.rates)
    moves = tuple(_moves(asker, talks, moved))
    return Case(
        line=plan.name,
        master=master.name,
        protocol=protocol,
        baud=port.baud,
        format=port.format,
        ppm=port.driver.clock_ppm,
        lead=port.driver.lead,
        hold=port.driver.hold,
        converter="" if converter is None else converter.name,
        packing_idle=asker.packing,
        packing_length=0 if converter is None else converter.packing_length,
        latency=asker.latency,
        gap=master.gap,
        listen=asker.listen,
        back_off=master.back_off if asker.listen else 0,
        time_out=master.time_out,
        retries=master.retries,
        policy=asker.policy,
        bit_error_rate=plan.bit_error_rate,
        chatter=0.0 if plan.biased else plan.chatter,
        units=units,
        polls=tuple(_polls(asker, talks)),
        moves=moves,
        masters=masters,
        clash=tuple(unit.bus_id for unit in units if answers.count(unit.bus_id) > 1),
        faulty=_faulty(asker),
        joysticks=tuple(_joysticks(asker, moves, moved)),
    )


def _unit(one: ResolvedCamera, asker: Asker, velocity: float) -> Unit:
    camera = one.camera
    return Unit(
        camera.name,
        camera.bus_id,
        camera.turnaround,
        propagation_ns(abs(one.metres - asker.metres), velocity),
        camera.driver.lead,
        camera.driver.hold,
        one.port.baud,
        camera.driver.clock_ppm,
        _trouble(one, asker.port),
        one.speaks.writable_runs,
        () if one.known is None else one.known.bus.bauds,
    )


def _talks(asker: Asker, site_rates: Mapping[tuple[str, str], Mapping[str, float]]) -> list[Talk]:
    """What gives the lengths of requests and replies, of each camera. Whoever moves a control spreads its values."""
    talks: dict[tuple[int, frozenset[str]], Talk] = {}
    found = []
    for one in asker.cameras:
        spoken = one.speaks
        words = (word for (_, camera), rates in site_rates.items() if camera == one.name for word in rates)
        moved = frozenset(spoken.called(word) for word in words)
        found.append(talks.setdefault((id(spoken), moved), Talk(spoken, moved)))
    return found


def _polls(asker: Asker, talks: Sequence[Talk]) -> Iterator[Poll]:
    for poll in asker.polls:
        run = poll.run
        asked, answered, more, less = talks[poll.number].poll(poll.camera.camera, poll.request)
        yield Poll(
            poll.number, run.group, run.work, run.value, run.size, run.hole, asked, answered, run.every, more, less
        )


def _moves(asker: Asker, talks: Sequence[Talk], moved: _Moved) -> Iterator[Move]:
    polled = {value: group.name for group in reversed(asker.master.groups) for value in group.values}
    known: dict[int, dict[str, str]] = {}  # in which group each parameter is read, by model
    for number, one in enumerate(asker.cameras):
        spoken = one.speaks
        read = known.get(id(spoken))
        if read is None:
            read = known[id(spoken)] = {spoken.called(value): group for value, group in polled.items()}
        key = asker.master.name, one.name
        steady = moved.steady.get(key, {})
        for word, rate in moved.rates.get(key, {}).items():
            request = spoken.command(one.camera.bus_id, word, WRITE, 0)
            asked, answered, more, less = talks[number].move(request)
            control = spoken.called(word)
            yield Move(number, control, rate, asked, answered, read.get(control, ""), more, less, steady.get(word, 0.0))


def _joysticks(asker: Asker, moves: Sequence[Move], moved: _Moved) -> Iterator[Joystick]:
    """Those that steer a camera of this line."""
    names = [one.name for one in asker.cameras]
    known = {(names[move.unit], move.control): number for number, move in enumerate(moves)}
    for panel, stick in moved.joysticks.get(asker.master.name, ()):
        keys = [(one.camera.name, one.camera.speaks.called(one.control)) for one in stick.commands]
        if keys and all(key in known for key in keys):
            yield Joystick(panel, tuple(known[key] for key in keys), stick.every, stick.joystick.jitter)


def _trouble(one: ResolvedCamera, asker: Port) -> str:
    """The reason why a camera never answers, or ""."""
    camera, own = one.camera, one.port
    if not camera.present:
        return "it is not there"
    if own.baud is not asker.baud and abs(own.baud / asker.baud - 1) > _CLOCKS:
        return f"it is set to {float(own.baud):.10g} Bd and asked at {float(asker.baud):.10g}"
    if own.format != asker.format:
        return f"it is set to {own.format} and asked in {asker.format}"
    if camera.driver.swapped != asker.driver.swapped:
        return "its pair is swapped"
    if camera.driver.lead < 0 or camera.driver.hold < 0:
        return "its driver comes late or lets go early, so that its characters are cut"
    return ""


def _faulty(asker: Asker) -> str:
    """The reason why the asker's bytes cannot be used, or ""."""
    if asker.driver.lead < 0 or asker.driver.hold < 0:
        kind, name = ("master", asker.master.name) if asker.box is None else ("converter", asker.box.name)
        return f"the driver of {kind} {name!r} comes late or lets go early, so that its characters are cut"
    return ""
