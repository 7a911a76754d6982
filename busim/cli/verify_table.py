"""A verification on a screen: whether the simulation agrees with the budget, then both side by side."""

from __future__ import annotations

from rich.text import Text

from busim.cli.screen import Column, Screen, counted
from busim.experiments.verify import DIFFERS, HOLDS, TOO_FEW, Check, LineVerification, Verification
from busim.recording.figures import QUANTITIES

_TITLES = {
    "exchange": "exchange, mean",
    "cycle": "poll cycle, mean",
    "move_mean": "move, mean",
    "shared_rate": "exchanges of this master",
    "shared_exchange": "exchange, mean, with its wait",
    "shared_worst": "exchange, longest, with its wait",
}
_STYLES = {HOLDS: "green", TOO_FEW: "yellow", DIFFERS: "red"}


def print_verification(found: Verification, *, detail: bool) -> None:
    """The answer, one row per line, the differences; with `detail` every check."""
    screen = Screen()
    screen.say(f"{found.plan}: {_sentence(found)}", "bold")
    if found.length:
        length = f"{found.length / 1e9:.4g} s of simulation after settling, seed {found.seed}"
        screen.say(f"Computed by the budget beside measured in {length}.", "dim")
    screen.blank()
    rows: list[list[str | Text]] = []
    for line in found.lines:
        counts = [sum(check.verdict == verdict for check in line.checks) for verdict in (HOLDS, TOO_FEW, DIFFERS)]
        verdict = DIFFERS if counts[2] else TOO_FEW if counts[1] else HOLDS if counts[0] else "nothing to compare"
        rows.append([line.line, line.master, Text(verdict, _STYLES.get(verdict, "dim")), *map(str, counts)])
    titles = (HOLDS, TOO_FEW, DIFFERS)
    screen.table([Column("line"), Column("master"), Column("verdict"), *(Column(one, True) for one in titles)], rows)
    for line in found.lines:
        for text in line.declined:
            screen.fact(line.line, f"nothing to compare: {text}.", indent=0)
        checks = [check for check in line.checks if detail or check.verdict == DIFFERS]
        if checks:
            screen.blank()
            _checks(screen, line, checks)
    screen.blank()
    if not detail:
        screen.say("More: --detail shows every number.", "dim")
    screen.say("Mean exchange and cycle also hold within three standard errors.", "dim")


def _checks(screen: Screen, line: LineVerification, checks: list[Check]) -> None:
    rows: list[list[str | Text]] = []
    for check in checks:
        title = _TITLES.get(check.name) or QUANTITIES[check.name].title
        bound = check.tolerance is None
        between = "-"
        if check.low is not None and check.high is not None:
            between = f"{_show(check, check.low).split()[0]}..{_show(check, check.high)}"
        rows.append([
            f"{title}: {check.of}" if check.of else title,
            ("at most " if bound else "") + _show(check, check.expected),
            _show(check, check.measured), between, str(check.count),
            "-" if check.tolerance is None else f"{check.difference:+.2%} of {check.tolerance:.0%}",
            Text(check.verdict, _STYLES[check.verdict]),
        ])  # fmt: skip
    titles = ("computed", "measured", "95 % interval", "count", "off by, of\nallowed")
    columns = [Column("figure"), *(Column(title, True) for title in titles), Column("")]
    screen.table(columns, rows, title=f"{line.line}: {line.master}")


def _show(check: Check, number: float) -> str:
    if check.unit == "s":
        return f"{1e3 * number:.4g} ms"
    return f"{number:.2%}" if check.unit == "1" else f"{number:.4g} {check.unit}"


def _sentence(found: Verification) -> str:
    checks = [check for line in found.lines for check in line.checks]
    if not checks:
        return "nothing was compared"
    counts = {verdict: sum(check.verdict == verdict for check in checks) for verdict in (HOLDS, TOO_FEW, DIFFERS)}
    if counts[DIFFERS]:
        text = f"{counts[DIFFERS]} of {counted(len(checks), 'number')} differ from the simulation"
    else:
        text = f"{counts[HOLDS]} of {counted(len(checks), 'number')} hold in the simulation"
    if counts[TOO_FEW]:
        text += f"; {counts[TOO_FEW]} had too few observations (simulate for longer, with --for)"
    return text
