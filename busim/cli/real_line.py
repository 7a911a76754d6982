"""Before anything real is opened: what that will do is said, and the user agrees or nothing happens."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from busim.foundation.units import CharFormat

Target = Annotated[
    str, typer.Argument(metavar="TARGET", help="socket://HOST:PORT, rfc2217://HOST:PORT or a serial port.")
]
Yes = Annotated[bool, typer.Option("--yes", help="Agree beforehand, for scripts.")]
Baud = Annotated[str, typer.Option(metavar="RATE", help="Baud of the line, as 38400.")]
Format = Annotated[str, typer.Option(metavar="FORMAT", help="Character format of the line, as 8E1.")]
Listen = Annotated[str, typer.Option(metavar="TIME", help="How long to listen before anything is sent.")]
Direction = Annotated[str, typer.Option(metavar="WAY", help="Who enables the port's driver: hardware, kernel or rts.")]


def agree(said: Sequence[str], *, yes: bool, question: str = "Go on?") -> None:
    """Say what will happen and ask. Raises UserError without a terminal to ask at; leaves with 1 after a no."""
    from busim.cli.screen import Screen
    from busim.foundation.errors import UserError

    screen = Screen(sys.stderr)
    for sentence in said:
        screen.say(sentence, "yellow")
    if yes:
        return
    if not sys.stdin.isatty():
        raise UserError(
            "nobody is there to agree, and nothing was opened", found="no terminal on standard input",
            expected="a person at a terminal, or --yes", mend="read the sentences above, then add --yes",
        )  # fmt: skip
    if not typer.confirm(question, default=False, err=True):
        raise typer.Exit(1)


def listening(length: int | None) -> None:
    """Say that it listens now, for `length` ns (None: until Ctrl-C): a wait without a word looks like a hang."""
    from busim.foundation.units import show_time

    long = "until Ctrl-C" if length is None else f"for {show_time(length)}"
    print(f"listening {long}, nothing is sent meanwhile ...", file=sys.stderr, flush=True)


def rate(text: str) -> Fraction:
    """A baud rate as an option says it, with or without its unit. Raises UserError."""
    from busim.foundation.units import parse_baud

    return parse_baud(f"{text} Bd" if text.strip().isdecimal() else text)


def form(text: str) -> CharFormat:
    """A character format. Raises UserError."""
    from busim.foundation.units import CharFormat

    return CharFormat.parse(text)


def today() -> str:
    """The day, as a record of what was measured has it."""
    from datetime import date

    return date.today().isoformat()


def instant() -> str:
    """This instant in UTC, to the second, as a record has it."""
    from datetime import UTC, datetime

    return datetime.now(UTC).isoformat(timespec="seconds")
