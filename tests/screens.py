"""The output of a command at a given width: its lines, and its text without line breaks."""

from __future__ import annotations

from rich.cells import cell_len
from typer.testing import CliRunner, Result

from busim.cli.app import app

LINES = 24  # of the smallest terminal; the VT100's, and what POSIX takes where nobody says (common practice, no source)


def shown(*words: str, columns: int | None = None) -> Result:
    """The command as it prints into a pipe, or to `columns` columns."""
    return CliRunner().invoke(app, list(words), env={"COLUMNS": None if columns is None else str(columns)})


def flat(text: str) -> str:
    """The text as one line; its line breaks depend on the width."""
    return " ".join(text.split())


def too_wide(text: str, columns: int) -> list[str]:
    """Lines beyond the width, except those of one long word, such as a path to copy."""
    return [line for line in text.splitlines() if cell_len(line) > columns and len(line.split()) > 1]
