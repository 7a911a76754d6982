"""What was overheard on a line, as tables and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from busim.cli.screen import Column, Screen
from busim.onsite.listening import NONE, least_baud

if TYPE_CHECKING:
    from busim.onsite.captures import Piece
    from busim.onsite.listening import Fit, Survey
    from busim.protocols import BusProtocol

SCHEMA = 1
_MOST = 12  # rows


def print_fits(found: Sequence[Fit], others: Sequence[Fit], pieces: Sequence[Piece], protocol: BusProtocol) -> None:
    """The guess, how sure it is, and what else fits."""
    screen, best = Screen(), found[0]
    if best.confidence == NONE:
        screen.say("Guess: none of the protocols explains these bytes.", "bold")
    else:
        at = f" at {best.setting}" if best.setting else ""
        screen.say(f"Guess: {best.protocol}{at}; confidence: {best.confidence}.", "bold")
    screen.say(
        f"It explains {100 * best.explained:.0f} % of the bytes, and {100 * best.by_chance:.0f} % of the same bytes "
        f"shuffled; {best.answered} requests with a sound reply."
    )
    if others:
        screen.say("Fits as well: " + ", ".join(f"{one.protocol} {one.setting}".strip() for one in others) + ".")
    else:
        screen.say("Nothing else that was tried fits as well.")
    least = None if best.setting else least_baud(pieces, protocol, 10)
    if least is not None:
        screen.say(
            f"Baud and format do not show in a capture. Its times need more than {least:.0f} Bd (computed, 10 bits per "
            "character)."
        )


def print_survey(survey: Survey, notes: Sequence[str]) -> None:
    """Who is on the line, what is polled, who is late, whether there is a second master."""
    screen, seconds = Screen(), survey.until / 1e9
    screen.say(
        f"Overheard (measured): {survey.overheard.bytes} bytes in {seconds:.1f} s, {100 * survey.explained:.0f} % of "
        f"them explained by {survey.protocol.name}; {survey.watched.exchanges} requests."
    )
    for note in notes:
        screen.say(note)
    if not survey.overheard.bytes:
        screen.say(
            "Nothing was heard: nobody sends, or this is not the line. At a port look at the two wires; at a box, most "
            "serve one client and pass on replies alone.", "bold",
        )  # fmt: skip
        return
    columns = [
        Column("ID"), *(Column(title, right=True) for title in (
            "requests", "/s", "answered", "turnaround ms", "p99", "retries", "late"
        )),
    ]  # fmt: skip
    rows = []
    for address, camera in sorted(survey.watched.cameras.items()):
        rate = f"{camera.exchanges / seconds:.1f}" if seconds else "-"
        rows.append([
            str(address), str(camera.exchanges), rate, f"{100 * camera.reply.count / camera.exchanges:.0f} %",
            _ms(camera.turnaround.quantile(0.5)), _ms(camera.turnaround.quantile(0.99)), str(camera.retries),
            str(camera.late),
        ])  # fmt: skip
    if rows:
        screen.table(columns, rows)
    for group in survey.groups()[:_MOST]:
        polls = [f"ID {poll.request.address} {poll.request.verb} {poll.request.key}" for poll in group.polls]
        more = f" and {len(polls) - 4} more" if len(polls) > 4 else ""
        screen.say(
            f"Every {_ms(group.every)} ms ({1e9 / group.every:.1f}/s): {', '.join(polls[:4])}{more}", indent=2, hang=2
        )
    for address, why in survey.late():
        screen.say(f"Late: ID {address}, {why}.", "bold")
    verdict, why = survey.second_master()
    screen.say(f"Second master: {verdict}; {why}.", "" if verdict == "not seen" else "bold")


def survey_json(survey: Survey, found: Sequence[Fit], notes: Sequence[str]) -> dict[str, Any]:
    """The same, JSON-ready. Times in seconds; all numbers are measured."""
    verdict, why = survey.second_master()
    return {
        "schema": SCHEMA, "kind": "measured", "bytes": survey.overheard.bytes, "length_s": survey.until / 1e9,
        "protocol": survey.protocol.name, "explained": survey.explained, "exchanges": survey.watched.exchanges,
        "notes": list(notes),
        "fits": [
            {"protocol": one.protocol, "setting": one.setting, "explained": one.explained, "by_chance": one.by_chance,
             "answered": one.answered, "confidence": one.confidence}
            for one in found
        ],
        "cameras": [
            {"address": address, "exchanges": camera.exchanges, "outcomes": camera.outcomes,
             "turnaround_p50_s": _s(camera.turnaround.quantile(0.5)), "retries": camera.retries, "late": camera.late}
            for address, camera in sorted(survey.watched.cameras.items())
        ],
        "groups": [
            {"every_s": group.every / 1e9,
             "polls": [{"address": poll.request.address, "verb": poll.request.verb, "key": poll.request.key,
                        "size": poll.request.size, "count": poll.count} for poll in group.polls]}
            for group in survey.groups()
        ],
        "late": [{"address": address, "why": reason} for address, reason in survey.late()],
        "second_master": {"verdict": verdict, "why": why},
    }  # fmt: skip


def _ms(ns: float | None) -> str:
    return "-" if ns is None else f"{ns / 1e6:.2f}"


def _s(ns: float | None) -> float | None:
    return None if ns is None else ns / 1e9
