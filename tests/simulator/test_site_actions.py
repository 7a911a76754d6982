"""Site actions besides wiring: power, switches on a camera, another unit in its place; also on replay."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from places import SCENARIOS

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.plan import read
from busim.protocols import READ, Request
from busim.recording.trace import INPUT, open_trace
from busim.runtime.session import Run, replay
from busim.simulator.world import Heard, Tool

FRESH = SCENARIOS / "factory-fresh" / "plan.yaml"
MS, S = 10**6, 10**9
FIRST = "first out of the box"


class Bench:
    """The first camera alone on its line, with a tool at the converter."""

    def __init__(self, trace: Path | None = None) -> None:
        self.run = Run(read(FRESH), 1, trace=trace, played=(), watched=True)
        self.wiring = self.run.world.wiring
        for name in list(self.run.world.cameras)[1:]:
            self.wiring.unplug(name)
        self.tool = Tool(self.run.world, "new chain")

    def serial(self, id: int = 1) -> Heard:
        return self.tool.ask(Request(id, READ, 101, 1), 60 * MS)


def values(heard: Heard) -> tuple[int, ...]:
    return heard.reply.values if heard.reply else ()


def test_a_camera_whose_power_is_taken_is_silent_until_it_has_it_again_and_has_booted() -> None:
    bench = Bench()
    bench.wiring.power(FIRST, False)
    assert bench.serial().silent
    bench.wiring.power(FIRST, True)
    assert bench.serial().silent
    bench.tool.wait(bench.tool.now + 6 * S)  # its model boots for 6 s
    assert values(bench.serial()) == (4301,)


def test_another_unit_in_its_place_is_itself_once_it_has_power() -> None:
    bench = Bench()
    bench.wiring.fit(FIRST, 7, 4399)
    assert bench.serial(7).silent
    bench.wiring.power(FIRST, True)
    bench.tool.wait(bench.tool.now + 7 * S)
    assert values(bench.serial(7)) == (4399,)
    assert bench.serial(1).silent


@pytest.mark.parametrize(("baud", "format"), [("19200", "8E1"), ("38400", "8O1")])
def test_a_camera_dialled_otherwise_answers_nobody(baud: str, format: str) -> None:
    bench = Bench()
    bench.wiring.dial(FIRST, Fraction(baud), CharFormat.parse(format))
    assert bench.serial().replies == ()
    bench.wiring.dial(FIRST, Fraction(38400), CharFormat.parse("8E1"))
    assert values(bench.serial()) == (4301,)


def test_what_hands_do_is_in_the_trace_and_done_again(tmp_path: Path) -> None:
    path = tmp_path / "hands.busim"
    bench = Bench(path)
    bench.wiring.fit(FIRST, 7, 4399)
    bench.wiring.power(FIRST, True)
    bench.tool.wait(7 * S)
    bench.wiring.dial(FIRST, Fraction(9600), CharFormat.parse("8E1"))
    bench.serial(7)
    bench.wiring.power(FIRST, False)
    bench.serial(7)
    bench.run.finish()
    with open_trace(path) as trace:
        whats = [record[4] for record in trace.records(INPUT)]
    assert [what for what in whats if what not in ("unplug", "open", "bytes")] == ["unit", "power", "dial", "no power"]
    assert replay(path).difference is None


@pytest.mark.parametrize(("what", "data"), [("dial", b"fast"), ("dial", b"9600 8X1"), ("unit", b"one"), ("unit", b"")])
def test_a_deed_that_cannot_be_read_is_the_users_error(what: str, data: bytes) -> None:
    bench = Bench()
    number = bench.run.world.cameras[FIRST].number
    with pytest.raises(UserError):
        bench.wiring.again(number, what, data)
