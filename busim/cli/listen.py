"""`busim listen`: what is on a line, from a capture of it or at the line itself, without sending anything."""

from __future__ import annotations

import contextlib
import json
import signal
import stat
import sys
from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from itertools import chain
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from busim.cli import real_line

if TYPE_CHECKING:
    from busim.foundation.units import CharFormat
    from busim.onsite.captures import Capture, Piece
    from busim.onsite.listening import Fit
    from busim.onsite.targets import Link, Target
    from busim.protocols import BusProtocol

NAME = "listen"
HELP = "Listen to a line or a capture: addresses, polls, lateness."

_GUESSED = 200_000  # bytes of a capture that a guess looks at
_EACH = 2_000_000_000  # ns of listening at each setting


def command(
    source: Annotated[
        str,
        typer.Argument(metavar="SOURCE", help="A port, socket://, rfc2217://, or a capture; - for a pipe."),
    ],
    protocol: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="NAME", help="The protocol of the line, or its file; else modbus-rtu, or guessed."),
    ] = None,
    guess: Annotated[bool, typer.Option("--guess", help="Find baud, format and protocol by what is heard.")] = False,
    baud: real_line.Baud = "38400",
    format: real_line.Format = "8N1",
    length: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--for", help="Listen at a target for this time, as 10s; else until Ctrl-C."),
    ] = None,
    line: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="NAME", help="The line of a trace that has several."),
    ] = None,
    port: Annotated[
        Optional[int],  # noqa: UP045
        typer.Option(metavar="PORT", help="The port of the converter, in a capture of a network."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="All of it as JSON on standard output.")] = False,
    yes: real_line.Yes = False,
) -> None:
    """Listen, then show."""
    from busim.cli.listen_screen import print_fits, print_survey, survey_json
    from busim.foundation.errors import UserError
    from busim.onsite.listening import Survey, as_well, fits
    from busim.protocols import find

    spoken = [find(protocol)] if protocol is not None else _all() if guess else [find("modbus-rtu")]
    at_line = "://" in source or _is_port(source)
    found: list[Fit] = []
    if at_line:
        pieces, notes = _at_target(source, baud, format, length, spoken if guess else (), found, yes)
    else:
        pieces, notes = _of_capture(source, port, line)
    with pieces as stream:
        head: list[Piece] = []
        if guess and not at_line:
            head = _first(stream)
            found = fits(head, spoken)
        survey = Survey(find(protocol or (found[0].protocol if found else "modbus-rtu")))
        broken = None
        try:
            survey.take(chain(head, stream))
        except UserError as error:  # a port that vanished, or damage: what came before it is shown all the same
            if not survey.overheard.bytes:
                raise
            broken = error
        survey.end()
        told = notes()
    others = as_well(found[0], found[1:]) if found else []
    if as_json:
        sys.stdout.write(json.dumps(survey_json(survey, found, told), indent=2) + "\n")
    else:
        if found:
            print_fits(found, others, head, survey.protocol)
        print_survey(survey, told)
    if broken is not None:
        raise broken


def _all() -> list[BusProtocol]:
    from busim.protocols import find, names

    return [find(name) for name in names()]


def _is_port(path: str) -> bool:
    import os

    with contextlib.suppress(OSError):
        return stat.S_ISCHR(os.stat(path).st_mode)
    return path.startswith("/dev/")


def _first(stream: Iterator[Piece]) -> list[Piece]:
    """The pieces that a guess looks at."""
    head: list[Piece] = []
    size = 0
    for piece in stream:
        head.append(piece)
        size += len(piece.data)
        if size >= _GUESSED:
            break
    return head


Opened = tuple[contextlib.AbstractContextManager[Iterator["Piece"]], Callable[[], list[str]]]


def _of_capture(source: str, port: int | None, line: str | None) -> Opened:
    from busim.onsite.captures import open_capture

    opened: list[Capture] = []
    ended: list[str] = []

    @contextlib.contextmanager
    def pieces() -> Iterator[Iterator[Piece]]:
        with open_capture(source, port=port, line=line) as capture:
            opened.append(capture)
            yield _until_ctrl_c(capture, ended)

    return pieces(), lambda: opened[0].notes + ended


def _until_ctrl_c(capture: Iterable[Piece], ended: list[str]) -> Iterator[Piece]:
    """The pieces. Ctrl-C while the next one is awaited ends them: a pipe may have none for hours."""
    pieces = iter(capture)
    while True:
        try:
            piece = next(pieces)
        except StopIteration:
            return
        except KeyboardInterrupt:
            ended.append("ended by Ctrl-C")
            return
        yield piece


def _at_target(
    source: str, baud: str, format: str, length: str | None, tried: Iterable[BusProtocol], found: list[Fit], yes: bool
) -> Opened:
    """Asks, then opens the target; with `tried` it first tries baud and format, into `found`."""
    from busim.cli import option_parsing
    from busim.foundation.units import CharFormat, parse_baud
    from busim.onsite.listening import guessed, heard, settings
    from busim.onsite.targets import PORT, RFC2217, dangers, open_target, parse_target

    target = parse_target(source)
    until = None if length is None else option_parsing.length(length)
    setting = parse_baud(baud if baud.endswith("Bd") else f"{baud} Bd"), CharFormat.parse(format)
    real_line.agree(("Nothing is sent; but opening it can do harm by itself.", *dangers(target)), yes=yes)
    notes: list[str] = []
    tried = list(tried)
    if tried:
        settable = target.kind in (PORT, RFC2217)
        tries = settings() if settable else [(int(setting[0]), setting[1])]
        found += guessed(tries, lambda one, two: _open(target, one, two), tried, _EACH, _said)
        if settable:
            one, two = found[0].setting.split(" Bd ")
            setting = Fraction(one), CharFormat.parse(two)
    stopped: list[bool] = []

    @contextlib.contextmanager
    def pieces() -> Iterator[Iterator[Piece]]:
        with open_target(target, *setting) as link, _ctrl_c(lambda: stopped.append(True)):
            notes.extend(link.notes)
            real_line.listening(until)
            yield heard(link, until, lambda: bool(stopped))

    return pieces(), lambda: notes


def _open(target: Target, baud: int, format: CharFormat) -> Link:
    from busim.onsite.targets import open_target

    return open_target(target, Fraction(baud), format)


def _said(setting: str, best: Fit) -> None:
    print(f"{setting}: {best.protocol} explains {100 * best.explained:.0f} %", file=sys.stderr)


@contextlib.contextmanager
def _ctrl_c(do: Callable[[], None]) -> Iterator[None]:
    """Ctrl-C ends the listening and not the program."""
    before = signal.signal(signal.SIGINT, lambda *_: do())
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
