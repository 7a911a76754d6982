"""Findings: the form of one, and several raised together."""

import pickle

import pytest

from busim.foundation.diagnostics import Finding, Findings, render
from busim.foundation.errors import Defect, UserError

BAUD = Finding(
    "error",
    "bad-value",
    "not a quantity",
    file="plan.yaml",
    line=12,
    column=9,
    field="lines[0].baud",
    found="'fast'",
    expected="a number and Bd",
    mend="write for example 38400 Bd",
)


def test_a_finding_is_rendered_with_its_place_first_and_one_line_for_each_thing_to_know() -> None:
    assert render(BAUD).split("\n") == [
        "plan.yaml:12:9: error [bad-value] lines[0].baud: not a quantity",
        "    found:    'fast'",
        "    expected: a number and Bd",
        "    mend:     write for example 38400 Bd",
    ]


def test_what_is_not_known_is_left_out() -> None:
    assert render(Finding("note", "hint", "nothing polls this line")) == "note [hint] nothing polls this line"


def test_the_reason_behind_a_rule_comes_last() -> None:
    assert render(Finding("warning", "ends", "no terminator", why="TI SLLA272 sec. 6")).endswith(
        "\n    why:      TI SLLA272 sec. 6"
    )


def test_findings_are_one_user_error_that_shows_them_all_and_has_the_place_of_the_first() -> None:
    other = Finding("error", "missing-key", "`bus_id` is missing", file="plan.yaml", line=30, column=5)
    error = Findings([BAUD, other])
    assert isinstance(error, UserError)
    assert str(error) == render(BAUD) + "\n" + render(other)
    assert (error.line, error.column, error.field, error.found) == (12, 9, "lines[0].baud", "'fast'")
    assert error.what == "not a quantity (and 1 more)"


def test_findings_cross_a_process_border_whole() -> None:
    assert pickle.loads(pickle.dumps(Findings([BAUD]))).findings == (BAUD,)


def test_raising_no_findings_is_a_bug_of_ours() -> None:
    with pytest.raises(Defect):
        Findings([])


def test_a_user_error_becomes_a_finding_that_says_the_same() -> None:
    error = UserError("too long", file="a.yaml", line=3, column=4, field="x", found="1", expected="2", mend="3")
    assert Finding.of(error, "length") == Finding("error", "length", "too long", "a.yaml", 3, 4, "x", "1", "2", "3")
