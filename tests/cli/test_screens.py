"""Every screen answers first: its first 24 lines say how each line works, at 80 and at 120 columns."""

from __future__ import annotations

import re
from io import StringIO
from pathlib import Path

import pytest
from places import SCENARIOS
from screens import LINES, flat, shown, too_wide

from busim.cli.commands import named
from busim.cli.screen import Column, Screen, wrap
from busim.plan import read

FOURTEEN = Path(__file__).parent / "fourteen_cameras.yaml"
PLANS = {**{path.name: path / "plan.yaml" for path in sorted(SCENARIOS.iterdir())}, "fourteen cameras": FOURTEEN}
LARGE = ("climbing-hall", "fourteen cameras")
BUS = "line.baud=9600,38400,115200"

# command, its options, and the words that say where its numbers come from
SCREENS = [
    ("run", ("--for", "2s"), "measured"),
    ("check", (), "planned; nothing was measured"),
    ("budget", (), "computed"),
    ("rehearse", (), "simulated"),
    ("scan", ("--stop", "all"), "simulated"),
    ("sweep", ("--vary", BUS), "computed"),
]
AT = [(name, 80) for name in PLANS] + [(name, 120) for name in LARGE]
WRONG_PLURAL = re.compile(r"(?<![\d.:])1 (?:error|warning|note|camera|line|step|request|point|byte|ID|poll|rule)s\b")


@pytest.mark.parametrize(("name", "columns"), AT)
@pytest.mark.parametrize(("command", "options", "kind"), SCREENS, ids=[row[0] for row in SCREENS])
def test_the_answer_takes_one_screen_and_says_of_each_line_what_it_does(
    command: str, options: tuple[str, ...], kind: str, name: str, columns: int
) -> None:
    plan = PLANS[name]
    result = shown(command, str(plan), *options, columns=columns)
    assert result.exit_code in (0, 1), result.output
    lines = result.stdout.splitlines()
    assert len(lines) <= LINES
    assert too_wide(result.stdout, columns) == []
    assert "…" not in result.stdout
    assert WRONG_PLURAL.findall(flat(result.stdout)) == []
    assert kind in flat(result.stdout)
    names = [line.name for line in read(plan).lines]
    for line in names[:1] if command == "scan" else names:
        assert line in flat(result.stdout)


def test_what_is_piped_takes_eighty_columns_and_a_terminal_of_another_width_is_used_up() -> None:
    plan = str(PLANS["climbing-hall"])
    piped, wide = (shown("check", plan, columns=columns).stdout for columns in (None, 120))
    assert too_wide(piped, 80) == []
    assert 80 < max(map(len, wide.splitlines())) <= 120


@pytest.mark.parametrize("columns", [80, 120])
@pytest.mark.parametrize(("command", "options"), [(row[0], row[1]) for row in SCREENS], ids=[row[0] for row in SCREENS])
def test_the_detail_is_cut_nowhere(command: str, options: tuple[str, ...], columns: int) -> None:
    said = shown(command, str(PLANS["climbing-hall"]), *options, "--detail", columns=columns).stdout
    assert len(said.splitlines()) > LINES
    assert too_wide(said, columns) == []
    assert "…" not in said
    assert re.findall(r"(?<![\d.])1 (?:cameras|joysticks|operators|polls|requests)\b", flat(said)) == []


def test_a_line_that_works_says_how_often_how_old_what_limits_it_and_what_would_help() -> None:
    said = flat(shown("run", str(PLANS["climbing-hall"]), "--for", "2s").stdout)
    for words in (
        "all 3 lines work",
        "polls/s",
        "age",
        "limit: the converter's packing",
        "best change: a second converter",
    ):
        assert words in said
    assert "check of the plan: 0 errors, 0 warnings, 5 notes" in said.casefold()


def test_a_line_on_which_nobody_is_heard_says_what_to_look_for() -> None:
    said = flat(shown("run", str(PLANS["factory-fresh"]), "--for", "2s").stdout)
    assert "new chain does not work" in said
    assert "only damaged replies from first out of the box: look for a doubled bus ID" in said


def test_a_rate_that_is_not_reached_is_the_answer() -> None:
    said = flat(shown("budget", str(PLANS["climbing-hall"]), "--need", "10Hz").stdout)
    assert "climbing hall: boulder line and rope line do not do what is wanted" in said
    assert "10 polls/s: NOT reached, load 177%" in said


def test_a_sweep_says_at_which_values_each_line_reaches_what_is_needed() -> None:
    said = flat(shown("sweep", str(PLANS["climbing-hall"]), "--vary", BUS, "--need", "5Hz").stdout)
    assert "2 of 3 points reach what is wanted (line.baud: 38400 and 115200)" in said


def test_control_characters_of_a_trace_do_not_reach_the_terminal() -> None:
    stream = StringIO()
    screen = Screen(stream)
    screen.say("two \x1b[31mmasters")
    screen.fact("wall\x07", "low\x9b")
    screen.table([Column("camera")], [["\x1b]0;title\x07"]])
    assert stream.getvalue() == "two \\x1b[31mmasters\n  wall\\x07     low\\x9b\ncamera\n\\x1b]0;title\\x07\n"


def test_a_table_that_is_too_wide_goes_on_below_and_loses_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    stream = StringIO()
    columns = [Column("camera"), *(Column(f"figure {number}", right=True) for number in range(6))]
    Screen(stream).table(columns, [["left mat", *(f"{number}234.5 ms" for number in range(6))]])
    said = stream.getvalue()
    assert too_wide(said, 40) == []
    for number in range(6):
        assert f"figure {number}" in said
        assert f"{number}234.5 ms" in said
    assert said.count("camera") == 2


def test_a_word_that_is_too_long_stays_whole_and_wide_letters_count_twice() -> None:
    assert list(wrap("see /a/path/that/is/long now", 10)) == ["see", "/a/path/that/is/long", "now"]
    assert list(wrap("広い 広い 広い", 10)) == ["広い 広い", "広い"]  # East Asian Wide: UAX #11


# Every command that prints text of its own, tried into a pipe; beside it, those that are tried elsewhere, or print a
# document: HTML, YAML, JSON Schema, or what another program says.
TRIED = {
    "check": [("{plan}", "--detail"), ("--rules",)], "run": [("{plan}", "--for", "100ms", "--detail")],
    "budget": [("{plan}", "--detail")], "rehearse": [("{plan}", "--detail"), ("--what-ifs",)],
    "scan": [("{plan}", "--stop", "all", "--detail")], "sweep": [("{plan}", "--vary", BUS, "--detail")],
    "plan split": [("{plan}", "--write", "split.yaml")], "plan diff": [("{plan}", "{other}", "--all")],
    "plan export": [("{plan}", "-o", "tables"), ("{plan}", "-o", "hall.xlsx")],
    "plan import": [("hall.xlsx", "-o", "imported.yaml"), ("hall.xlsx", "--into", "{plan}", "-o", "merged.yaml")],
    "report": [("{trace}", "-o", "report.html")],
    "plan set": [("copy.yaml", "cameras[boulder left].bus_id=9")],
    "compare": [("{trace}", "{trace}"), ("{trace}", "{second}")], "replay": [("{trace}",)],
    "export": [("{trace}", "--to", "vcd"), ("{trace}", "--to", "pcapng", "--line", "boulder line")],
    "listen": [("{trace}", "--line", "boulder line")],
    "plan from": [("{trace}", "--line", "boulder line", "-o", "drafted.yaml")],
    "prove": [("text",), ("zoom-camera",), ("--checks",)], "new": [("plan", "hall"), ("camera", "ours")],
    "sheet": [("{plan}", "-o", "sheet.html")], "explain": [("symptoms",), ("same-id-on-line",), ("bus_id",)],
}  # fmt: skip
ELSEWHERE = {"serve", "with", "fuzz", "view", "plan show", "plan schema", "conform", "measure", "line-test", "tap"}


def test_every_command_wraps_what_it_prints(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    plan = PLANS["climbing-hall"]
    (tmp_path / "copy.yaml").write_text(plan.read_text())
    for number, trace in enumerate(("one.busim", "two.busim")):
        shown("run", str(plan), "--for", "100ms", "--seed", str(number), "--trace", trace)
    names = {"plan": str(plan), "other": str(FOURTEEN), "trace": "one.busim", "second": "two.busim"}
    wide = {}
    for command, tries in TRIED.items():
        for words in tries:
            done = shown(*command.split(), *(word.format(**names) for word in words))
            assert done.exit_code in (0, 1), (command, words, done.output)
            wide[command, words] = too_wide(done.output, 80)
            assert "…" not in done.output, (command, words)
    assert {name: lines for name, lines in wide.items() if lines} == {}


def test_no_command_is_forgotten_by_the_test_of_widths() -> None:
    assert {name for name, _ in named()} - {"plan"} == set(TRIED) | ELSEWHERE
