"""The result of a bus scan on a screen: the number of cameras, shared bus IDs, what to do.

The answer takes a terminal of 24 lines. `--detail` adds the time of each way, and the place of each camera, which only
the emulator knows.
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.text import Text

from busim.cli.screen import Column, Screen, counted, listed
from busim.commissioning.bus_scan import BusScan, Row
from busim.foundation.units import show_time

_CAUTION = (
    "Emulated: this command touches no real line. On a real one ask first: connecting to a converter may evict the "
    "show's controller."
)
_SHOWN = 24  # bytes shown of those heard


def print_scan(call: BusScan, others: Sequence[str], *, detail: bool) -> None:
    """The answer, and with `detail` the rest. `others`: the lines that were not scanned."""
    screen = Screen()
    listening = f"listening for {show_time(call.listening)} (simulated) before anything was sent: {call.why}"
    ending = "More: --detail." + (f" Not scanned: {listed(others)}; --line NAME." if others else "")
    if not call.quiet.safe:
        _refused(screen, call)
        screen.say(_capital(listening) + ".")
    elif call.others is not None:
        asked = ", ".join(str(bus_id) for bus_id in sorted({request.address for request in call.others.requests}))
        at = f"{call.others.at / 1e9:.3f} s"
        screen.say(
            f"{call.line}: stopped at {at} (simulated): somebody else began to ask (bus IDs {asked})", "bold red"
        )
        screen.say(_what_to_do(call))
        screen.say(f"Nothing was heard while {listening}. A master that polls less often goes unnoticed.")
    else:
        _found(screen, call, listening, ending, detail=detail)
    screen.say(_CAUTION, "yellow")
    screen.say(ending, "dim")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _refused(screen: Screen, call: BusScan) -> None:
    """Somebody polls: who, and what to do."""
    quiet = call.quiet
    shown = quiet.heard[:_SHOWN].hex(" ").upper() + (" ..." if len(quiet.heard) > _SHOWN else "")
    at = (call.quiet_at + (quiet.at or 0)) / 1e9
    screen.say(f"{call.line}: somebody polls here. Nothing was sent", "bold red")
    screen.say(_what_to_do(call))
    screen.say(f"{counted(len(quiet.heard), 'byte')} heard, the first at {at:.3f} s (simulated):")
    screen.say(shown, indent=2)
    if call.polled:
        screen.say(
            f"bus IDs in them: {', '.join(map(str, call.polled))}; requests of others among them: "
            f"{len(quiet.requests)} (of those sent through this converter only the replies are heard)",
            indent=2,
        )


def _what_to_do(call: BusScan) -> str:
    stops = " ".join(f"--stop '{name}'" for name in call.masters)
    here = f" In this emulation: {stops}." if stops else ""
    return f"To do: stop the controller and everything else that polls this line, then scan again.{here}"


def _found(screen: Screen, call: BusScan, listening: str, ending: str, *, detail: bool) -> None:
    shared = [row for row in call.rows if row.sure]
    unsure = sum(bool(row.doubt) and not row.sure for row in call.rows)
    said = "each alone at its bus ID" if call.rows else "look for power, plugs, baud and format"
    if shared:
        said = f"{len(shared)} of them share a bus ID"
    elif unsure:
        said = f"a second camera may be hidden at {counted(unsure, 'bus ID')}"
    screen.say(f"{call.line}: {counted(len(call.rows), 'camera')} found, {said}", "bold red" if shared else "bold")
    _unseen(screen, call, detail=detail)
    if shared:
        screen.say("To do: connect these cameras one at a time and give each its own bus ID: busim rehearse PLAN.")
    screen.say(
        f"Found by {call.way}. Nothing was heard while {listening}. A master that polls less often goes unnoticed."
    )
    advice = f"Best here: {call.advice}."
    screen.blank()
    if call.rows:
        reserved = 2 + sum(len(screen.wrapped(text)) for text in (advice, _CAUTION, ending))
        room = len(call.rows) if detail else max(1, screen.left - reserved - 2)
        _rows(screen, call.rows[:room])
        if len(call.rows) > room:
            screen.say(f"and {len(call.rows) - room} more: --detail")
        screen.blank()
    screen.say(advice)
    if detail:
        _more(screen, call)


def _unseen(screen: Screen, call: BusScan, *, detail: bool) -> None:
    """Planned cameras that were not found; those that are planned as absent are named, and no fault."""
    lost = [one for one in call.unseen if one.present]
    if lost:
        most = len(lost) if detail else 4
        names = listed([f"{one.name} (ID {one.bus_id}, at {one.metres:g} m)" for one in lost[:most]])
        more = f" and {len(lost) - most} more: --detail" if len(lost) > most else ""
        screen.say(f"Not found: {counted(len(lost), 'planned camera')}: {names}{more}", "bold red")
        screen.say(
            "To do: look at the one nearest to the converter first: power, plug, wires of the pair, baud, format."
        )
    absent = [one.name for one in call.unseen if not one.present]
    if absent:
        screen.say(f"Planned as not present, and not found: {listed(absent[:8])}.")


def _rows(screen: Screen, rows: Sequence[Row]) -> None:
    cells: list[list[str | Text]] = []
    for row in rows:
        alone = Text("NO: " + row.doubt, "red") if row.sure else Text(f"not known: {row.doubt}" if row.doubt else "yes")
        serial = "-" if row.serial is None else str(row.serial)
        cells.append([str(row.bus_id), serial, row.model or "not in the plan", alone])
    columns = [
        Column("ID\n(heard)", True), Column("serial\n(heard)", True), Column("model\n(planned)"),
        Column("alone at its ID?"),
    ]  # fmt: skip
    screen.table(columns, cells)


def _more(screen: Screen, call: BusScan) -> None:
    screen.blank()
    if call.looks:
        times = f"{call.checked / 1e9:.2f} s more (simulated)"
        screen.say(f"A closer look at {counted(len(call.looks), 'ID')} took {times}.")
    known = [f"ID {row.bus_id}, serial {row.serial}: {row.where}" for row in call.rows if row.where]
    if known:
        screen.say("Known to the emulator only, not to a laptop on site:")
    for text in known:
        screen.say(text, indent=2, hang=2)
    screen.blank()
    _ways(screen, call)


def _ways(screen: Screen, call: BusScan) -> None:
    screen.say("How long each way takes: computed for the cameras of the plan, simulated on this line")
    rows: list[list[str | Text]] = []
    for one in call.ways:
        if one.missing:
            rows.append([one.name, *["-"] * 7])
            continue
        times = [f"{ns / 1e9:.2f} s" for ns in (one.best, one.mean, one.most)]
        took = "stopped" if one.took is None else f"{one.took / 1e9:.2f} s"
        rows.append([one.name, *times, took, str(one.questions), str(one.found), str(len(one.hidden))])
    titles = ("computed\nbest", "mean", "at most", "simulated", "questions", "found", "missed*")
    screen.table([Column("way"), *(Column(title, True) for title in titles)], rows)
    screen.say("* cameras that are on and were not told apart from others: known to the emulator only.")
    for one in call.ways:
        if one.missing:
            screen.say(f"no {one.name}: {one.missing}.")
