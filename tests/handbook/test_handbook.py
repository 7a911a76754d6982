"""The handbook and the README are true: their commands run, their examples work, their facts match the code."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path

import pytest
import typer
from places import SCENARIOS, TOP
from typer.testing import CliRunner

from busim.cli import explain, main
from busim.cli.app import app
from busim.cli.handbook_render import PLACEHOLDER, filled
from busim.foundation.errors import UserError
from busim.handbook import page, topics
from busim.plan import json_schema
from busim.plan.models import json_schema as camera_schema
from busim.plan.models import load
from busim.recording.figures import QUANTITIES

# What commands import when they run: here once, for every copy of this process that runs one.
LOADED = [import_module(f"busim.{name}") for name in (
    "analysis.check", "cli.show", "commissioning.sheet", "experiments.sweep", "runtime.session", "testing.fuzzing",
    "web",
)]  # fmt: skip
BUSIM = [sys.executable, "-c", "from busim.cli import main; main()"]
TEXTS = {topic: page(topic) for topic in topics()} | {"README": (TOP / "README.md").read_text(encoding="utf-8")}
# The vocabulary of the design: each of these words must be explained.
WORDS = """
    line, station, driver, receiver, burst, camera, master, controller, panel, converter, bus ID, exchange, turnaround,
    packing, poll, command, occupancy, load, headroom, age, plan, finding, rehearsal, run sheet, trace, mark, figures,
    fault, fault hook, judge, case, baud, spare, label, time-out, offline, planned, assumed, computed, measured
"""
# Capitalised words that are not the beginning of a sentence: standards, published sources, units, things of the
# trade and of computing. Any other may be a maker's name, and no maker is named here.
PROPER = """
    JAMA Lippman-Hand Parquet SYN
    AFIPS AN-960 ASCII AWG Bd COM CRC CRC-16/MODBUS CRCs Ctrl-C DTR Devices Engineering Ethernet Ethernet-to-serial FF
    Gruteser HyperPhysics Hz IEEE Mbit/s W
    ID IDs INFOCOM JSON Line Linux MODBUS Miller OASIS POSIX PTYs PoE Poisson Protocol Python RFC RS-485 RTS RTU RevEng
    SARIF SLLA272 SQLite Schema Serial TCP Telnet
    A4 BT.709 CIE CSV HTML ITU-R Letter PDF E1.20 UTF-8 V.24 V.28 XLSX
    API Application HTTP KERMIT MiB SIGKILL SIGTERM Table UART UDP USB Usability V1.02 V1.1b3 VCD Windows YAML Yates
"""


def _blocks(text: str, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


def _commands(text: str) -> list[str]:
    return [line[2:] for block in _blocks(text, "console") for line in block.splitlines() if line.startswith("$ ")]


def _prose(text: str) -> str:
    """The text without code; of a picture only its words."""
    text = re.sub(r"^```.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)
    text = re.sub(r"!\[([^\]]*)\]\([^)]*\)", r"\1.", text)
    return re.sub(r"`[^`]*`", "it", text)


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A folder like that of a user who fetched the project."""
    shutil.copytree(SCENARIOS, tmp_path / "scenarios")
    return tmp_path


def _run(command: list[str], place: Path) -> str:
    done = subprocess.run(command, cwd=place, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, f"{command}\n{done.stdout}\n{done.stderr}"
    assert "Traceback" not in done.stderr
    return done.stdout


def _fork(arguments: list[str], place: Path) -> None:
    """A command in a copy of this process, where everything is imported already: a process of its own in all else."""
    said, errors = place / "said.txt", place / "errors.txt"
    child = os.fork()
    if child == 0:
        code = 1
        try:
            signal.alarm(60)
            os.chdir(place)
            for path, number in ((os.devnull, 0), (said, 1), (errors, 2)):
                os.dup2(os.open(path, os.O_RDWR | os.O_CREAT | os.O_TRUNC), number)
            sys.stdin, sys.stdout, sys.stderr = (
                open(number, mode, closefd=False)  # noqa: SIM115 - until the process ends
                for number, mode in ((0, "r"), (1, "w"), (2, "w"))
            )
            sys.argv = ["busim", *arguments]
            main()
            code = 0
        except SystemExit as ended:
            code = ended.code if isinstance(ended.code, int) else int(bool(ended.code))
        finally:
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    assert code == 0, f"{arguments}\n{said.read_text()}\n{errors.read_text()}"
    assert "Traceback" not in errors.read_text()


@contextmanager
def _served(place: Path) -> Iterator[None]:
    """The climbing hall, served on free ports, with its ready file written."""
    ready = place / "ready.json"
    ready.unlink(missing_ok=True)
    command = [*BUSIM, "serve", "scenarios/climbing-hall/plan.yaml", "--port", "0", "--ready", "ready.json"]
    with subprocess.Popen(command, cwd=place, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL) as server:
        try:
            for _ in range(200):
                if ready.exists():
                    break
                with pytest.raises(subprocess.TimeoutExpired):  # it must not end by itself
                    server.wait(0.1)
            yield
        finally:
            server.send_signal(signal.SIGINT)
            server.wait(10)


# -- what is written there works ----------------------------------------------------------------------------


@pytest.mark.parametrize("name", [name for name, text in TEXTS.items() if _commands(text) or _blocks(text, "python")])
def test_the_commands_and_examples_of_a_page_run(name: str, place: Path) -> None:
    for command in _commands(TEXTS[name]):
        program, *arguments = shlex.split(command)
        assert program == "busim", f"a console block holds commands of busim alone, not {command}"
        _fork(arguments, place)
    examples = _blocks(TEXTS[name], "python")
    for example in examples:
        if "ready.json" not in example and "BUSIM_" not in example:
            _run([sys.executable, "-c", example], place)


def test_the_connecting_examples_reach_the_cameras(place: Path) -> None:
    plain, library = _blocks(TEXTS["connect"], "python")
    with _served(place):
        assert _run([sys.executable, "-c", plain], place) == "ID 1 serial 4101\n"  # as the plan has them
        said = _run([sys.executable, "-c", library], place).splitlines()
    iris, gain, shutter = (one.default for one in load("zoom-camera").parameters[:3])
    assert said == [f"camera {id} iris, gain, shutter: [{iris}, {gain}, {shutter}]" for id in (1, 2, 3, 4)]


def test_the_sample_of_output_in_the_readme_is_real(place: Path) -> None:
    command = _commands(TEXTS["README"])[0]
    said = " ".join(_run([*BUSIM, *shlex.split(command)[1:]], place).split())
    (sample,) = _blocks(TEXTS["README"], "text")
    pieces = [" ".join(piece.split()) for piece in re.split(r"\[\.\.\.\]|^\.\.\.$", sample, flags=re.MULTILINE)]
    assert [piece for piece in pieces if piece not in said] == []


def test_the_two_programs_of_the_readme_are_there() -> None:
    for program in ("tools/demo", "tools/test"):
        assert f"`{program}`" in TEXTS["README"]
        assert os.access(TOP / program, os.X_OK)


@pytest.mark.parametrize("name", TEXTS)
def test_every_option_named_exists(name: str) -> None:
    itself = typer.main.get_command(app)
    top = list(itself.commands.values())  # type: ignore[attr-defined]
    commands = [itself, *top, *(one for group in top for one in getattr(group, "commands", {}).values())]
    there = {
        option
        for command in commands
        for parameter in command.params
        for option in (*parameter.opts, *parameter.secondary_opts)
    } | {"--help"}
    assert set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", TEXTS[name])) - there == set()


@pytest.mark.parametrize("name", TEXTS)
def test_every_page_that_a_text_sends_to_is_there(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    for asked in set(re.findall(r"busim explain ([a-z][\w-]*)", TEXTS[name])):
        explain.command([asked])
        assert capsys.readouterr().out


def test_every_package_has_its_row_in_the_map_for_developers() -> None:
    text = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8")
    told = re.findall(r"^\| \d+ \| `(\w+)` \| \S", text, re.MULTILINE)
    assert sorted(told) == sorted(path.parent.name for path in (TOP / "busim").glob("*/__init__.py"))


@pytest.mark.parametrize("name", ["README", "DEVELOPERS"])
def test_every_file_linked_to_is_there(name: str) -> None:
    links = re.findall(r"\]\(([^)#]+)\)", (TOP / f"{name}.md").read_text(encoding="utf-8"))
    assert [link for link in links if not (TOP / link).exists()] == []


def _named_in_developers() -> list[str]:
    """The words in backticks of the text for developers, without code blocks."""
    return re.findall(r"`([^`\n]+)`", (TOP / "DEVELOPERS.md").read_text(encoding="utf-8"))


def test_every_path_named_in_the_text_for_developers_is_there() -> None:
    named = {one for one in _named_in_developers() if re.fullmatch(r"[\w./-]+/[\w./-]+|\w+\.(py|md|txt|toml)", one)}
    assert len(named) > 50
    there = [one for one in named if (TOP / one).exists() or (TOP / "busim" / one).exists()]
    assert sorted(named - {*there, "busim/handbook/TOPIC.md"}) == []


def test_every_name_of_the_code_in_the_text_for_developers_is_in_the_code() -> None:
    named = {part for one in _named_in_developers() if re.fullmatch(r"[\w.]+", one) for part in one.split(".") if part}
    files = [TOP / "pyproject.toml", *(TOP / "busim").rglob("*.py"), *(TOP / "tools").iterdir()]
    code = "\n".join(one.read_text(encoding="utf-8") for one in files if one.is_file())
    known = set(re.findall(r"\w+", code)) | {one.stem for one in files}
    paths = {part for path in TOP.iterdir() for part in path.name.split(".")} | {"md", "d"}
    assert sorted(named - known - paths) == []


def test_every_command_named_in_the_text_for_developers_is_there() -> None:
    for words in (one.split()[1:] for one in _named_in_developers() if one.startswith("busim ")):
        if words[0] != "--help":
            done = CliRunner().invoke(app, [*words[: 2 if words[0] in ("plan", "new") else 1], "--help"])
            assert done.exit_code == 0, words


def test_the_text_for_developers_stays_short() -> None:
    assert (TOP / "DEVELOPERS.md").stat().st_size < 25_000


# -- what it looks like -------------------------------------------------------------------------------------


def test_every_file_of_the_handbook_is_a_topic() -> None:
    assert {path.stem for path in (TOP / "busim/handbook").glob("*.md")} == set(topics())


def test_the_readme_links_to_every_page() -> None:
    assert set(re.findall(r"\]\(busim/handbook/([\w-]+)\.md\)", TEXTS["README"])) == set(topics())


@pytest.mark.parametrize("topic", topics())
def test_a_page_has_a_title_and_a_summary_and_is_short(topic: str) -> None:
    lines = page(topic).splitlines()
    assert re.fullmatch(r"# \S.*", lines[0])
    assert (lines[1], lines[3]) == ("", "")
    assert lines[2] == topics()[topic]
    assert lines[2].endswith(".")
    assert len(lines) < 120
    assert max(map(len, lines)) <= 120


@pytest.mark.parametrize("topic", topics())
def test_a_page_is_filled_in_whole(topic: str) -> None:
    text = filled(topic)
    assert "{{" not in text
    assert "}}" not in text
    assert "\0" not in text


@pytest.mark.parametrize("name", TEXTS)
def test_no_page_names_a_maker(name: str) -> None:
    text = filled(name) if name in topics() else TEXTS[name]
    lines = re.sub(r"^(#+ .*|\|.*)$", "", _prose(text), flags=re.MULTILINE)
    inside = re.findall(r"(?:(?<=[\w,;] )|(?<=\w\) ))[A-Z][\w./-]+", " ".join(lines.split()))
    assert {word.rstrip(".,;:-/") for word in inside} - set(PROPER.split()) == set()


# -- what must not drift ------------------------------------------------------------------------------------


def test_the_page_on_figures_has_every_figure_once() -> None:
    named = [name for found in PLACEHOLDER.finditer(page("figures")) for name in found[2].split()]
    assert sorted(named) == sorted(QUANTITIES)
    for quantity in QUANTITIES.values():
        assert " ".join(quantity.definition.split()) in " ".join(filled("figures").split())


def test_the_pages_on_plans_have_every_field_of_the_form() -> None:
    schema = json_schema()
    pages = page("plan") + page("site") + page("faults")
    shapes = {found[2].strip() for found in PLACEHOLDER.finditer(pages) if found[1] == "fields"}
    assert shapes == {"Plan"} | {name.removesuffix("Shape") for name in schema["$defs"]}
    text = filled("plan") + filled("site") + filled("faults")
    for shape in (schema, *schema["$defs"].values()):
        properties = shape.get("properties") or shape["anyOf"][1]["properties"]
        assert [name for name in properties if f"\n- `{name}`: " not in text] == []


def test_the_registers_are_those_of_the_model() -> None:
    model = load("zoom-camera")
    rows = dict(re.findall(r"^\| (\d+) +\| (\w+)", filled("modbus-rtu"), re.MULTILINE))
    assert {name: int(register) for register, name in rows.items()} == {
        **model.keys["modbus-rtu"],
        **model.order_keys["modbus-rtu"],
    }


def test_the_page_on_cameras_has_every_field_of_the_form() -> None:
    schema, text = camera_schema(), filled("cameras")
    shapes = {found[2].strip() for found in PLACEHOLDER.finditer(page("cameras"))}
    assert shapes == {"Model"} | {name.removesuffix("Shape") for name in schema["$defs"]}
    for shape in (schema, *schema["$defs"].values()):
        assert [name for name in shape["properties"] if f"\n- `{name}`: " not in text] == []


def test_the_page_on_cameras_has_every_word_that_an_order_may_have() -> None:
    order = filled("cameras")[filled("cameras").index("Each order") :]
    words = ("change-id", "recall", "store", "move", "save", "reboot", "factory-default", "identify", "stop")
    assert [word for word in words if f"`{word}`" not in order] == []


def test_every_word_of_the_design_is_explained() -> None:
    explained = re.findall(r"^- \*\*(.+?)\*\*: ", page("words"), re.MULTILINE)
    assert [word.strip() for word in WORDS.replace("\n", " ").split(",") if word.strip() not in explained] == []
    assert len(set(explained)) == len(explained)


def test_every_word_has_one_sentence_and_says_where_it_comes_from() -> None:
    for entry in re.split(r"^- ", page("words"), flags=re.MULTILINE)[1:]:
        text = " ".join(re.split(r"\n\n", entry)[0].split())
        found = re.fullmatch(r"\*\*(.+?)\*\*: (.+?\.)(?: [A-Z][^()]*\.)? \((.+)\)", text)
        assert found, text
        assert found[3]


def test_every_command_and_page_that_the_symptoms_send_to_is_there() -> None:
    flat = " ".join(page("symptoms").split())
    asked = re.findall(r"`busim explain ([^`]+)`", flat)
    assert len(asked) > 20
    for name in asked:
        explain._about(name.removesuffix(" and the like"))


# -- busim explain ------------------------------------------------------------------------------------------


def test_without_a_topic_the_topics_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    explain.command(None)
    listed = " ".join(capsys.readouterr().out.split())
    assert [summary for summary in topics().values() if summary not in listed] == []


@pytest.mark.parametrize("asked", ["age_mean", "age", "age, mean", "AGE mean"])
def test_a_figure_is_explained_by_its_name(asked: str, capsys: pytest.CaptureFixture[str]) -> None:
    explain.command(asked.split(" "))
    said = capsys.readouterr().out
    assert "`age_mean`, seconds, per camera" in said
    assert "latency" not in said


@pytest.mark.parametrize("name", QUANTITIES)
def test_every_figure_can_be_asked_for_by_name_and_by_title(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    for asked in (name, QUANTITIES[name].title):
        explain.command([asked])
        assert f"`{name}`" in capsys.readouterr().out


def test_a_word_is_explained_and_the_pages_that_speak_of_it_are_named(capsys: pytest.CaptureFixture[str]) -> None:
    explain.command(["turnaround"])
    said = capsys.readouterr().out
    assert said.startswith("- **turnaround**: ")
    assert "shared-line" in said


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("camera silent", "**camera silent**"), ("silent camera", "**camera silent**"), ("lag", "**slow panel**"),
        ("baud", "plan field `baud` of a line"), ("spare", "plan field `spares`"), ("label", "**label**"),
        ("run", "`busim run`"), ("busim plan set", "`busim plan set`"),
        ("camera.turnaround", "plan field `turnaround`"),
        ("zoom-camera", "# zoom-camera: remote camera with a zoom lens"),
            ("modbus-rtu", "# MODBUS RTU"), ("text", "protocol `text`"),
        ("scan", "Also of this name: command `busim scan`"), ("Time-outs", "`time_outs`"),
    ],
)  # fmt: skip
def test_everything_with_a_name_is_explained_by_it(asked: str, said: str, capsys: pytest.CaptureFixture[str]) -> None:
    explain.command(asked.split(" "))
    assert said in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    ("asked", "meant"),
    [
        ("figurs", "`figures`"), ("age_mena", "`age_mean`"), ("Poisson", "pages that speak of it"),
        ("why is my panel so slow", "`slow panel`"), ("no reply from a camera", "`camera silent`"),
        ("two cameras same id", "`same-id-on-line`"), ("termination", "`terminator`"), ("print stickers", "`label`"),
        ("qwertyuiop", "nothing is like it"),
    ],
)  # fmt: skip
def test_what_has_no_name_is_suggested_by_spelling_and_by_meaning_or_not_at_all(asked: str, meant: str) -> None:
    with pytest.raises(UserError) as caught:
        explain.command(asked.split(" "))
    assert meant in (caught.value.mend or "")


def test_a_topic_that_is_not_there_is_the_user_s_error() -> None:
    with pytest.raises(UserError, match="no such topic"):
        page("../errors/__init__")


def test_on_a_terminal_markdown_is_drawn(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    explain.command(["words"])
    plain = capsys.readouterr().out
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    explain.command(["words"])
    drawn = capsys.readouterr().out
    assert plain.startswith("# The words\n")
    assert "# The words" not in drawn
    assert "The words" in drawn
