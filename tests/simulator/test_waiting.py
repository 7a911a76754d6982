"""The wait of a command at a master, and the age of a polled value: simulation against queueing theory.

busim's own master on an emulated line. One command is a write of one register, S = 16 characters and twice t3.5;
one poll is a read of 13 registers, V = 39 characters and twice t3.5. With t3.5 worth 3.5 characters (19200 Bd and
below, 11-bit characters) V is exactly 2 S. Waiting is from the instant a command is asked for to its first bit.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from small_plans import wall

from busim.foundation.units import CharFormat
from busim.installation import MasterPolicy
from busim.protocols import READ, WRITE, Request, find
from busim.recording.figures import Fold
from busim.recording.trace import EXCHANGE, Record
from busim.runtime.session import Run
from busim.simulator.bus import Setting, setting
from busim.simulator.kernel import Chance
from busim.simulator.masters import COMMAND, OK, POLL, Attempt, Master, Target, Task
from busim.simulator.world import World, build

PORT: Setting = setting(Fraction(9600), CharFormat.parse("8E1"))
RTU = find("modbus-rtu")
T35 = RTU.silence(9600)
S = 16 * PORT.char + 2 * T35
V = 39 * PORT.char + 2 * T35


class Desk:
    """One camera and a master to which commands come as a Poisson process. Waits in ns are in `waits`."""

    def __init__(self, rate: float, commands: int, polls: list[Request], **more: int) -> None:
        self.waits: list[int] = []
        self.outcomes: set[str] = set()
        self._target = Target("c1", 1)
        self._gaps = Chance(1).stream("commands")
        self._mean = 1e9 / rate
        self._left = commands
        self.world: World = build(wall(baud="9600 Bd", master="starts_at: 3600 s"), 1, lambda _: None)
        self._port = self.world.masters["desk", "wall"]
        tasks = [Task(self._target, POLL, "all", request, RTU.encode_request(request), 10**9) for request in polls]
        self._port.master = Master(RTU.stream_framer(), tasks, self._done, gap=T35, drain=T35, char=0, **more)
        self.world.start()
        self.world.kernel.at(self._gaps.exponential(self._mean), self._ask)

    def run(self) -> float:
        """Mean wait of the commands, ns."""
        while self._left:
            self.world.kernel.advance(self.world.kernel.now + 10**12)
        assert self.outcomes == {OK}
        return float(np.mean(self.waits))

    def _ask(self, _: object) -> None:
        request = Request(1, WRITE, 0, 1, (500,))
        task = Task(self._target, COMMAND, "iris", request, RTU.encode_request(request), 10**9)
        self._port.command(task, absolute=False)
        self._left -= 1
        if self._left:
            self.world.kernel.at(self.world.kernel.now + self._gaps.exponential(self._mean), self._ask)

    def _done(self, attempt: Attempt) -> None:
        self.outcomes.add(attempt.outcome)
        if attempt.task.kind == COMMAND:
            self.waits.append(attempt.sent - attempt.asked)


ALL = Request(1, READ, 0, 13)


def test_a_poll_of_13_registers_is_exactly_two_commands_long() -> None:
    """Derived: 39 + 7 = 46 characters are twice 16 + 7 = 23; to the rounding of the two silences."""
    assert abs(V - 2 * S) <= 10
    assert abs(S - 23 * 11 * 1e9 / 9600) <= 10


def _wait_without_polls(load: float, commands: int) -> None:
    """M/D/1: rho / (2 (1 - rho)) service times, half of one at rho 0.5, two at 0.8 (lambda 8, S 0.1: 0.2 s).

    Pollaczek-Khinchine, any queueing text; simulated to 3 %.
    """
    expected = load / (2 * (1 - load))
    assert expected == pytest.approx({0.5: 0.5, 0.8: 2.0}[load], rel=1e-9)
    assert Desk(load * 1e9 / S, commands, []).run() / S == pytest.approx(expected, rel=0.03)


def test_commands_to_a_master_without_polls_wait_as_in_m_d_1() -> None:
    _wait_without_polls(0.5, 50_000)


@pytest.mark.long
@pytest.mark.timeout(600)
@pytest.mark.parametrize("load", [0.5, 0.8])
def test_many_commands_to_a_master_without_polls_wait_as_in_m_d_1(load: float) -> None:
    _wait_without_polls(load, 400_000)


def _wait_among_polls(load: float, commands: int, **more: int) -> float:
    """Mean wait over what M/G/1 with vacations says: lambda E[S^2] / (2 (1 - rho)) + E[V^2] / (2 E[V]).

    At lambda S = 0.5 and V = 2 S that is 1.5 S, and V / 2 as lambda goes to 0. Doshi 1986; Bertsekas and Gallager 3.5
    (from memory).
    """
    expected = load / (2 * (1 - load)) * S + V / 2
    if load == 0.5:
        assert expected / S == pytest.approx(1.5, rel=1e-6)
    return Desk(load * 1e9 / S, commands, [ALL], **more).run() / expected


@pytest.mark.parametrize(("load", "commands"), [(0.5, 40_000), (0.1, 20_000), (0.01, 3000)])
def test_commands_into_a_poll_loop_that_never_rests_wait_as_with_vacations(load: float, commands: int) -> None:
    """Simulated to 2 %. The law has pure priority, so polls are not given a turn among commands here."""
    assert _wait_among_polls(load, commands, policy=MasterPolicy(commands_in_a_row=1 << 62)) == pytest.approx(
        1, rel=0.02
    )


def test_the_turn_that_polls_get_costs_commands_nothing_at_light_load_and_is_felt_at_half_load() -> None:
    """Our own choice, four commands before a due poll: no outside value. Under 2 % up to a load of 0.1."""
    assert _wait_among_polls(0.1, 20_000) == pytest.approx(1, rel=0.02)
    assert _wait_among_polls(0.5, 20_000) > 1.5


# -- age -----------------------------------------------------------------------------------------------------


def test_the_age_of_a_value_polled_at_a_drawn_pace_is_that_of_its_cycle() -> None:
    """Mean over time E[C^2] / (2 E[C]) + D: Kaul, Yates, Gruteser, INFOCOM 2012 (from memory); simulated to 2 %.

    A turnaround of 0 to 60 ms makes the cycle C random; D, from the reading to the whole reply, holds this turnaround
    but the next cycle does not, so its mean counts.
    """
    records: list[Record] = []
    world = build(wall(turnaround="0..60 ms"), 1, records.append)
    world.start()
    until = 600 * 10**9
    world.kernel.advance(until)
    fold = Fold()
    for record in records:
        fold.take(record)
    polls = [record for record in records if record[0] == EXCHANGE]
    cycles = np.array([later[10] - former[10] for former, later in pairwise(polls)]) / 1e9
    delivery = np.array([record[10] - record[13] for record in polls]) / 1e9
    assert cycles.std() > 0.2 * cycles.mean()
    expected = float((cycles**2).mean() / (2 * cycles.mean()) + delivery.mean())
    line, camera = polls[0][1], polls[0][3]
    figures = fold.camera(line, camera, until)
    assert figures["age_mean"].value == pytest.approx(expected, rel=0.02)
    assert figures["age_worst"].value == pytest.approx(float((cycles + delivery[:-1]).max()), rel=1e-9)


def test_a_group_that_takes_two_exchanges_is_as_old_as_its_older_half() -> None:
    """Iris and master black are no neighbours: a poll of the group is two exchanges of E = 8 + 7 characters + 2 t3.5.

    A camera at 9600 Bd without turnaround is then polled every C = 2 E, and each value is C / 2 + D old in the mean, D
    being the 7 characters of the reply (Kaul, Yates, Gruteser, INFOCOM 2012, from memory).
    """
    run = Run(wall(baud="9600 Bd", values="[iris, master_black]"), 1)
    run.advance(60 * 10**9)
    run.finish()
    figures = run.report().lines[0].cameras[0].figures
    exchange = 15 * PORT.char + 2 * T35
    assert figures["poll_rate"].value == pytest.approx(1e9 / (2 * exchange), rel=0.01)
    assert figures["age_mean"].value == pytest.approx((exchange + 7 * PORT.char) / 1e9, rel=0.01)
