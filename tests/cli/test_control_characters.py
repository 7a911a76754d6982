"""No text of a plan or a trace can control the user's terminal."""

from __future__ import annotations

import os
import pty
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from serving import busim
from virtual_halls import MS, hall

from busim.foundation.diagnostics import Finding, render
from busim.foundation.errors import UserError
from busim.foundation.printable import printable
from busim.runtime.session import Run

TITLE = "\x1b]0;mine\x07"  # sets a terminal's title (xterm control sequences)
STEERING = [TITLE, "\x1b[2J", "\x9b2J", "\r", "\x08", "\x7f", "\u202e", "\u2066", "\x00", "\x0b", "\u2028"]


@given(st.text())
def test_printable_text_is_the_same_but_for_what_steers(text: str) -> None:
    shown = printable(text)
    assert printable(shown) == shown
    assert all(part.isprintable() or part in "\t\n" for part in shown if ord(part) < 0xA0)
    if all(part.isprintable() for part in text):
        assert shown == text


@pytest.mark.parametrize("steering", STEERING)
def test_errors_and_findings_show_what_steers(steering: str) -> None:
    error = UserError("wrong", file=f"a{steering}b", field=steering, found=steering, expected=steering, mend=steering)
    for text in (str(error), render(Finding.of(error, "code"))):
        assert steering not in text
        assert printable(steering) in text


def altered(path: Path) -> None:
    """A trace whose texts all hold a sequence that sets the title."""
    run = Run(hall(masters="both"), 1, trace=path)
    run.advance(50 * MS)
    run.world.mark(TITLE)
    run.finish()
    with closing(sqlite3.connect(path)) as database, database:
        for table, column in (("name", "name"), ("exchange", "outcome"), ("mark", "text"), ("exchange", "work")):
            database.execute(f"UPDATE {table} SET {column} = ? || {column}", (TITLE,))
        database.execute("UPDATE head SET value = ? WHERE key = 'busim'", (TITLE,))


def test_a_trace_cannot_steer_the_terminal(tmp_path: Path) -> None:
    altered(tmp_path / "t")
    Run(hall(masters="both"), 1, trace=tmp_path / "u").finish()
    for command in (("replay", str(tmp_path / "t")), ("compare", str(tmp_path / "t"), str(tmp_path / "u")),
                    ("export", str(tmp_path / "t"), "--to", "vcd", "--line", "none")):  # fmt: skip
        out = busim(*command)
        assert "mine" in out.stdout + out.stderr
        assert "\x1b" not in out.stdout + out.stderr


def test_the_name_of_a_file_cannot_steer_the_terminal(tmp_path: Path) -> None:
    out = busim("check", str(tmp_path / f"{TITLE}.yaml"))
    assert out.returncode == 2
    assert "\\u001b]0;mine" in out.stderr
    assert "\x1b" not in out.stdout + out.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")
def test_on_a_terminal_only_colours_and_progress_pass() -> None:
    ours, theirs = pty.openpty()
    program = (
        "from busim.cli.stdio import prepare; prepare(); "
        f"print('a\\x1b[1;31mb\\x1b[0m' + {TITLE + chr(0x202E)!r} + 'end')"
    )
    subprocess.run([sys.executable, "-c", program], stdout=theirs, check=True, timeout=60)
    os.close(theirs)
    assert os.read(ours, 1000) == b"a\x1b[1;31mb\x1b[0m\\u001b]0;mine\\u0007\\u202eend\r\n"
    os.close(ours)
