"""A tool at a converter: the bytes that a laptop hears, apart from facts that only the emulator knows; replayed."""

from __future__ import annotations

from pathlib import Path

import pytest
from places import SCENARIOS
from small_plans import sealed

from busim.foundation.errors import UserError
from busim.plan import Plan, read, read_text
from busim.protocols import READ, Request
from busim.recording.trace import EXCHANGE, INPUT, Record, open_trace
from busim.runtime.session import Run, replay
from busim.simulator.world import Tool, World, build

FRESH = SCENARIOS / "factory-fresh" / "plan.yaml"
MS = 1_000_000
SERIAL, IRIS = 101, 0
NAMES = ["first out of the box", "second out of the box", "third out of the box", "fourth out of the box"]


def fresh(records: list[Record] | None = None) -> World:
    world = build(read(FRESH), 1, (lambda _: None) if records is None else records.append, played=(), watched=True)
    world.start()
    return world


def alone() -> tuple[World, Tool]:
    world = fresh()
    for name in NAMES[1:]:
        world.wiring.unplug(name)
    return world, Tool(world, "new chain")


def test_one_camera_answers_with_one_sound_reply_and_nothing_else() -> None:
    _, tool = alone()
    heard = tool.ask(Request(1, READ, SERIAL, 1), 100 * MS)
    assert heard.sent == sealed("01 03 00 65 00 01")
    assert [one.data for one in heard.replies] == [sealed("01 03 02 10 CD")]
    assert heard.reply is not None
    assert heard.reply.values == (4301,)
    assert (heard.rest, heard.beneath.who, heard.beneath.flawed) == (b"", (NAMES[0],), 0)
    assert heard.length == 100 * MS


def test_who_does_not_linger_is_done_with_the_first_reply() -> None:
    _, tool = alone()
    heard = tool.ask(Request(1, READ, SERIAL, 1), 100 * MS, linger=0)
    wire = 15 * 11 / 38400 * 1e9  # 8 characters there, 7 back, of 11 bits; then packing, latency and turnaround
    assert wire + (4 + 1 + 1 + 3) * MS < heard.length == heard.replies[0].at - heard.since < 30 * MS


def test_four_with_one_id_run_into_each_other_and_only_the_emulator_knows_who_they_are() -> None:
    tool = Tool(fresh(), "new chain")
    heard = tool.ask(Request(1, READ, SERIAL, 1), 100 * MS)
    assert heard.replies == ()
    assert heard.rest
    assert sorted(heard.beneath.who) == sorted(NAMES)
    assert heard.beneath.together
    assert heard.beneath.flawed


def test_two_replies_after_each_other_are_two_sound_replies() -> None:
    """The second camera answers long after the first: nothing collides, and the first reply alone misleads."""
    text = FRESH.read_text().replace("turnaround: 3.2..5.2 ms", "turnaround: 30 ms")
    world = build(read_text(text), 1, lambda _: None, played=())
    world.start()
    for name in NAMES[2:]:
        world.wiring.unplug(name)
    heard = Tool(world, "new chain").ask(Request(1, READ, SERIAL, 1), 100 * MS)
    assert [one.reply.values for one in heard.replies] == [(4301,), (4302,)]
    assert (heard.rest, heard.beneath.together) == (b"", False)


def test_an_id_that_nobody_has_is_silence() -> None:
    _, tool = alone()
    heard = tool.ask(Request(9, READ, IRIS, 1), 50 * MS)
    assert heard.silent
    assert heard.beneath.drove == ()


def test_a_listening_tool_hears_the_requests_of_a_master_on_the_line() -> None:
    text = FRESH.read_text().replace("    through: [new box]\n", "").replace(
        "      - converter: new box\n", "      - converter: new box\n      - {master: controller, after: 1 m}\n"
    ).replace("name: controller\n", "name: controller\n    on: [new chain]\n")  # fmt: skip
    world = build(read_text(text), 1, lambda _: None)
    world.start()
    heard = Tool(world, "new chain").listen(500 * MS)
    assert heard.sent == b""
    assert Request(1, READ, SERIAL, 1) in [request._replace(form=0) for request in heard.requests]
    assert "controller" in heard.beneath.who


def test_its_exchanges_are_in_the_trace_and_replay_asks_them_again(tmp_path: Path) -> None:
    path = tmp_path / "tool.busim"
    run = Run(read(FRESH), 3, trace=path, played=(), watched=True)
    tool = Tool(run.world, "new chain")
    for id in range(1, 4):
        tool.ask(Request(id, READ, SERIAL, 1), 50 * MS)
    tool.close()
    run.finish()
    with open_trace(path) as trace:
        assert [record[4] for record in trace.records(INPUT)] == ["open", "bytes", "bytes", "bytes", "close"]
        assert sum(1 for _ in trace.records(EXCHANGE)) >= 2
    assert replay(path).difference is None


def test_a_line_without_a_converter_has_no_place_for_a_tool() -> None:
    plan: Plan = read(SCENARIOS / "two-masters" / "plan.yaml")
    world = build(plan, 1, lambda _: None)
    with pytest.raises(UserError, match="no such line"):
        Tool(world, "nowhere")


def test_a_full_converter_lets_no_tool_in() -> None:
    text = FRESH.read_text().replace("clients: 4", "clients: 1")
    world = build(read_text(text), 1, lambda _: None)
    world.start()
    with pytest.raises(UserError, match="admits no further client"):
        Tool(world, "new chain")
