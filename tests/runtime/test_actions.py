"""Actions: one list for all entrances; each is checked first, then done, recorded and replayed."""

from __future__ import annotations

import asyncio
import os
import sqlite3
from pathlib import Path

import pytest
from fault_halls import S, hall

import busim
from busim.foundation.errors import UserError
from busim.recording.trace import CHANGE, INPUT, MARK, open_trace
from busim.runtime.actions import ACTIONS, help_text, read_line
from busim.runtime.session import Live, Run, Virtual, replay

LINES = [
    ("power off rope-left", "no power"),
    ("power on 'rope left'", "power"),
    ("reboot rope top", "reboot"),
    ("reboot wall_box down=200ms", "reboot"),
    ("unplug rope right", "unplug"),
    ("plug rope right", "plug"),
    ("unplug rope-right cuts", "unplug"),
    ("plug rope right", "plug"),
    ("swap rope left", "swap"),
    ("straight rope left", "straight"),
    ("cut wall line 3", "cut"),
    ("join wall line 3", "join"),
    ("dial rope top 9600 8N1", "dial"),
    ("unit rope top 5 99", "unit"),
    ("fault late-reply on rope-left by=300 ms share=0.5", "fault"),
    ("fault late-reply off", "no fault"),
]


def test_every_action_as_a_line_is_an_input_and_replayed(tmp_path: Path) -> None:
    run = Run(hall(), 1, trace=tmp_path / "a.trace", watched=True)
    for number, (line, _) in enumerate(LINES):
        run.advance((number + 1) * S // 4)
        assert run.do(line)
    run.do("mark doors open")
    run.advance(6 * S)
    run.finish()
    with open_trace(tmp_path / "a.trace") as trace:
        assert [record[4] for record in trace.records(INPUT)] == [what for _, what in LINES]
        assert [record[2] for record in trace.records(MARK)] == ["doors open"]
    assert {line.split()[0] for line, _ in LINES} | {"mark"} == set(ACTIONS)
    assert replay(tmp_path / "a.trace").difference is None


def test_a_run_that_ends_at_the_instant_of_an_action_replays_with_what_follows_from_it(tmp_path: Path) -> None:
    run = Run(hall(), 1, trace=tmp_path / "a.trace", watched=True)
    run.advance(S)
    assert run.do("power off rope-left")
    run.finish()
    assert replay(tmp_path / "a.trace").difference is None


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ("power off rope-lift", "rope left"),
        ("power of rope-left", "on"),
        ("power off", "power on|off CAMERA"),
        ("reboot wall-box down=2h", "1 h"),
        ("reboot rope-left down=2s", "converter"),
        ("cut wall-line 99", "0 to"),
        ("cut wall-line", "cut LINE POSITION"),
        ("dial rope-left 0 8E1", "Bd"),
        ("unit rope-left 300 1", "255"),
        ("fault late-reply rope-left", "fault NAME"),
        ("fault late-reply on", "PLACE"),
        ("fault late-reply on wall-line", "camera"),
        ("fault late-replay on rope-left", "late-reply"),
        ("fault late-reply on rope-left by=99h", "60 s"),
        ("fault late-reply on rope-left bye=1s", "by"),
        ("fault late-reply on rope-left for=0", "24 h"),
        ("fault late-reply off", "faults"),
        ("fault slow-camera on rope-left by=1s", "preset"),
        ('power off "rope left', "quote"),
    ],
)
def test_what_cannot_be_done_is_said_and_nothing_is_done(line: str, word: str) -> None:
    run = Run(hall(), 1, also=(records := []).append)
    before = len(records)
    with pytest.raises(UserError) as caught:
        run.do(line)
    assert word in str(caught.value)
    assert len(records) == before


def test_a_line_that_begins_with_no_action_is_a_mark_and_a_misspelt_action_is_told() -> None:
    run = Run(hall(), 1, also=(records := []).append)
    assert run.do("doors open") == "mark: doors open"
    assert "did you mean `fault`" in run.do("falt late-reply on rope-left")
    assert [record[2] for record in records if record[0] == MARK] == ["doors open", "falt late-reply on rope-left"]


def test_help_lists_every_action_and_faults_what_is_on() -> None:
    run = Run(hall(), 1)
    assert all(action.form in help_text() for action in ACTIONS.values())
    assert run.do("help") == help_text()
    assert run.do("faults") == "no fault has been on"
    run.fault("late-reply", "rope left", by="300 ms")
    run.advance(S)
    assert run.do("faults").startswith("late-reply at rope left: on, took effect ")


def test_an_action_is_only_prepared_until_somebody_does_it() -> None:
    run = Run(hall(), 1, also=(records := []).append)
    prepared = read_line(run.world, "power off rope-left")
    assert not [record for record in records if record[0] == INPUT]
    prepared.do()
    assert [record[4] for record in records if record[0] == INPUT] == ["no power"]


def test_in_virtual_time_a_test_breaks_what_its_controller_talks_to(tmp_path: Path) -> None:
    async def controller(virtual: Virtual) -> None:
        await asyncio.sleep(0.5)
        virtual.fault("late-reply", "rope left", by="300 ms", **{"for": "1 s"})
        await asyncio.sleep(0.25)
        virtual.power("rope top", False)
        await asyncio.sleep(2)

    with Virtual(hall(), 1, trace=tmp_path / "v.trace", play=["controller"]) as virtual:
        virtual.run(controller, virtual)
        (late,) = virtual.faults
    assert late.count > 0
    with open_trace(tmp_path / "v.trace") as trace:
        assert [(record[1], record[4]) for record in trace.records(INPUT)] == [
            (S // 2, "fault"), (3 * S // 4, "no power"),
        ]  # fmt: skip
        assert [record[1] for record in trace.records(CHANGE) if record[4] == "off"] == [3 * S // 2]
    assert replay(tmp_path / "v.trace").difference is None


async def test_in_wall_time_what_is_done_is_recorded_and_replayed(tmp_path: Path) -> None:
    async with Live(hall(), 1, trace=tmp_path / "l.trace", any_port=True, play=["controller"]) as live:
        live.fault("late-reply", "rope left", by="50 ms")
        live.do("power off rope-top")
        with pytest.raises(UserError):
            live.do("power off rope-bottom")
        while live.faults[0].count < 2:
            await asyncio.sleep(0.01)
    assert replay(tmp_path / "l.trace").difference is None


def test_blocking_programs_break_their_world_too() -> None:
    with busim.serial_world(hall(), seed=1) as world:
        world.fault("late-reply", "rope left", by="300 ms")
        assert world.do("reboot rope-right") == "reboots: rope right"


def test_an_input_of_another_kind_in_a_trace_is_refused(tmp_path: Path) -> None:
    run = Run(hall(), 1, trace=tmp_path / "a.trace", watched=True)
    run.advance(S)
    run.fault("late-reply", "rope left")
    run.finish()
    os.chmod(tmp_path / "a.trace", 0o600)
    with sqlite3.connect(tmp_path / "a.trace") as database:
        database.execute("update input set data = ?", (b'{"fault": ["late"]}',))
    with pytest.raises(UserError):
        replay(tmp_path / "a.trace")
