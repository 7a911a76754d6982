"""`busim rehearse --port`: the steps on a real line, one question before each write, and a record that survives.

The "real" line is an emulated one in simulated time; the person at it plugs and switches its cameras. That IDs are set
with one camera connected at a time is common practice, no source.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from lines import tool_on, world_links
from typer.testing import CliRunner, Result

from busim.cli.app import app
from busim.cli.rehearse_real import Asked
from busim.commissioning.rehearse import Step, planned, steps_of
from busim.commissioning.site_record import Begun, SiteRecord, StepEntry, as_line, read_record
from busim.foundation.errors import UserError
from busim.onsite import targets
from busim.onsite.rehearsing import RealSite, RecordFile, commission, done_before, load_record, sign, steps_here
from busim.onsite.targets import Link, OtherMaster, parse_target
from busim.plan import Plan, read_text
from busim.runtime.session import SerialWorld
from busim.simulator.world import World, build

S = 10**9


def wall(*, masters: str = "", low_serial: int = 4301, format: str = "8E1") -> Plan:
    return read_text(plan_text(masters=masters, low_serial=low_serial, format=format))


def plan_text(*, masters: str = "", low_serial: int = 4301, format: str = "8E1") -> str:
    return f"""
busim: 1
name: training wall
lines:
  - name: wall line
    baud: 38400 Bd
    format: {format}
    protocol: modbus-rtu
    order:
      - terminator
      - converter: wall box
      - {{camera: low, after: 12 m}}
      - {{camera: high, after: 8 m}}
      {masters and "- {master: desk, after: 2 m}"}
      - terminator
converters:
  - {{name: wall box, endpoint: "198.51.100.48:15001", rfc2217: {"off" if format == "8E1" else "applies"}}}
cameras:
  - {{name: low, bus_id: 3, serial: {low_serial}, turnaround: 5 ms}}
  - {{name: high, bus_id: 4, serial: 4302, turnaround: 5 ms}}
{masters}
"""


class Crew:
    """A person at an emulated line, who does by hand what they are told. `asked`: every question.

    `refuse`: what they say no to; `leave`: at the question with this word they press Ctrl-C; `forget`: cameras that
    they say they have plugged, and have not.
    """

    script = False

    def __init__(self, world: World, *, refuse: str = "", leave: str = "", forget: tuple[str, ...] = ()) -> None:
        self.asked: list[tuple[str, str]] = []
        self._world, self._refuse, self._leave, self._forget = world, refuse, leave, forget

    def does(self, what: str) -> bool:
        said = self._said("does", what)
        for name in self._world.cameras if said else ():
            if what.startswith(f"Plug in {name}") and name not in self._forget:
                self._world.wiring.plug(name)
            elif what in (f"Switch {name} on", f"Switch {name} off"):
                self._world.wiring.power(name, what.endswith("on"))
        return said

    def agrees(self, write: str) -> bool:
        return self._said("agrees", write)

    def sees(self, look: str) -> bool:
        return self._said("sees", look)

    def decides(self, question: str) -> bool:
        return self._said("decides", question)

    def goes_on(self, failure: str) -> bool:
        return self._said("goes on", failure)

    def signs(self, text: str) -> bool:
        return self._said("signs", text)

    def _said(self, kind: str, question: str) -> bool:
        if self._leave and self._leave in question:
            raise KeyboardInterrupt
        self.asked.append((kind, question))
        return not (self._refuse and self._refuse in question)


def world_of(world: SerialWorld) -> World:
    return world._entered().world


def out_of_the_box(world: World, ids: dict[str, int] | None = None) -> None:
    """Every camera new: unplugged, without power, at its factory ID or one of `ids`."""
    for name, serial in (("low", 4301), ("high", 4302)):
        world.wiring.unplug(name, through=True)
        world.wiring.fit(name, (ids or {}).get(name, 1), serial)


@contextmanager
def site_on(
    plan: Plan, crew: Callable[[World], Crew], real: Plan | None = None, ids: dict[str, int] | None = None
) -> Iterator[tuple[RealSite, tuple[Step, ...], Crew, World]]:
    """The plan at the line of `real`, with its steps."""
    with world_links(real or plan, "wall box") as (world, (link,)):
        out_of_the_box(world_of(world), ids)
        cameras = planned(plan, build(plan, 1, lambda _: None, played=()))
        person = crew(world_of(world))
        site = RealSite(plan, cameras, "wall line", tool_on(link, plan), parse_target("/dev/ttyUSB0"), person)
        first = Step("listen", "wall line", length=2 * S)
        yield site, steps_here(steps_of(plan, cameras)[0], "wall line", first), person, world_of(world)


def begun(path: Path) -> RecordFile:
    head = Begun(plan="training wall", digest="d", line="wall line", target="t", who="A. Rigger", at="now")
    return RecordFile(str(path), head)


def commissioned(site: RealSite, steps: tuple[Step, ...], path: Path) -> list[tuple[str, str, str]]:
    """(step, camera, outcome) of each, from a new record at `path`."""
    with begun(path) as file:
        done = list(commission(site, steps, file, "A. Rigger", lambda: "now"))
        sign(file, [one.outcome for one in done], "A. Rigger", "now")
    return [(one.step.do, one.step.camera, one.outcome) for one in done]


def failed(path: Path) -> list[StepEntry]:
    return [one for one in load_record(str(path)).steps if one.outcome == "failed"]


# -- the run --------------------------------------------------------------------------------------------------------


def test_two_new_cameras_get_their_ids_and_the_record_says_who_did_what(tmp_path: Path) -> None:
    with site_on(wall(), Crew) as (site, steps, crew, world):
        outcomes = commissioned(site, steps, tmp_path / "r")
        assert {outcome for _, _, outcome in outcomes} == {"ok"}
        assert [world.cameras[name].camera.bus_id for name in ("low", "high")] == [3, 4]
    record = load_record(str(tmp_path / "r"))
    assert record.signed is not None
    assert record.sound
    assign = next(one for one in record.steps if (one.do, one.camera) == ("assign", "low"))
    assert assign.asked == (("write change-id to bus ID 1, key 201, value 3", "agreed"),)
    assert (assign.who, assign.seen) == ("A. Rigger", "acknowledged; answers at bus ID 3")
    assert any(kind == "sees" and "bars on the input of low" in question for kind, question in crew.asked)


def test_each_write_on_the_line_had_one_question_before_it(tmp_path: Path) -> None:
    with site_on(wall(), Crew) as (site, steps, crew, _):
        tool = site._tool
        commissioned(site, steps, tmp_path / "r")
        writes = [raw for raw in tool.sent if raw[1] in (0x06, 0x10)]  # MODBUS V1.1b3, 6.6 and 6.12
        assert len(writes) == sum(kind == "agrees" for kind, _ in crew.asked) > 6


def test_a_write_that_is_refused_is_not_sent_and_the_other_camera_goes_on(tmp_path: Path) -> None:
    with site_on(wall(), lambda world: Crew(world, refuse="write change-id to bus ID 1, key 201, value 3")) as (
        site, steps, _, world
    ):  # fmt: skip
        outcomes = commissioned(site, steps, tmp_path / "r")
        assert ("assign", "low", "failed") in outcomes
        assert ("save", "low", "skipped") in outcomes
        assert world.cameras["low"].camera.bus_id == 1
    assert "not sent" in failed(tmp_path / "r")[0].seen


def test_after_a_failure_the_person_may_stop_and_steps_that_are_skipped_are_not_begun(tmp_path: Path) -> None:
    for stops in (True, False):
        path, begins = tmp_path / str(stops), list[int]()

        def crew(world: World, *, stops: bool = stops) -> Crew:
            return Crew(world, refuse="skipped" if stops else "", forget=("low",))

        with site_on(wall(), crew) as (site, steps, _, _), begun(path) as file:
            done = list(commission(site, steps, file, "A", lambda: "now", begins=lambda n, _, to=begins: to.append(n)))
        record = load_record(str(path))
        assert [one.number for one in done if one.outcome != "skipped"] == begins
        assert any("stopped by the person: step" in note.text for note in record.notes) == stops
        assert (len(done) < len(steps)) == stops


def test_a_question_at_the_terminal_is_asked_until_it_has_an_answer(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answers = iter(["perhaps", "", " N "])
    monkeypatch.setattr("builtins.input", lambda: next(answers))
    assert not Asked().agrees("write change-id to bus ID 1")
    told = capsys.readouterr()
    assert told.err.count("WRITE: write change-id to bus ID 1. Go on?") == 1
    assert told.err.count("Type y or n.") == 2
    assert not told.out


def test_where_another_master_is_heard_nothing_is_sent(tmp_path: Path) -> None:
    masters = "masters: [{name: desk, on: [wall line], groups: [{name: fast, values: [iris], every: 100 ms}]}]"
    with site_on(wall(), Crew, real=wall(masters=masters)) as (site, steps, crew, _):
        tool = site._tool
        with begun(tmp_path / "r") as file:
            done = list(commission(site, steps, file, "A. Rigger", lambda: "now"))
        assert [(one.step.do, one.outcome) for one in done] == [("listen", "failed")]
        assert not tool.sent
        assert not crew.asked
    assert "nothing more was sent" in load_record(str(tmp_path / "r")).notes[-1].text


def test_a_camera_that_does_not_answer_fails_alone_and_the_record_says_what_to_check(tmp_path: Path) -> None:
    with site_on(wall(), lambda world: Crew(world, forget=("low",))) as (site, steps, _, _):
        outcomes = commissioned(site, steps, tmp_path / "r")
    assert ("identify", "low", "failed") in outcomes
    assert ("read-back", "high", "ok") in outcomes
    first = failed(tmp_path / "r")[0]
    assert first.why == "nothing answers at bus ID 1"
    assert "check its plug, its supply" in first.mend


def test_a_camera_found_at_another_id_is_gone_on_with_after_a_question(tmp_path: Path) -> None:
    with site_on(wall(), Crew, ids={"low": 4}) as (site, steps, crew, world):
        outcomes = commissioned(site, steps, tmp_path / "r")
        assert {outcome for _, _, outcome in outcomes} == {"ok"}
        assert [world.cameras[name].camera.bus_id for name in ("low", "high")] == [3, 4]
    question = "low is silent at bus ID 1, and its planned serial number 4301 answers at bus ID 4. Go on there"
    assert ("decides", question) in crew.asked


def test_a_camera_at_another_id_is_left_alone_after_a_no(tmp_path: Path) -> None:
    with site_on(wall(), lambda world: Crew(world, refuse="Go on there"), ids={"low": 4}) as (site, steps, _, world):
        commissioned(site, steps, tmp_path / "r")
        assert world.cameras["low"].camera.bus_id == 4


def test_another_unit_than_planned_is_found_by_its_serial_number(tmp_path: Path) -> None:
    with site_on(wall(low_serial=77), Crew) as (site, steps, _, _):
        commissioned(site, steps, tmp_path / "r")
    assert failed(tmp_path / "r")[0].why == "another unit hangs there: serial number 4301, planned 77"


def test_a_camera_whose_factory_format_is_another_is_set_at_a_port_that_is_set_back(tmp_path: Path) -> None:
    with site_on(wall(format="8N1"), Crew) as (site, steps, _, world):
        outcomes = commissioned(site, steps, tmp_path / "r")
        assert [one for one in outcomes if one[0] == "tune"] == [("tune", "", "ok")] * 2
        assert {str(world.cameras[name].station.setting.format) for name in ("low", "high")} == {"8N1"}


# -- breaks ---------------------------------------------------------------------------------------------------------


def test_after_ctrl_c_the_record_is_whole_and_a_resumed_run_repeats_no_camera(tmp_path: Path) -> None:
    path = tmp_path / "r"
    with site_on(wall(), lambda world: Crew(world, leave="Plug in high")) as (site, steps, _, world):
        with begun(path) as file, pytest.raises(KeyboardInterrupt):
            list(commission(site, steps, file, "A. Rigger", lambda: "now"))
        kept = load_record(str(path))
        assert kept.notes[-1].text == "interrupted by the person"
        assert [one.do for one in kept.steps if one.camera == "low"][-1] == "test-picture"
        again = Crew(world)
        site = RealSite(site.installation.plan, site.cameras, "wall line", site._tool, site._target, again)
        with RecordFile(str(path)) as file:
            before = done_before(site, steps, file.before)
            done = list(commission(site, steps, file, "B. Rigger", lambda: "later", before=before))
        assert {one.outcome for one in done} == {"ok"}
        assert done[0].step.do == "listen", "it listens again before anything"
        assert {one.step.camera for one in done} == {"", "high"}
        assert [world.cameras[name].camera.bus_id for name in ("low", "high")] == [3, 4]
    assert {one.who for one in load_record(str(path)).steps} == {"A. Rigger", "B. Rigger"}


def test_all_cameras_are_polled_again_when_one_that_had_failed_is_done_at_last(tmp_path: Path) -> None:
    path = tmp_path / "r"
    with site_on(wall(), lambda world: Crew(world, forget=("high",))) as (site, steps, _, world):
        assert ("round", "", "ok") in commissioned(site, steps, path)
        assert load_record(str(path)).latest[len(steps)].seen.startswith("1 of 2 answer at their IDs, not polled: high")
        world.wiring.plug("high")
        site = RealSite(site.installation.plan, site.cameras, "wall line", site._tool, site._target, Crew(world))
        with RecordFile(str(path)) as file:
            before = done_before(site, steps, file.before)
            done = list(commission(site, steps, file, "A", lambda: "later", before=before))
    assert (done[-1].step.do, done[-1].seen) == ("round", "all 2 answer at their IDs, one reply per request")


def test_an_id_that_was_set_and_not_saved_is_set_again_after_a_break(tmp_path: Path) -> None:
    path = tmp_path / "r"
    with site_on(wall(), lambda world: Crew(world, leave="write save to bus ID 3")) as (site, steps, _, world):
        with begun(path) as file, pytest.raises(KeyboardInterrupt):
            list(commission(site, steps, file, "A. Rigger", lambda: "now"))
        for on in (False, True):  # the supply was off over night
            world.wiring.power("low", on)
        site.wait(10 * S)
        assert world.cameras["low"].camera.bus_id == 1
        site = RealSite(site.installation.plan, site.cameras, "wall line", site._tool, site._target, Crew(world))
        with RecordFile(str(path)) as file:
            before = done_before(site, steps, file.before)
            done = list(commission(site, steps, file, "A. Rigger", lambda: "later", before=before))
        assert {one.outcome for one in done} == {"ok"}
        assert world.cameras["low"].camera.bus_id == 3


def test_a_port_that_vanishes_is_in_the_record(tmp_path: Path) -> None:
    with site_on(wall(), Crew) as (site, steps, _, _):

        def gone(*_: Any, **__: Any) -> Any:
            raise UserError("the target is gone: /dev/ttyUSB0")

        with begun(tmp_path / "r") as file:
            run = commission(site, steps, file, "A. Rigger", lambda: "now")
            assert "connect" in [next(run).step.do for _ in range(2)]
            site._tool.link.send = gone  # type: ignore[method-assign]
            with pytest.raises(UserError, match="gone"):
                list(run)
    record = load_record(str(tmp_path / "r"))
    assert "the target is gone" in record.notes[-1].text
    assert record.steps[-1].outcome == "ok"


def test_a_master_that_appears_in_between_ends_the_run(tmp_path: Path) -> None:
    with site_on(wall(), Crew) as (site, steps, _, _):

        def others(*_: Any, **__: Any) -> Any:
            raise OtherMaster("a request of another master to bus ID 9")

        with begun(tmp_path / "r") as file:
            run = commission(site, steps, file, "A. Rigger", lambda: "now")
            assert "connect" in [next(run).step.do for _ in range(2)]
            site._tool.ask = others  # type: ignore[method-assign]
            with pytest.raises(OtherMaster):
                list(run)
    assert "another master" in load_record(str(tmp_path / "r")).notes[-1].text


# -- the record -----------------------------------------------------------------------------------------------------


def entry(number: int, outcome: str = "ok") -> StepEntry:
    return StepEntry(number=number, do="listen", what="Listen", outcome=outcome, who="A", at="now")


HEAD = as_line(Begun(plan="p", digest="d", line="l", target="t", who="A", at="now"))


def test_a_line_that_a_power_cut_left_unfinished_is_passed_over_and_cut_off(tmp_path: Path) -> None:
    path = tmp_path / "r"
    path.write_text(HEAD + as_line(entry(1)) + as_line(entry(2))[:40])
    assert len(load_record(str(path)).steps) == 1
    with RecordFile(str(path)) as file:
        file.write(entry(2, "failed"))
    assert [one.outcome for one in load_record(str(path)).steps] == ["ok", "failed"]


def test_a_record_changed_after_its_signature_is_noticed(tmp_path: Path) -> None:
    path = tmp_path / "r"
    with begun(path) as file:
        file.write(entry(1, "failed"))
        sign(file, ["failed"], "A", "now")
    assert load_record(str(path)).sound
    path.write_text(path.read_text().replace('"outcome":"failed"', '"outcome":"ok"'))
    assert not load_record(str(path)).sound


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("", 1), ("{}\n", 1), ('{"kind":"begun","record":2}\n', 1), (HEAD + "no json\n", 2), (HEAD + HEAD, 2),
        (HEAD + '{"kind":"step"}\n', 2), (HEAD + "[" * 100_000 + "\n", 2),
        (HEAD + as_line(entry(1)).replace('"number":1', '"number":-1'), 2),
        (HEAD + as_line(entry(1)).replace('"ok"', '"perhaps"'), 2), (HEAD[:-10], 1),
    ],
    ids=map(str, range(10)),
)  # fmt: skip
def test_a_damaged_record_is_refused_with_its_line(text: str, line: int) -> None:
    with pytest.raises(UserError) as told:
        read_record(text, "r")
    assert told.value.line == line


def test_two_programs_do_not_write_one_record(tmp_path: Path) -> None:
    with begun(tmp_path / "r"), pytest.raises(UserError, match="another program writes this record"):
        RecordFile(str(tmp_path / "r"))


# -- the commands ---------------------------------------------------------------------------------------------------


def at_the_line(monkeypatch: pytest.MonkeyPatch, plan: Path, *options: str) -> tuple[Result, SiteRecord | None]:
    """`busim rehearse PLAN --port` with an emulated line behind the port, cameras plugged and new."""
    with world_links(wall(), "wall box") as (world, (link,)):
        for name, bus_id, serial in (("low", 1, 4301), ("high", 4, 4302)):
            world_of(world).wiring.fit(name, bus_id, serial)
            world_of(world).wiring.power(name, True)

        def opened(*_: Any, **__: Any) -> Link:
            return link

        monkeypatch.setattr(targets, "open_target", opened)
        record = plan.with_name("record")
        command = ["rehearse", str(plan), "--port", "/dev/ttyUSB0", "--record", str(record), *options]
        result = CliRunner().invoke(app, command)
    return result, load_record(str(record)) if record.exists() else None


@pytest.fixture
def plan_file(tmp_path: Path) -> Path:
    path = tmp_path / "plan.yaml"
    path.write_text(plan_text())
    return path


def test_the_sheet_prints_the_signed_record(monkeypatch: pytest.MonkeyPatch, plan_file: Path) -> None:
    result, record = at_the_line(monkeypatch, plan_file, "--who", "A. Rigger", "--yes")
    assert result.exit_code == 0, result.output
    assert record is not None
    assert record.signed is not None
    sheet = plan_file.with_name("sheet.html")
    command = ["sheet", str(plan_file), "-o", str(sheet), "--only", "record", "--record"]
    assert CliRunner().invoke(app, [*command, str(plan_file.with_name("record"))]).exit_code == 0
    page = sheet.read_text()
    assert "As commissioned: wall line" in page
    assert "serial 4301 at bus ID 3, 10 times of 10, as planned" in page
    assert "Signed: A. Rigger" in page
    assert "nobody confirmed the steps by hand" in page


NO_BOX = {
    "a real port on the line": "      - port: /dev/ttyUSB0\n",
    "a master on the line": "      - master: desk\n",
    "nothing but cameras": "",
}


@pytest.mark.parametrize("station", NO_BOX.values(), ids=NO_BOX)
def test_a_laptop_across_the_pair_needs_no_converter(
    monkeypatch: pytest.MonkeyPatch, plan_file: Path, station: str
) -> None:
    text = "\n".join(one for one in plan_text().splitlines() if "198.51.100" not in one and one != "converters:")
    text = text.replace("      - converter: wall box\n", station)
    if "desk" in station:
        text += "\nmasters:\n  - {name: desk, on: [wall line], groups: [{name: all, every: 50 ms, values: [iris]}]}\n"
    plan_file.write_text(text)
    result, record = at_the_line(monkeypatch, plan_file, "--who", "A. Rigger", "--yes")
    assert result.exit_code == 0, result.output
    assert record is not None
    assert {entry.outcome for entry in record.steps} == {"ok"}


def test_without_a_person_or_yes_nothing_is_opened(monkeypatch: pytest.MonkeyPatch, plan_file: Path) -> None:
    result, record = at_the_line(monkeypatch, plan_file, "--who", "A. Rigger")
    assert isinstance(result.exception, UserError)
    assert "nobody is there to agree" in str(result.exception)
    assert record is None


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--yes",), "no --who"), (("--who", "A", "--yes", "--what-if", "all"), "--port alone"),
        (("--who", "A", "--yes", "--line", "none"), "none"), (("--who", "A", "--yes", "--resume"), "--resume"),
    ],
)  # fmt: skip
def test_wrong_options_are_refused_before_anything_is_opened(
    monkeypatch: pytest.MonkeyPatch, plan_file: Path, options: tuple[str, ...], said: str
) -> None:
    result, _ = at_the_line(monkeypatch, plan_file, *options)
    assert isinstance(result.exception, UserError)
    assert said in str(result.exception)


def test_a_record_of_another_plan_is_not_gone_on_with(monkeypatch: pytest.MonkeyPatch, plan_file: Path) -> None:
    plan_file.with_name("record").write_text(HEAD)
    opens = list[object]()
    monkeypatch.setattr("busim.cli.real_line.agree", lambda *_, **__: opens.append("asked"))
    result, record = at_the_line(monkeypatch, plan_file, "--who", "A", "--yes", "--resume")
    assert not opens, "it is refused before anything is opened"
    assert isinstance(result.exception, UserError)
    assert "another plan or line" in str(result.exception)
    assert record is not None
    assert not json.loads(plan_file.with_name("record").read_text()).get("steps")
