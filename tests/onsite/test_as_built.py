"""As built: the plan of an emulated line comes back from its capture, and what was changed is found."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from serving import read_frame, value_frame
from test_listening import recorded
from typer.testing import CliRunner

from busim.analysis.check import check
from busim.cli.app import app
from busim.foundation.errors import UserError
from busim.onsite.as_built import Shown, draft
from busim.onsite.captures import BOTH, Piece
from busim.onsite.listening import Survey
from busim.plan import read, read_text
from busim.protocols import find, names
from busim.recording.exports import to_pcapng
from busim.recording.trace import open_trace

MS = 1_000_000
PLAN = """
busim: 1
name: wall
lines:
  - name: wall line
    baud: 115200 Bd
    format: 8E1
    protocol: modbus-rtu
    order: [terminator, converter: box, camera: one, camera: two, terminator]
converters: [{name: box, endpoint: "198.51.100.48:15001"}]
cameras: [{name: one, bus_id: 1}, {name: two, bus_id: 2}]
masters:
  - name: controller
    through: [box]
    groups: [{name: fast, values: [iris, gain], every: 50 ms}, {name: slow, values: [temperature], every: 400 ms}]
"""


@pytest.fixture(scope="module")
def trace(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("built")
    (folder / "wall.yaml").write_text(PLAN)
    return recorded(folder / "wall.busim", PLAN, seconds=4)


def differs(trace: Path, *changes: tuple[str, str]) -> list[tuple[str, str]]:
    """What `plan diff` says of a changed plan and the trace of the unchanged one."""
    text = PLAN
    for before, after in changes:
        assert before in text
        text = text.replace(before, after)
    plan = trace.with_name("changed.yaml")
    plan.write_text(text)
    done = CliRunner().invoke(app, ["plan", "diff", str(plan), str(trace), "--json"])
    found = json.loads(done.stdout)["differs"]
    assert done.exit_code == (1 if found else 0)
    return [(one["what"], one["where"]) for one in found]


def test_the_plan_that_made_a_trace_does_not_differ_from_it(trace: Path) -> None:
    assert differs(trace) == []
    done = CliRunner().invoke(app, ["plan", "diff", str(trace.with_name("wall.yaml")), str(trace)])
    assert done.exit_code == 0
    assert "as planned" in done.stdout


def test_a_capture_without_a_byte_is_said_to_be_empty_and_nothing_is_compared(trace: Path) -> None:
    silent = trace.with_name("silent.csv")
    silent.write_text("time,data\n")
    done = CliRunner().invoke(app, ["plan", "diff", str(trace.with_name("wall.yaml")), str(silent)])
    assert done.exit_code == 1
    assert "not a single byte" in done.stdout
    assert "explained" not in done.stdout
    assert "Nothing was heard" in CliRunner().invoke(app, ["listen", str(silent)]).stdout


def test_a_capture_that_is_cut_off_says_so_where_a_plan_is_drafted_of_it(trace: Path) -> None:
    whole, cut = trace.with_name("whole.pcapng"), trace.with_name("cut.pcapng")
    with open_trace(trace) as opened:
        to_pcapng(opened, whole)
    cut.write_bytes(whole.read_bytes()[:-5])
    done = CliRunner().invoke(app, ["plan", "from", str(cut), "-o", str(trace.with_name("of-cut.yaml"))])
    assert done.exit_code == 0
    assert "cut off near byte" in done.stderr


@pytest.mark.parametrize(
    ("before", "after", "found"),
    [
        ("bus_id: 2", "bus_id: 5", [("camera", "two (ID 5)"), ("camera", "ID 2")]),
        ("every: 400 ms", "every: 700 ms",
         [("rate", "one (ID 1), register 103"), ("rate", "two (ID 2), register 103")]),
        ("every: 400 ms", "every: 420 ms", []),
        ("115200 Bd", "57600 Bd", [("baud", "wall line")]),
        ("8E1", "8N1", [("format", "wall line")]),
        ("[iris, gain]", "[iris]",
         [("poll", f"{name}, register{many}") for many in (" 0", "s 0 to 1") for name in ("one (ID 1)", "two (ID 2)")]),
        ("protocol: modbus-rtu", "protocol: text", [("protocol", "wall line")]),
    ],
)  # fmt: skip
def test_a_change_of_the_plan_is_found_in_the_trace(
    before: str, after: str, found: list[tuple[str, str]], trace: Path
) -> None:
    assert sorted(differs(trace, (before, after))) == sorted(found)


def test_a_drafted_plan_has_the_addresses_periods_and_settings_of_the_line(trace: Path) -> None:
    out = trace.with_name("drafted.yaml")
    done = CliRunner().invoke(app, ["plan", "from", str(trace), "-o", str(out), "--overwrite"], catch_exceptions=False)
    assert done.exit_code == 0
    plan, made = read(out), read_text(PLAN)
    assert [camera.bus_id for camera in plan.cameras] == [1, 2]
    assert (plan.lines[0].baud, plan.lines[0].format) == (made.lines[0].baud, made.lines[0].format)
    (master,) = plan.masters
    assert [group.every / MS for group in master.groups] == pytest.approx([50, 400], rel=0.02)
    again = CliRunner().invoke(app, ["plan", "diff", str(out), str(trace)])
    assert again.exit_code == 0, again.stdout
    assert not [one for one in check(plan).findings if one.severity == "error"]


PIECES = st.lists(
    st.tuples(st.integers(1, 247), st.integers(0, 300), st.integers(1, 4), st.integers(1, 5)), min_size=1, max_size=6
)


@given(PIECES, st.text(max_size=20), st.sampled_from(names()))
@settings(max_examples=10, deadline=None)
def test_whatever_was_asked_makes_a_plan_that_can_be_read(
    asked: list[tuple[int, int, int, int]], name: str, protocol: str
) -> None:
    survey = Survey(find(protocol))
    at = 0
    for address, key, size, times in asked:
        for _ in range(times):
            survey.take([
                Piece(at, BOTH, read_frame(address, key, size), f"{name}\n"),
                Piece(at + 5 * MS, BOTH, value_frame(address, *range(size))),
            ])  # fmt: skip
            at += 20 * MS
    survey.end()
    if protocol == "modbus-rtu":
        plan = read_text(draft(survey, Shown(f"{name}\n.busim", name or "line")))
        assert {camera.bus_id for camera in plan.cameras} == {address for address, *_ in asked}
    elif not survey.watched.cameras:
        with pytest.raises(UserError, match="nothing here makes a plan"):
            draft(survey, Shown("x"))
