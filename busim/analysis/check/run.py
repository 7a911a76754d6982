"""Runs all rules on a plan: findings with their places, silenced ones apart."""

from __future__ import annotations

import re
from collections.abc import Iterator

from busim.analysis.check.catalogue import all_rules
from busim.analysis.check.checked import Checked, Silenced, in_order
from busim.analysis.check.feeds import assumed as of_supplies
from busim.analysis.check.rule import Rule, Spot
from busim.analysis.check.survey import Survey
from busim.analysis.check.wiring import assumed as of_cables
from busim.foundation.diagnostics import Finding
from busim.foundation.units import show_time
from busim.installation import DEFAULT, MODEL, Installation, outline
from busim.plan import Plan, locate

_ENTRY = re.compile(r"([a-z_]+)\[(\d+)\](?:\.order\[(\d+)\])?")
_COVERED = ("lines", "cameras", "converters", "masters", "panels")


def check(plan: Plan | Installation, survey: Survey | None = None) -> Checked:
    """The findings of all rules about a plan. `survey`: of this plan, if the caller already has one.

    Raises nothing but Defect.
    """
    survey = survey or Survey(outline(plan))
    plan = survey.plan
    orders = plan.silenced
    used: set[int] = set()
    findings: list[Finding] = []
    silenced: list[Silenced] = []
    known = all_rules()
    for rule in sorted(known.values(), key=lambda rule: rule.afterwards):
        if rule.afterwards:
            survey.unknown = tuple(number for number, order in enumerate(orders) if order.rule not in known)
            survey.unused = tuple(number for number in range(len(orders)) if number not in used)
        for spot in rule.find(survey):
            finding = _finding(plan, rule, spot)
            number = None if rule.refuses else _silencing(plan, rule, spot)
            if number is None:
                findings.append(finding)
            else:
                used.add(number)
                silenced.append(Silenced(finding, orders[number].reason))
    # findings in files beside the plan, each at its place there, belong to no rule
    findings += [one for one in survey.site.findings if one.code not in known]
    by_finding = {id(one.finding): one for one in silenced}
    return Checked(
        plan=plan.name,
        path=plan.path,
        findings=in_order(findings),
        silenced=tuple(by_finding[id(finding)] for finding in in_order(one.finding for one in silenced)),
        rules=len(known),
        covered={kind: len(getattr(plan, kind)) for kind in _COVERED},
        assumed=tuple(_assumed(survey.site, survey)),
    )


def _finding(plan: Plan, rule: Rule, spot: Spot) -> Finding:
    line, column = locate(plan, spot.field)
    return Finding(
        severity=rule.severity,
        code=rule.id,
        what=spot.what,
        file=plan.path or None,
        line=line,
        column=column,
        field=spot.field,
        found=spot.found,
        expected=spot.expected,
        mend=rule.remedy(spot.mend),
        why=rule.explanation,
    )


def _silencing(plan: Plan, rule: Rule, spot: Spot) -> int | None:
    """The first silencing that covers this spot."""
    names: set[str] | None = None
    for number, order in enumerate(plan.silenced):
        if order.rule == rule.id:
            names = _names(plan, spot.field) if names is None else names
            if order.at is None or order.at in names:
                return number
    return None


def _names(plan: Plan, field: str) -> set[str]:
    """The names of the entries of a field: its own, and for a position of a line also that of its station."""
    match = _ENTRY.match(field)
    entries = getattr(plan, match[1], ()) if match else ()
    if match is None or not int(match[2]) < len(entries):
        return set()
    entry = entries[int(match[2])]
    names = {getattr(entry, "name", "")}
    if match[3] is not None:
        names.add(entry.order[int(match[3])].name)
    return names - {""}


def _assumed(site: Installation, survey: Survey) -> Iterator[str]:
    plan = site.plan
    whose = {MODEL: "from their models", DEFAULT: "the default"}
    for words, kind, key, values in (
        ("a turnaround of {}", "cameras", "turnaround", [one.turnaround.high for one in plan.cameras]),
        ("a latency of {} each way", "converters", "latency", [one.latency.high for one in plan.converters]),
        ("packing after {} of silence", "converters", "packing.idle", [one.packing_idle for one in plan.converters]),
    ):
        origins = [site.origin(f"{kind}[{number}].{key}").kind for number in range(len(values))]
        for origin, of in whose.items():
            left = [value for value, one in zip(values, origins, strict=True) if one == origin]
            if left:
                count = f"{len(left)} of {len(values)} {kind}"
                times = " to ".join(show_time(time) for time in sorted({min(left), max(left)}))
                yield f"{words.format(times)} for {count}: not written, {of}"
    untimed = len(plan.lines) - len({timed.case.line for timed in survey.timed})
    if untimed:
        why = "no master asks there, or a protocol, model or ID is not valid"
        yield f"no times for {untimed} of {len(plan.lines)} lines: {why}"
    yield from of_cables(site, survey.wirings)
    yield from of_supplies(site, survey.feeds)
    if survey.timed:
        yield "times computed as in `busim budget`, with the assumptions that it lists"
