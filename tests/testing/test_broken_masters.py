"""Each broken master is found by its judge, on a case on which the good master passes every judge."""

from __future__ import annotations

import ast
import inspect

import pytest
from fuzzed_halls import HALLS, MS, SHOWN, boxed, hall

from busim.plan import read_text
from busim.simulator.masters import Master
from busim.testing import broken_masters
from busim.testing.broken_links import BROKEN_LINKS
from busim.testing.broken_masters import BROKEN
from busim.testing.fuzzing import Case, FaultEvent, run_pure
from busim.testing.fuzzing.linked import Link
from busim.testing.judge_catalogue import all_judges
from busim.testing.judging import FAIL, PASS

JUDGES = list(all_judges().values())
_CHANGED_LINES = 5


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_master_is_found_and_the_good_one_is_not(name: str) -> None:
    plan, case = SHOWN[name]
    found = run_pure(HALLS[plan], case, JUDGES, BROKEN[name].make).verdicts
    failed = {one.judge: one for one in found if one.outcome == FAIL}
    assert failed.keys() & set(BROKEN[name].found_by), "its judge does not fail"
    for one in failed.values():
        assert one.evidence
        assert one.evidence[0].frames
    good = run_pure(HALLS[plan], case, JUDGES, Master).verdicts
    assert [(one.judge, one.why) for one in good if one.outcome == FAIL] == []
    assert {one.effects for one in good} != {0}, "the fault never took effect"


def test_every_broken_master_is_the_good_one_with_at_most_five_lines_changed() -> None:
    tree = ast.parse(inspect.getsource(broken_masters))
    sizes = {}
    for node in tree.body:
        if isinstance(node, ast.ClassDef) and any(
            isinstance(base, ast.Name) and base.id == "Master" for base in node.bases
        ):
            lines = set()
            for method in (one for one in node.body if isinstance(one, ast.FunctionDef)):
                lines |= {
                    one.lineno for statement in method.body for one in ast.walk(statement) if isinstance(one, ast.stmt)
                }
                lines -= {one.lineno for one in ast.walk(method) if isinstance(one, ast.Assert)}  # for the type checker
            sizes[node.name] = len(lines)
    assert len(sizes) == len(BROKEN) >= 16
    assert {name: size for name, size in sizes.items() if size > _CHANGED_LINES} == {}


def test_every_judge_of_a_controller_fails_on_something_broken() -> None:
    found_by = {judge for broken in BROKEN.values() for judge in broken.found_by}
    found_by |= {broken.found_by for broken in BROKEN_LINKS.values()}
    assert found_by <= all_judges().keys()
    assert all_judges().keys() - found_by == {"address-plan", "transparency"}  # they judge the installation


def test_two_cameras_with_one_id_fail_the_address_plan_whoever_asks() -> None:
    """Both answer at once with other values: an error on that ID alone; at other distances both are heard."""
    plan = read_text(hall().source.replace("name: c3, bus_id: 3", "name: c3, bus_id: 2"))
    case = Case(1, 4000 * MS)
    (found,) = run_pure(plan, case, [all_judges()["address-plan"]]).verdicts
    assert (found.outcome, found.why) == (FAIL, "bus ID 2 is answered by c2 and c3")
    (clean,) = run_pure(hall(), Case(1, 14000 * MS), [all_judges()["address-plan"]]).verdicts
    assert clean.outcome == PASS


@pytest.mark.parametrize(
    ("kind", "parameters"), [("eaten-bytes", (("eats", "03"),)), ("eaten-bytes", (("changes", "03 04"),))], ids=str
)
def test_a_converter_that_changes_bytes_fails_transparency_whoever_asks(
    kind: str, parameters: tuple[tuple[str, str], ...]
) -> None:
    fault = FaultEvent(kind, "box", 1000 * MS, 1000 * MS, parameters)
    plan, judges = boxed("at: 9000 s, down: 1 s"), [all_judges()["transparency"]]
    (found,) = run_pure(plan, Case(1, 2000 * MS, (fault,)), judges, link=Link).verdicts
    assert (found.outcome, "which no client gave it like this" in found.why) == (FAIL, True), found.why
    assert found.evidence[0].fault.startswith(f"{kind} at box: ")
    (clean,) = run_pure(plan, Case(1, 2000 * MS), judges, link=Link).verdicts
    assert clean.outcome == PASS
    assert clean.judged > 50
