"""Every rule holds on its own examples and has all parts of its page."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import busim.analysis.check.rules as package
from busim.analysis.check import AREAS, CAUTION, SOUND, Rule, all_rules, check, marked, page
from busim.plan import read_text

RULES = all_rules()
HERE = Path(package.__file__).parent


def found(text: str, rule: Rule | None = None) -> list[tuple[str, int | None, int | None]]:
    plan = read_text(text, "plan.yaml", dict(rule.beside) if rule else {})
    return [(one.code, one.line, one.column) for one in check(plan).findings]


def test_nothing_is_wrong_with_the_plan_that_examples_are_made_from() -> None:
    assert found(SOUND) == []


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES)
def test_on_its_bad_example_a_rule_speaks_at_every_mark_and_no_other_rule_does(rule: Rule) -> None:
    text, places = marked(rule.bad)
    assert places, "a bad example marks what is to be named"
    assert sorted(found(text, rule)) == [(rule.id, *place) for place in sorted(places)]


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES)
def test_on_its_good_example_a_rule_is_silent_and_so_is_every_other(rule: Rule) -> None:
    text, places = marked(rule.good)
    assert rule.good
    assert places == []
    assert found(text, rule) == []


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES)
def test_a_finding_says_what_where_why_and_how_to_mend_it(rule: Rule) -> None:
    for finding in check(read_text(marked(rule.bad)[0], "plan.yaml", dict(rule.beside))).findings:
        assert finding.severity == rule.severity
        assert all((finding.field, finding.found, finding.expected, finding.mend, finding.why))
        assert not finding.what.endswith(".")


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES)
def test_a_rule_says_all_that_its_page_needs(rule: Rule) -> None:
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)+", rule.id)
    assert (HERE / f"{rule.id.replace('-', '_')}.py").is_file()
    assert rule.area in AREAS
    assert rule.title[0].isupper()
    assert all(text.endswith(".") for text in (rule.explanation, rule.advice))
    assert not any(text.endswith(".") for text in (rule.title, rule.source))
    assert rule.source
    text = page(rule.id)
    assert all(part in text for part in (rule.title, rule.explanation, rule.advice, rule.source, "```text\n"))


# -- cautions: supply off before plugging, heads that move, local code and licensed people ----------------------

# Words of a remedy that has a person touch a cable, a plug, a supply or a box.
TOUCHES = re.compile(
    r"\b(unplug\w*|plugs?|connect(ed)? (it|each|one|both|the)|swap|tee|repeater|thicker|resistors?|off the pair|"
    r"terminators?|second supply|larger supply|injector|[Rr]un the (line|cable)|move some stations)\b"
)
# Remedies in the areas cable and supply that are written at a desk.
ON_PAPER = {
    "no-cable-length", "unit-loads-beside-bias",
    "feed-way-unknown", "feeds-nobody", "fuse-not-said", "power-not-said", "without-supply",
}  # fmt: skip


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES)
def test_a_remedy_that_touches_the_installation_ends_with_the_caution(rule: Rule) -> None:
    touches = rule.area in ("cable", "supply") and rule.id not in ON_PAPER
    touches |= rule.area != "cautions" and rule.id not in ON_PAPER and TOUCHES.search(rule.advice) is not None
    findings = check(read_text(marked(rule.bad)[0], "plan.yaml", dict(rule.beside))).findings
    for said in (page(rule.id).split("**Source.**")[0].rstrip(), *(one.mend or "" for one in findings)):
        assert said.endswith(CAUTION) or not touches
        assert said.count(CAUTION) == rule.hands_on


def test_the_caution_names_supply_heads_code_and_people() -> None:
    assert all(word in CAUTION for word in ("supply off and checked", "heads", "local code", "licensed"))
