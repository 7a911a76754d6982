"""Output of commands: complete files or none, no user's file overwritten, and streams as found on site."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from places import SCENARIOS

from busim.cli.writing import refuse_other, write_whole
from busim.foundation import output
from busim.foundation.errors import UserError
from busim.plan import read

HALL = SCENARIOS / "climbing-hall" / "plan.yaml"


def busim(*words: str, output: int | None = subprocess.PIPE, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "busim", *words],
        stdin=subprocess.DEVNULL, stdout=output, stderr=subprocess.PIPE, env={**os.environ, **environment}, timeout=60,
        check=False,
    )  # fmt: skip


# -- files --------------------------------------------------------------------------------------------------------


def full(_descriptor: int) -> None:
    raise OSError(28, "No space left on device")


@pytest.mark.parametrize("new", [False, True])
def test_on_a_full_disk_the_old_file_stays_and_nothing_is_left_beside_it(
    new: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = tmp_path / "old.yaml"
    old.write_text("old")
    monkeypatch.setattr(output.os, "fsync", full)
    with pytest.raises(UserError, match=r"cannot be written.*No space left"):
        write_whole(str(tmp_path / "new.yaml" if new else old), "new", "plan", new=new)
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [("old.yaml", "old")]


@pytest.mark.skipif(sys.platform == "win32", reason="no such modes and links")
def test_a_file_that_is_written_anew_keeps_who_may_read_it_and_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text("old")
    (tmp_path / "plan.yaml").chmod(0o600)
    (tmp_path / "link.yaml").symlink_to("plan.yaml")
    write_whole(str(tmp_path / "link.yaml"), "new", "plan")
    assert (tmp_path / "link.yaml").is_symlink()
    assert (tmp_path / "plan.yaml").read_text() == "new"
    assert (tmp_path / "plan.yaml").stat().st_mode & 0o777 == 0o600


def test_a_file_of_another_kind_and_a_folder_are_not_written_over(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text("mine")
    (tmp_path / "empty").touch()
    for name in ("plan.yaml", "."):
        with pytest.raises(UserError, match="already"):
            refuse_other(str(tmp_path / name), "SARIF", lambda text: text == "SARIF")
    refuse_other(str(tmp_path / "empty"), "SARIF", lambda text: text == "SARIF")
    refuse_other(str(tmp_path / "not there"), "SARIF", lambda text: text == "SARIF")


def test_figures_replace_figures_and_never_the_plan_and_the_command_is_not_run_first(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(HALL.read_text())
    ran = f"open({str(tmp_path / 'ran')!r}, 'w')"
    words = ["with", str(tmp_path / "plan.yaml"), "--figures", str(tmp_path / "plan.yaml"), "--", sys.executable]
    ended = busim(*words, "-c", ran)
    assert ended.returncode == 2
    assert b"no file of figures" in ended.stderr
    assert (tmp_path / "plan.yaml").read_text() == HALL.read_text()
    assert not (tmp_path / "ran").exists()
    words[3] = str(tmp_path / "figures.json")
    assert [busim(*words, "-c", "pass").returncode for _ in range(2)] == [0, 0]


# -- streams ------------------------------------------------------------------------------------------------------


def test_a_plan_shown_in_a_locale_without_its_letters_is_that_plan_again(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(HALL.read_text().replace("boulder left", "Bögen 左"), encoding="utf-8")
    old = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    shown = busim("plan", "show", str(tmp_path / "plan.yaml"), **old)
    assert shown.returncode == 0
    (tmp_path / "again.yaml").write_bytes(shown.stdout)
    assert next(camera.name for camera in read(tmp_path / "again.yaml").cameras) == "Bögen 左"
    assert busim("check", str(tmp_path / "plan.yaml"), **old).returncode == 0


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="/dev/full is of Linux")
@pytest.mark.parametrize("words", [("explain",), ("plan", "schema"), ("check", str(HALL))])
def test_a_full_disk_behind_standard_output_is_the_user_s_to_mend(words: tuple[str, ...]) -> None:
    with open("/dev/full", "wb") as disk:
        ended = busim(*words, output=disk.fileno())
    assert ended.returncode == 2
    assert ended.stderr.startswith(b"standard output cannot be written; found No space left")


@pytest.mark.skipif(sys.platform == "win32", reason="a POSIX shell closes it")
@pytest.mark.parametrize("command", ["explain hook", f"check '{HALL}'", f"plan show '{HALL}'"])
def test_without_a_standard_output_a_command_does_what_it_does(command: str) -> None:
    ended = subprocess.run(
        ["sh", "-c", f"'{sys.executable}' -m busim {command} >&-"], stderr=subprocess.PIPE, timeout=60, check=False
    )
    assert (ended.returncode, ended.stderr) == (0, b"")


def test_ctrl_c_while_it_still_starts_ends_with_130_and_no_traceback() -> None:
    program = (
        "import builtins, sys; real = builtins.__import__\n"
        "def interrupted(name, *rest):\n"
        "    if name == 'typer': raise KeyboardInterrupt\n"
        "    return real(name, *rest)\n"
        "builtins.__import__ = interrupted; sys.argv = ['busim', 'explain']\n"
        "from busim.cli import main; main()"
    )
    ended = subprocess.run([sys.executable, "-c", program], capture_output=True, timeout=60, check=False)
    assert (ended.returncode, ended.stdout, ended.stderr) == (130, b"", b"")


def test_a_reader_that_has_seen_enough_is_told_nothing() -> None:
    ended = subprocess.run(
        ["sh", "-c", f"'{sys.executable}' -m busim plan schema | head -1"],
        capture_output=True, timeout=60, check=False,
    )  # fmt: skip
    assert (ended.stdout, ended.stderr) == (b"{\n", b"")
