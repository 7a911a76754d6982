"""Declared protocols in running plans: the same on both paths, replies on the line, plans with files of their own."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from bad_protocols import GOOD
from fuzzed_halls import HALLS, SECOND
from hypothesis import HealthCheck, example, given, settings
from places import SCENARIOS
from test_both_paths import plans, records_of, text_of

from busim.foundation.diagnostics import Findings
from busim.plan import FaultPlan, Plan, read, read_text
from busim.protocols import READ, Request, find
from busim.recording.trace import BURST, EXCHANGE, Record
from busim.runtime.session import Run, replay
from busim.simulator.world import build

TWO_MASTERS = """
busim: 1
name: pair
lines:
  - name: pair
    baud: 19200 Bd
    format: 8N1
    protocol: NAME
    order: [{converter: box}, {camera: mat, after: 3 m}, {master: second, after: 7 m}]
converters:
  - {name: box, endpoint: "198.51.100.44:15001", latency: 0..2 ms, packing: {idle: 1 ms, length: 11}}
cameras:
  - {name: mat, bus_id: 1, turnaround: 0}
masters:
  - {name: controller, through: [box], groups: [{name: fast, values: [iris, gain, shutter], every: 0}]}
  - {name: second, on: [pair], groups: [{name: all, values: [iris, zoom, focus], every: 3 ms}]}
"""


@pytest.mark.parametrize("name", ["modbus-rtu", "text", "short", "tagged"])
def test_what_came_before_a_request_does_not_count_as_an_answer_to_it_on_either_path(name: str) -> None:
    """A second master asks while a burst is under way, of which the fast path would tell it later."""
    plan = read_text(TWO_MASTERS.replace("NAME", name))
    fast, exact = (records_of(plan, exact=exact, until=600_000_000) for exact in (False, True))
    assert fast == exact


ONE_BURST_THAT_GROWS: dict[str, Any] = {  # requests come faster than they are sent: the burst grows while it lasts
    "baud": 9600, "format": "8E1", "contention": "space-wins", "errors": 0, "bias": False, "chatter": 0,
    "idle": "4 ms", "length": 3, "latency": "0..2 ms", "time_out": "7 ms", "second": False, "listen": "0",
    "every": "0",
    "cameras": [
        {"bus_id": bus_id, "after": after, "turnaround": turnaround, "echo": echo, "hold": hold, "format": of}
        for bus_id, after, turnaround, echo, hold, of in (
            (3, 40, "0", True, "200 us", "8O1"), (2, 250, "0..3 ms", True, "0", ""),
            (2, 40, "2..2.1 ms", False, "0", ""), (2, 0, "0..3 ms", False, "200 us", ""),
        )
    ],
}  # fmt: skip


@pytest.mark.parametrize("exact", [False, True])
@pytest.mark.parametrize("cameras", [1, 3])
def test_a_request_is_answered_though_its_burst_goes_on_where_it_ends_by_its_bytes(cameras: int, exact: bool) -> None:
    """Two requests in one burst, as a client's segment may hold: the answer to the first collides with the second."""
    case = ONE_BURST_THAT_GROWS | {"cameras": [ONE_BURST_THAT_GROWS["cameras"][2] | {"turnaround": "3 ms"}] * cameras}
    case["cameras"] = [one | {"bus_id": number} for number, one in enumerate(case["cameras"], 1)]
    plan = read_text(text_of(case).replace("protocol: modbus-rtu", "protocol: text"))
    records: list[Record] = []
    world = build(plan, 1, records.append, always_exact=exact)  # not started: nobody polls
    line = world.lines["pair"]
    requests = [find("text").encode_request(Request(1, READ, key, 1)) for key in (0, 1)]
    line.start()
    line.send(line.stations[0], b"".join(requests))
    world.kernel.advance(200_000_000)
    asked, answered, *_ = sorted((record for record in records if record[0] == BURST), key=lambda record: record[3])
    assert asked[6] == b"".join(requests)
    camera = line.stations[1]
    assert answered[3] == camera.setting.reach(len(requests[0]))[0] + camera.delays[0] + 3_000_000


@pytest.mark.timeout(600)
@pytest.mark.parametrize("name", ["text", "short", "tagged"])
@example(case=ONE_BURST_THAT_GROWS)
@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(case=plans)
def test_an_installation_does_the_same_on_both_paths(name: str, case: dict[str, Any]) -> None:
    plan = read_text(text_of(case).replace("protocol: modbus-rtu", f"protocol: {name}"))
    fast, exact = (records_of(plan, exact=exact, until=300_000_000) for exact in (False, True))
    assert fast == exact


def test_a_reply_that_begins_as_a_request_ends_does_not_spoil_it_for_others_on_either_path() -> None:
    """Three cameras on one ID. One answers at the very nanosecond at which the others have the last character."""
    cameras = [
        {"bus_id": 1, "after": after, "turnaround": turnaround, "echo": False, "hold": "0", "format": ""}
        for after, turnaround in ((0, "0"), (0, "1 ms"), (3, "1 ms"))
    ]
    case = {
        "baud": 9600, "format": "8N1", "contention": "space-wins", "errors": 0, "bias": False, "chatter": 0,
        "idle": "0", "length": 0, "latency": "0", "time_out": "computed", "second": False, "listen": "0",
        "every": "0", "cameras": cameras,
    }  # fmt: skip
    plan = read_text(text_of(case).replace("protocol: modbus-rtu", "protocol: tagged"))
    fast, exact = (records_of(plan, exact=exact, until=300_000_000) for exact in (False, True))
    assert fast == exact


def test_a_protocol_without_silence_takes_the_fast_path_until_it_is_disturbed_and_soon_after() -> None:
    """A master asks as soon as its answer is over, and that is still on its way to the cameras behind."""
    plan = HALLS["steps"]
    noise = FaultPlan("idle-noise", ("wall",), SECOND, SECOND // 2, parameters={"rate": "20 /s"})
    records: list[Record] = []
    world = build(replace(plan, faults=(noise,)), 1, records.append)
    world.start()
    world.kernel.advance(3 * SECOND)
    exact = [record[3] for record in records if record[0] == BURST and record[-1]]
    assert len(exact) > 3
    assert min(exact) > SECOND
    assert max(exact) < 3 * SECOND // 2 + SECOND // 10


# -- in plans -----------------------------------------------------------------------------------------------

USERS = ("lines-of-text", "escaped-frames")


def report_of(plan: Plan, seconds: int = 20) -> dict[str, Any]:
    run = Run(plan, 1)
    run.advance(seconds * 10**9)
    run.finish()
    return run.report().as_json()


@pytest.mark.parametrize("name", USERS)
def test_a_protocol_of_one_s_own_gives_the_figures_that_modbus_gives_with_the_same_plan_and_master(name: str) -> None:
    plan = read(SCENARIOS / name / "plan.yaml")
    with_own = report_of(plan)
    with_modbus = report_of(
        read_text(plan.source.replace(f"protocol: {plan.lines[0].protocol}", "protocol: modbus-rtu"))
    )
    (own,), (modbus,) = with_own["lines"], with_modbus["lines"]
    assert own["figures"].keys() == modbus["figures"].keys()
    assert [camera["name"] for camera in own["cameras"]] == [camera["name"] for camera in modbus["cameras"]]
    for mine, theirs in zip(own["cameras"], modbus["cameras"], strict=True):
        applies = {key for key, row in mine["figures"].items() if row["value"] is not None}
        assert applies == {key for key, row in theirs["figures"].items() if row["value"] is not None}
        assert 0.4 < mine["figures"]["poll_rate"]["value"] / theirs["figures"]["poll_rate"]["value"] < 2.5


def test_lines_of_text_run_clean() -> None:
    (line,) = report_of(read(SCENARIOS / "lines-of-text" / "plan.yaml"))["lines"]
    figures = {name: row["value"] for name, row in line["figures"].items()}
    assert figures["exchanges"] > 1000
    assert [figures[name] for name in ("time_outs", "damaged", "refused", "collisions")] == [0, 0, 0, 0]


def test_an_answer_that_comes_late_never_counts_for_another_request() -> None:
    """With the tag a late reply of the slow camera is known; its values are never taken for a later poll's."""
    plan = read(SCENARIOS / "escaped-frames" / "plan.yaml")
    records: list[Record] = []
    world = build(plan, 1, records.append)
    world.start()
    world.kernel.advance(20 * 10**9)
    good = [record for record in records if record[0] == EXCHANGE and record[12] == "ok"]
    late = [record for record in records if record[0] == EXCHANGE and record[12] in ("time-out", "damaged")]
    assert good
    assert late
    assert all(record[8] < record[13] < record[10] for record in good)  # served between sending and answer


def test_a_trace_keeps_the_protocol_and_replays_without_its_file(tmp_path: Path) -> None:
    shutil.copytree(SCENARIOS / "lines-of-text", tmp_path / "hall")
    run = Run(read(tmp_path / "hall" / "plan.yaml"), 1, trace=tmp_path / "old.trace")
    run.advance(2 * 10**9)
    run.finish()
    shutil.rmtree(tmp_path / "hall")
    again = replay(tmp_path / "old.trace")
    assert again.complete
    assert again.difference is None


def test_mistakes_in_a_protocol_file_are_told_in_that_file_when_a_plan_names_it(tmp_path: Path) -> None:
    shutil.copytree(SCENARIOS / "lines-of-text", tmp_path / "hall")
    file = tmp_path / "hall" / "lanes.yaml"
    file.write_text(file.read_text().replace("kind: xor", "kind: xro"))
    with pytest.raises(Findings) as caught:
        Run(read(tmp_path / "hall" / "plan.yaml"), 1)
    assert [(one.code, one.file) for one in caught.value.findings] == [("no-such-check", str(file))]
    file.unlink()
    with pytest.raises(Findings, match="cannot be read"):
        Run(read(tmp_path / "hall" / "plan.yaml"), 1)


KEYS = "keys: {zoom-camera: {iris: 1, gain: 2, serial: 700}}\n"


def plan_with(folder: Path, protocol: str, values: str = "iris, gain", controls: str = "iris") -> Plan:
    (folder / "own.yaml").write_text(protocol)
    (folder / "plan.yaml").write_text(
        TWO_MASTERS.replace("NAME", "./own.yaml")
        .replace("iris, zoom, focus", "iris")
        .replace("iris, gain, shutter", values)
        + f"panels:\n  - {{name: desk, master: controller, cameras: [mat], controls: [{controls}], moves: 1 /s}}\n"
    )
    return read(folder / "plan.yaml")


def test_a_protocol_need_not_have_every_parameter_but_what_the_plan_asks(tmp_path: Path) -> None:
    report_of(plan_with(tmp_path, GOOD + KEYS), 1)
    with pytest.raises(Findings) as caught:
        report_of(plan_with(tmp_path, GOOD + KEYS, values="iris, zoom", controls="focus"), 1)
    assert [one.code for one in caught.value.findings] == ["polled-value-nobody-has", "control-camera-lacks"]


def test_a_key_that_the_protocol_cannot_carry_is_the_user_s_mistake(tmp_path: Path) -> None:
    with pytest.raises(Findings) as caught:
        report_of(plan_with(tmp_path, GOOD + KEYS.replace("700", "1700")), 1)
    (finding,) = caught.value.findings
    assert finding.code == "model-lacks-protocol"
    assert finding.found == "key 1700"


def sent_by(plan: Plan, request: Request, protocol: str) -> list[bytes]:
    """The bytes of all stations but the master after this one request."""
    records: list[Record] = []
    world = build(plan, 1, records.append, played=[])
    world.start()
    raw = find(protocol, Path(plan.path).parent).encode_request(request)
    port = world.converters["box"]
    port.open(1, lambda *_: None)
    port.chunk(1, raw)
    world.kernel.advance(10**9)
    return [record[6] for record in records if record[0] == BURST and record[2] != port.number]


def test_a_broadcast_is_answered_where_the_file_says_so(tmp_path: Path) -> None:
    request = Request(0, "write", 1, 1, (7,))
    assert sent_by(plan_with(tmp_path, GOOD + KEYS), request, "./own.yaml") == []
    answering = GOOD.replace("broadcast: 0", "broadcast: 0, answers_broadcast: true") + KEYS
    (reply,) = sent_by(plan_with(tmp_path, answering), request, "./own.yaml")
    assert reply.startswith(b"<01w001=00007*")


def test_a_refused_request_is_answered_as_the_file_says_or_not_at_all(tmp_path: Path) -> None:
    request = Request(1, "write", 700, 1, (7,))  # the serial number is only read
    (reply,) = sent_by(plan_with(tmp_path, GOOD + KEYS), request, "./own.yaml")
    assert reply.startswith(b"<01E2*")
    assert sent_by(plan_with(tmp_path, GOOD.replace('refusal: "E{reason}"\n', "") + KEYS), request, "./own.yaml") == []


def test_a_camera_answers_a_status_and_refuses_what_it_does_not_do(tmp_path: Path) -> None:
    more = '  status: {key: 1, request: "S", reply: "s{value},{value}"}\n'
    more += '  start: {request: "G{key}={value}", reply: "g"}\nrefusal:'
    plan = plan_with(tmp_path, GOOD.replace("refusal:", more) + KEYS)
    (reply,) = sent_by(plan, Request(1, "status", 1, 2), "./own.yaml")
    assert reply.startswith(b"<01s00500,00000*")
    (reply,) = sent_by(plan, Request(1, "start", 1, 1, (50,)), "./own.yaml")  # its iris has no motor
    assert reply.startswith(b"<01E2*")
