"""The figures of a tap as a table."""

from __future__ import annotations

from io import StringIO
from typing import TYPE_CHECKING

from busim.cli.screen import Column, Screen

if TYPE_CHECKING:
    from busim.onsite.heard import Camera
    from busim.onsite.tapping import Observer


def watched_text(observer: Observer, until: int) -> str:
    """What passed so far, as plain text for a terminal."""
    out = StringIO()
    _table(Screen(out), observer, until)
    return out.getvalue()


def print_watched(observer: Observer, until: int, trace: str | None) -> None:
    """What passed, camera by camera."""
    screen = Screen()
    _table(screen, observer, until)
    if trace is not None:
        screen.say(f"Recorded in {trace}; busim view, report and export read it.")


def _table(screen: Screen, observer: Observer, until: int) -> None:
    watched, passed = observer.watched, observer.passed
    screen.say(f"Measured at the tap for {until / 1e9:.1f} s: {passed[0]} bytes to the line, {passed[1]} from it.")
    columns = [
        Column("ID"), *(Column(title, right=True) for title in (
            "exchanges", "turnaround p50", "p99 ms", "time-outs", "damaged", "retries", "late", "oldest s"
        )),
    ]  # fmt: skip
    rows = [_row(address, camera, until) for address, camera in sorted(watched.cameras.items())]
    if rows:
        screen.table(columns, rows)
        gap = watched.gaps.quantile(0.5)
        if gap is not None:
            screen.say(f"Gap between two exchanges, median: {gap / 1e6:.2f} ms.")
    else:
        screen.say("No request of this protocol passed.")
    stray = 0 if observer.conversation is None else observer.conversation.stray
    if observer.conversation is not None and observer.conversation.others:
        screen.say(f"{observer.conversation.others} requests came from the line: a second master is on it.", "bold")
    if stray:
        screen.say(f"{stray} bytes came from the line without a request.")
    if observer.effects:
        hits = ", ".join(f"{fault} {count}" for fault, count in sorted(observer.effects.items()))
        screen.say(f"Pieces hit by faults of the tap: {hits}.")


def _row(address: int, camera: Camera, until: int) -> list[str]:
    outcomes, oldest, turnaround = camera.outcomes, camera.oldest(until), camera.turnaround
    return [
        str(address), str(camera.exchanges), _ms(turnaround.quantile(0.5)), _ms(turnaround.quantile(0.99)),
        str(outcomes.get("time-out", 0)), str(outcomes.get("damaged", 0)), str(camera.retries), str(camera.late),
        "-" if oldest is None else f"{oldest[1] / 1e9:.2f} (register {oldest[0]})",
    ]  # fmt: skip


def _ms(ns: float | None) -> str:
    return "-" if ns is None else f"{ns / 1e6:.2f}"
