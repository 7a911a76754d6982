"""Intents and beliefs: operators' moves reach a controller, and its beliefs are compared with the cameras."""

from __future__ import annotations

import asyncio
import contextlib
import doctest
import json
from pathlib import Path

import pytest
import serial
from hypothesis import given, settings
from hypothesis import strategies as st
from places import TOP
from serving import read_frame, write_frame
from virtual_halls import BOX, MS, hall

import busim.runtime.session.hooked
from busim.foundation.errors import UserError
from busim.plan import Plan, read_text
from busim.protocols.hook import LONGEST, Belief, Intent, Lines, intent_line, read_belief
from busim.recording.figures import HOOK, QUANTITIES
from busim.recording.trace import BELIEF, CHANGE, INTENT, open_trace
from busim.runtime.session import Live, Report, Run, SerialWorld, Virtual, replay, serial_world

KNOWN = {"wall low": frozenset(("iris", "gain", "temperature")), "wall high": frozenset(("iris",))}
IRIS = 0  # its register in the zoom-camera model


def line(**keys: object) -> bytes:
    return json.dumps({"v": 1, **keys}).encode()


# -- the form of a line ---------------------------------------------------------------------------------------


def test_an_intent_is_one_line_of_json_with_version_camera_parameter_value_and_time() -> None:
    written = intent_line(Intent(12_500_000, "wall low", "iris", 321, "desk"))
    assert written.endswith(b"}\n")
    assert written.count(b"\n") == 1
    assert json.loads(written) == {
        "v": 1, "intent": "set", "at": 12_500_000, "camera": "wall low", "parameter": "iris", "value": 321,
        "panel": "desk",
    }  # fmt: skip
    assert "panel" not in json.loads(intent_line(Intent(0, "wall low", "iris", 1)))


@pytest.mark.parametrize(
    ("keys", "belief"),
    [
        ({"belief": "value", "camera": "wall low", "parameter": "iris", "value": 7}, ("value", "wall low", "iris", 7)),
        ({"belief": "online", "camera": "wall low"}, ("online", "wall low")),
        ({"belief": "offline", "camera": "wall high", "since": 3}, ("offline", "wall high")),
        ({"belief": "diagnosis", "text": "noise"}, ("diagnosis", "", "", 0, "noise")),
        ({"belief": "diagnosis", "camera": "wall low", "text": "a\x1b[2Jb"},
         ("diagnosis", "wall low", "", 0, "a?[2Jb")),
    ],
)  # fmt: skip
def test_a_belief_is_read_and_keys_it_does_not_have_are_passed_over(keys: dict[str, object], belief: tuple) -> None:
    assert read_belief(line(**keys), KNOWN) == Belief(*belief)


GOOD = {"v": 1, "belief": "value", "camera": "wall low", "parameter": "iris", "value": 7}


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"v": 2}, "version"), ({"v": "1"}, "version"), ({"v": True}, "version"), ({"v": None}, "version"),
        ({"belief": "fact"}, "no such belief"), ({"belief": ["value"]}, "no such belief"),
        ({"camera": "wall lo"}, "no camera of this name"), ({"camera": 1}, "no camera"), ({"camera": ""}, "no camera"),
        ({"parameter": "irsi"}, "no such parameter"), ({"parameter": {}}, "no parameter"),
        ({"value": "7"}, "no value"), ({"value": 7.0}, "no value"), ({"value": True}, "no value"),
        ({"value": None}, "no value"), ({"value": 2**64}, "a value out of range"),
        ({"belief": "diagnosis"}, "no text"), ({"belief": "diagnosis", "text": 5}, "no text"),
    ],
)  # fmt: skip
def test_a_belief_wrongly_formed_says_what_is_wrong_and_how_to_mend_it(change: dict[str, object], what: str) -> None:
    with pytest.raises(UserError, match=what) as caught:
        read_belief(json.dumps(GOOD | change).encode(), KNOWN)
    assert caught.value.mend
    assert caught.value.expected


@pytest.mark.parametrize(
    "junk",
    [b"", b"ok", b"[1]", b"null", b"\xff\xfe", b"[" * 4000, b'{"v":' + b"9" * 4000 + b"}", b'{"v":NaN}', b'{"v":1'],
)
def test_what_is_no_object_is_told_as_such(junk: bytes) -> None:
    with pytest.raises(UserError):
        read_belief(junk, KNOWN)


SCALARS = st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8), st.sampled_from(
    ("wall low", "iris", "value", "online", "offline", "diagnosis")))  # fmt: skip
NEARLY = st.dictionaries(st.sampled_from(("v", "belief", "camera", "parameter", "value", "text")), SCALARS).map(
    lambda changes: json.dumps(GOOD | changes).encode()
)


@settings(max_examples=300, deadline=None)
@given(st.one_of(NEARLY, st.binary(max_size=60), st.text(max_size=40).map(str.encode)))
def test_whatever_comes_is_a_belief_or_the_user_s_error(data: bytes) -> None:
    try:
        belief = read_belief(data, KNOWN)
    except UserError as error:
        belief, said = None, str(error)
    if belief is None:
        assert said.isprintable()  # it goes to a terminal
    else:
        assert belief.camera in KNOWN or belief.kind == "diagnosis"
        assert belief.text.isprintable()


@settings(max_examples=200, deadline=None)
@given(st.lists(st.text("ab {}", min_size=1, max_size=6).map(str.strip).filter(bool), max_size=6), st.data())
def test_lines_are_the_same_however_they_are_cut(texts: list[str], data: st.DataObject) -> None:
    stream = "".join(text + data.draw(st.sampled_from(("\n", "\r\n", "\n\n"))) for text in texts).encode()
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=4)))
    lines = Lines()
    found = []
    for start, end in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        found += lines.feed(stream[start:end])
    assert found == [text.encode() for text in texts]
    assert list(lines.close()) == []


def test_a_line_without_end_is_told_once_and_takes_no_memory() -> None:
    lines = Lines()
    told = [each for _ in range(1000) for each in lines.feed(b"x" * 1000)]
    assert told == [None]
    assert len(lines._held) == 0
    assert list(lines.feed(b"y\nwhole\n")) == [b"whole"]
    assert list(lines.feed(b"z" * LONGEST + b"\n")) == [b"z" * LONGEST]
    assert list(lines.feed(b"half")) + list(lines.close()) == [b"half"]


# -- in process -----------------------------------------------------------------------------------------------

PANEL = """
masters:
  - {name: controller, through: [wall box]}
panels:
  - {name: desk, master: controller, cameras: [wall low, wall high], controls: [iris, gain], moves: 20 /s}
"""


def with_panel() -> Plan:
    return read_text(hall().source + PANEL)


async def obedient(session: Virtual | Live, count: int, address: tuple[str, int] = BOX) -> None:
    """Sends each iris move at once, and reports it when it is acknowledged."""
    reader, writer = await asyncio.open_connection(*address)
    done = 0
    async for intent in session.intents():
        if intent.parameter == "iris":
            id = 1 if intent.camera == "wall low" else 2
            writer.write(write_frame(id, IRIS, intent.value))
            reply = await asyncio.wait_for(reader.readexactly(8), 1)
            assert reply == write_frame(id, IRIS, intent.value)
            session.believe(intent.camera, "iris", intent.value)
            await asyncio.sleep(0.005)
            done += 1
            if done == count:
                writer.close()
                return


def of_line(report: Report) -> dict[str, float | None]:
    return {name: report.lines[0].figures[name].value for name in HOOK}


def test_moves_of_the_plan_s_panels_reach_an_asyncio_controller_and_its_beliefs_come_back(tmp_path: Path) -> None:
    trace = tmp_path / "hook.busim"
    with Virtual(with_panel(), 3, trace=trace, intents=True) as session:
        session.run(obedient, session, 10)
    figures = of_line(session.report())
    with open_trace(trace) as made:
        intents = list(made.records(INTENT))
        changes = [record for record in made.records(CHANGE) if record[3] == "iris"]
        beliefs = list(made.records(BELIEF))
    moves = [record for record in intents if record[4] == "iris" and record[5] != record[7]]
    assert {record[6] for record in intents} == {"desk"}
    assert figures["intents"] == len(intents)
    assert figures["beliefs"] == len(beliefs) == 10
    assert figures["belief_share"] == 1
    assert figures["behind_max"] == 0
    took = [change[1] - move[3] for move, change in zip(moves, changes, strict=False)]
    assert len(changes) == 10
    assert figures["intent_max"] == max(took) / 1e9
    camera = {one.name: one.figures["intents"].value for one in session.report().lines[0].cameras}
    assert camera["wall mats"] == 0
    assert camera["wall low"] + camera["wall high"] == len(intents)


def test_moves_made_before_anybody_listened_reach_the_first_who_does() -> None:
    async def controller(session: Virtual) -> tuple[list[int], list[int]]:
        await asyncio.sleep(2)
        first, second = session.intents(), session.intents()
        return [(await anext(first)).at for _ in range(200)], [(await anext(second)).at for _ in range(3)]

    with Virtual(with_panel(), 3, intents=True) as session:
        first, second = session.run(controller, session)
    assert first[0] < 1_000_000_000 < 2_000_000_000 < first[-1]
    assert first == sorted(first)
    assert second[0] > 2_000_000_000


def test_a_session_with_a_hook_replays_to_the_identical_trace_and_figures(tmp_path: Path) -> None:
    trace = tmp_path / "hook.busim"

    async def controller(session: Virtual) -> None:
        session.intend("wall mats", "gain", 3)
        await obedient(session, 6)
        session.believe_offline("wall mats")
        session.diagnose("nobody there", "wall mats")
        session.hear(b"{junk")
        session.intend("wall mats", "gain", 4)

    with Virtual(with_panel(), 5, trace=trace, intents=True) as session:
        session.run(controller, session)
    played = replay(trace)
    assert played.difference is None
    assert of_line(played.report) == of_line(session.report())
    assert played.report.wrong == session.report().wrong
    assert len(played.report.wrong) == 1
    with open_trace(trace) as made:
        kinds = [record[4] for record in made.records(BELIEF)]
    assert kinds == ["value"] * 6 + ["offline", "diagnosis", "wrong"]


def test_intents_of_a_test_reach_a_pyserial_program_and_staleness_is_counted_from_the_change() -> None:
    with serial_world(hall(), 1, intents=True) as world:
        port = serial.serial_for_url(world.url("wall box"), timeout=0.5)
        world.intend("wall low", "iris", 321)
        (intent,) = world.intents()
        assert (intent.camera, intent.parameter, intent.value, intent.panel) == ("wall low", "iris", 321, "")
        assert world.intents() == []
        port.write(write_frame(1, IRIS, 321))
        assert port.read(8) == write_frame(1, IRIS, 321)
        changed = world.now
        world.believe("wall low", "iris", 321)
        port.write(write_frame(1, IRIS, 322))
        port.read(8)
        world.clock.sleep(0.25)
        world.believe("wall low", "iris", 321)
        world.believe("wall low", "iris", 999)  # never had
        world.believe("wall low", "temperature", 1)  # a reading: not judged
        port.close()
    figures = of_line(world.report())
    assert figures["intents_left"] == 0
    assert figures["beliefs"] == 3
    assert figures["belief_share"] == pytest.approx(1 / 3)
    assert figures["behind_max"] is not None
    assert 0.25 < figures["behind_max"] < 0.25 + (world.now - changed) / 1e9 - 0.2


def test_a_later_move_of_the_same_control_replaces_the_one_before() -> None:
    with serial_world(hall(), 1, intents=True) as world:
        for value in (5, 6, 7):
            world.intend("wall high", "iris", value)
        world.intend("wall high", "gain", 1)
    figures = of_line(world.report())
    assert (figures["intents"], figures["intents_left"]) == (4, 2)
    assert figures["intent_p95"] is None


def test_without_a_hook_its_figures_are_not_applicable_and_say_so() -> None:
    run = Run(with_panel(), 1)
    run.advance(MS)
    run.finish()
    for name in HOOK:
        value = run.report().lines[0].figures[name]
        assert (value.value, value.why) == (None, "no hook")
        assert name in QUANTITIES
    with serial_world(hall(), 1) as world, pytest.raises(UserError, match="no hook"):
        world.intend("wall low", "iris", 1)
    with serial_world(hall(), 1) as world, pytest.raises(UserError, match="no hook"):
        world.intents()
    with Virtual(hall()) as session, pytest.raises(UserError, match="intents=True"):
        session.intents()


def test_what_needs_a_hook_is_inconclusive_without_one() -> None:
    plan = read_text(hall().source + "expect:\n  - {figure: intent_p95, at_most: 100 ms}\n")
    run = Run(plan, 1)
    run.finish()
    (verdict,) = run.report().verdicts
    assert verdict.sentence() == "inconclusive: no hook: intent p95 of wall line; expected at most 100 ms"


def test_a_played_master_takes_its_panel_s_moves_itself(tmp_path: Path) -> None:
    trace = tmp_path / "played.busim"
    run = Run(with_panel(), 1, trace=trace, hooked=True)
    run.advance(10**9)
    run.finish()
    with open_trace(trace) as made:
        assert list(made.records(INTENT)) == []
        assert any(True for _ in made.records(CHANGE))


@pytest.mark.parametrize("name", ["wall lo", ""])
def test_calls_with_a_name_that_is_not_there_raise_and_leave_nothing(name: str) -> None:
    def tell(world: SerialWorld) -> None:
        for call in (
            lambda: world.intend(name, "iris", 1),
            lambda: world.believe(name, "iris", 1),
            lambda: world.believe("wall low", "irs", 1),
            lambda: world.believe("wall low", "iris", 1.5),  # type: ignore[arg-type]
            lambda: world.believe_online(name),
            lambda: world.believe_offline(name),
            lambda: world.diagnose("noise", "wall lo"),
        ):
            with pytest.raises(UserError):
                call()

    with serial_world(hall(), 1, intents=True) as world:
        tell(world)
    assert of_line(world.report())["beliefs"] == 0


@settings(max_examples=40, deadline=None)
@given(st.lists(st.one_of(NEARLY, st.binary(max_size=40), st.none()), max_size=12))
def test_lines_wrongly_formed_are_findings_of_the_session_and_replay(
    tmp_path_factory: pytest.TempPathFactory, heard: list[bytes | None]
) -> None:
    trace = tmp_path_factory.mktemp("heard") / "heard.busim"
    with serial_world(hall(), 1, trace=trace, intents=True) as world:
        said = [world.hear(one) for one in heard]
    report = world.report()
    assert report.wrong == tuple(one for one in said if one)
    assert ("wrong_beliefs" in report.as_json()) == any(said)
    assert replay(trace).difference is None


async def test_intents_and_beliefs_work_in_wall_time(tmp_path: Path) -> None:
    trace = tmp_path / "live.busim"
    async with Live(with_panel(), trace=trace, any_port=True, intents=True) as session:
        await asyncio.wait_for(obedient(session, 5, session.addresses["wall box"]), 20)
        stream = session.intents()
        session.intend("wall mats", "iris", 9)
    assert [one.value async for one in stream][-1:] == [9]  # it ends with the session
    assert [one async for one in session.intents()] == []
    assert of_line(session.report())["beliefs"] == 5
    assert replay(trace).difference is None


def test_a_live_session_that_has_not_begun_says_so() -> None:
    with contextlib.closing(asyncio.new_event_loop()), pytest.raises(UserError, match="has not begun"):
        Live(hall(), intents=True).believe_online("wall low")


def test_the_example_of_the_calls_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(TOP)
    results = doctest.testmod(busim.runtime.session.hooked)
    assert results.failed == 0
    assert results.attempted >= 4


def test_reading_a_frame_is_no_belief() -> None:
    with serial_world(hall(), 1, intents=True) as world:
        port = serial.serial_for_url(world.url("wall box"), timeout=0.5)
        port.write(read_frame(1, IRIS))
        assert len(port.read(7)) == 7
        port.close()
    assert of_line(world.report())["beliefs"] == 0
