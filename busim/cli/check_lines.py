"""Findings on a screen: how many of which kind on which line, then each cause once, errors first.

The default takes one screen of 24 lines: findings of one rule with one remedy stand together, and each group gets as
many lines as there is room for. `--detail` gives every finding with its place, reason and remedy.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from rich.text import Text

from busim.analysis.check import AREAS, CAUTION, Checked, all_rules
from busim.cli.screen import LINES, Screen, counted, fewest, listed
from busim.foundation.diagnostics import Finding, Severity
from busim.plan import Plan

_STYLES: Mapping[Severity, str] = {"error": "bold red", "warning": "yellow", "note": "cyan"}
_MOST = 200  # findings printed with --detail; a plan with more has one mistake many times
_PLACES = 6  # places named for one group
_WHOLE = "whole plan"
_ENTRY = re.compile(r"([a-z_]+)\[(\d+)\]")

# How much a group shows: also found and expected; also the remedy; only the mistake.
_FULL, _SHORT, _BARE = 3, 2, 1
_PLENTY: Sequence[Mapping[Severity, int]] = (
    {"error": _FULL, "warning": _FULL, "note": _FULL},
    {"error": _FULL, "warning": _FULL, "note": _SHORT},
    {"error": _FULL, "warning": _SHORT, "note": _SHORT},
    {"error": _FULL, "warning": _SHORT, "note": _BARE},
    {"error": _SHORT, "warning": _SHORT, "note": _BARE},
    {"error": _SHORT, "warning": _BARE, "note": _BARE},
    {"error": _BARE, "warning": _BARE, "note": _BARE},
)


class Group(NamedTuple):
    """Findings of one rule with one remedy."""

    findings: tuple[Finding, ...]

    @property
    def first(self) -> Finding:
        return self.findings[0]

    @property
    def places(self) -> str:
        """Their places in the file: `plan.yaml:22:11, 41:11`."""
        places = [
            ":".join(str(part) for part in (one.line, one.column) if part is not None)
            for one in self.findings
            if one.line is not None
        ]
        name = Path(self.first.file).name if self.first.file else "the plan"
        return f"{name}:{fewest(places, _PLACES)}" if places else name


def grouped(findings: Iterable[Finding]) -> list[Group]:
    """Findings by rule and remedy, in the order in which each group begins: errors first."""
    groups: dict[tuple[str, str, str | None], list[Finding]] = {}
    for one in findings:
        groups.setdefault((one.severity, one.code, one.mend), []).append(one)
    return [Group(tuple(several)) for several in groups.values()]


def counts(checked: Checked) -> str:
    """`0 errors, 1 warning, 4 notes`."""
    severities: tuple[Severity, ...] = ("error", "warning", "note")
    return ", ".join(counted(checked.count(severity), severity) for severity in severities)


def _covered(checked: Checked) -> str:
    """`122 rules over 3 lines, 9 cameras`."""
    covered = (checked.covered or {}).items()
    what = ", ".join(counted(number, kind.removesuffix("s")) for kind, number in covered if number)
    return f"{checked.rules} rules over {what}."


def summary(checked: Checked) -> str:
    """What the screens of other commands say of the findings."""
    edges = " Where bauds stand at an exact even ratio, this run shows one arbitrary outcome of many."
    return f"Check of the plan: {counts(checked)} (busim check).{edges if checked.arbitrary else ''}"


def print_checked(checked: Checked, plan: Plan) -> None:
    """The answer: counts by line, then each cause once."""
    screen = Screen()
    errors = checked.count("error")
    silenced = f"; {len(checked.silenced)} silenced in the plan" if checked.silenced else ""
    head = f"{checked.plan}: {counts(checked)}{silenced}"
    screen.say(head, _STYLES["error"] if errors else "bold")
    screen.say(_by_line(checked, plan))
    groups = grouped(checked.findings)
    ending = (
        f"{_caution(checked.findings)}{_covered(checked)} They look at what is planned; nothing was measured. "
        f"More: --detail, --line NAME, busim explain {_explained(one.first.code for one in groups)}"
    )
    room = LINES - screen.used - len(screen.wrapped(ending)) - (1 if groups else 0)
    blocks = [[_block(screen, group, much[group.first.severity]) for group in groups] for much in _PLENTY]
    fitting = next((one for one in blocks if sum(map(len, one)) <= room), blocks[-1])
    if groups:
        screen.blank()
    _print(screen, groups, fitting, room)
    screen.say(ending, "dim")


def _print(screen: Screen, groups: Sequence[Group], blocks: Sequence[Sequence[Text]], room: int) -> None:
    """The blocks that fit, and the rules and numbers of the other findings."""
    taken, whole = 0, sum(map(len, blocks))
    for number, block in enumerate(blocks):
        more = [f"{len(group.findings)} of {group.first.code}" for group in groups[number:]]
        left = f"and {fewest(more, 4)}: --detail"
        if whole > room and taken + len(block) + len(screen.wrapped(left)) > room and number:
            screen.say(left, "yellow")
            return
        for line in block:
            screen.line(line)
        taken += len(block)


def _block(screen: Screen, group: Group, much: int) -> list[Text]:
    """The lines of one group."""
    one, several = group.first, len(group.findings)
    style = _STYLES[one.severity]
    more = f" (and {several - 1} more like this)" if several > 1 else ""
    head = screen.wrapped(f"{one.severity} {one.code} ({group.places}): {one.what}{more}", hang=2)
    lines = [Text(line) for line in head]
    lines[0].stylize(style, 0, len(one.severity))
    said = []
    if much >= _FULL:
        said += [("found", one.found), ("expected", one.expected)]
    if much >= _SHORT:
        said.append(("do", _without_caution(one.mend)))
    for name, text in said:
        if text:
            lines += [Text(line) for line in screen.wrapped(f"{name}: {text}", indent=2, hang=4)]
    return lines


def _without_caution(mend: str | None) -> str | None:
    """A remedy without the caution at its end, which the screen prints once for all."""
    return mend.removesuffix(f" {CAUTION}") if mend else mend


def _caution(findings: Iterable[Finding]) -> str:
    """The caution, if one of the remedies has a person touch the installation; otherwise nothing."""
    return f"{CAUTION} " if any((one.mend or "").endswith(CAUTION) for one in findings) else ""


def _by_line(checked: Checked, plan: Plan) -> str:
    """How many findings of which kind each line of the installation has."""
    found: dict[str, Counter[str]] = {name: Counter() for name in (*(line.name for line in plan.lines), _WHOLE)}
    for one in checked.findings:
        for name in lines_of(plan, one) or [_WHOLE]:
            found[name][one.severity] += 1
    said: dict[str, list[str]] = {}
    for name, kinds in found.items():
        if name != _WHOLE or kinds:
            words = listed([counted(kinds[kind], kind) for kind in ("error", "warning", "note") if kinds[kind]])
            said.setdefault(words or "nothing found", []).append(name)
    return "; ".join(f"{fewest(names, 8)}: {words}{' each' if _each(names, words) else ''}"
                     for words, names in said.items()) + "."  # fmt: skip


def _each(names: Sequence[str], words: str) -> bool:
    return len(names) > 1 and words != "nothing found"


def lines_of(plan: Plan, finding: Finding) -> list[str]:
    """The lines of the installation that a finding is about; none if it is about the whole plan."""
    match = _ENTRY.match(finding.field or "")
    entries = getattr(plan, match[1], ()) if match else ()
    if match is None or not int(match[2]) < len(entries):
        return []
    entry = entries[int(match[2])]
    if match[1] == "lines":
        return [entry.name]
    stations = (
        {entry.name, *getattr(entry, "through", ())} if match[1] in ("cameras", "converters", "masters") else set()
    )
    if match[1] == "supplies":
        stations = {getattr(entry, "at", None)}
    stations -= {None, ""}
    return [line.name for line in plan.lines if any(place.name in stations for place in line.order)]


def print_detail(checked: Checked, plan: Plan, line: str | None) -> None:
    """All findings, or those of one named line; then silenced findings, and what was checked."""
    screen = Screen()
    screen.say(_sentence(checked), "bold")
    wanted = [one for one in checked.findings if line is None or line in lines_of(plan, one)]
    said: set[str] = set()
    for finding in wanted[:_MOST]:
        screen.blank()
        _finding(screen, finding, first=finding.code not in said)
        said.add(finding.code)
    if len(wanted) > _MOST:
        left = Counter(finding.code for finding in wanted[_MOST:])
        rest = ", ".join(f"{count} of {code}" for code, count in left.items())
        screen.say(f"and {left.total()} more, which --json shows: {rest}")
    screen.blank()
    silenced = [one for one in checked.silenced if line is None or line in lines_of(plan, one.finding)]
    if silenced:
        screen.say("Silenced in the plan:", "bold")
    for one in silenced:
        screen.say(f"{_head(one.finding)}: {one.finding.what}; because {one.reason}", "dim", indent=2, hang=2)
    if caution := _caution(wanted):
        screen.say(caution.rstrip(), "bold")
    assumed = f" Assumed: {'; '.join(checked.assumed)}." if checked.assumed else ""
    screen.say(f"Found in what is planned; nothing was measured.{assumed}", "dim")
    if said:
        screen.say(f"More about a rule: busim explain {_explained(one.code for one in wanted)}", "dim")


def _finding(screen: Screen, finding: Finding, first: bool) -> None:
    lines = [Text(line) for line in screen.wrapped(f"{_head(finding)}: {finding.what}", hang=2)]
    for line in lines:
        line.highlight_words([f" {finding.severity} "], _STYLES[finding.severity])
        screen.line(line)
    words = [("found", finding.found), ("expected", finding.expected), ("to do", _without_caution(finding.mend))]
    for name, text in [*words, ("why", finding.why if first else None)]:
        if text:
            screen.fact(f"{name}:", text, "dim" if name == "why" else "", indent=4, column=10)


def _explained(codes: Iterable[str]) -> str:
    """The first of these that is a rule, whose page says more."""
    rules = all_rules()
    return next((code for code in codes if code in rules), "check")


def _head(finding: Finding) -> str:
    place = ":".join(str(part) for part in (finding.file, finding.line, finding.column) if part is not None)
    return f"{place} {finding.severity} {finding.code}"


def _sentence(checked: Checked) -> str:
    silenced = f", {counted(len(checked.silenced), 'silenced finding')}" if checked.silenced else ""
    return f"{checked.plan}: {counts(checked)}{silenced}. {_covered(checked)}"


def print_rules() -> None:
    """The rules, area by area."""
    screen = Screen()
    rules = all_rules().values()
    for area, about in AREAS.items():
        held = [rule for rule in rules if rule.area == area]
        if not held:
            continue
        screen.say(f"{area}: {about}", "bold")
        for rule in held:
            screen.fact(f"{rule.severity} {rule.id}", rule.title, column=37)
    screen.say(f"{len(rules)} rules. busim explain RULE explains one.", "dim")
