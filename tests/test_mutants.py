"""The mutation tool: its changes to a source, and its verdicts on tests that check and tests that do not."""

from __future__ import annotations

import ast
import multiprocessing
import sys
from pathlib import Path
from typing import Any

import pytest
from places import TOP

sys.path.insert(0, str(TOP / "tools"))

import mutant_tests
import mutations
from mutants import CORE, Map, _moved, equivalents, place_of

SOURCE = '''
"""Words stay."""

LIMIT = 5

def f(a: int = 3, *, b: bool = True) -> int:
    """Words stay."""
    if a < LIMIT and not b:
        raise ValueError(f"{a} is less than {LIMIT + 1}")
    a += 1
    print("words stay")
    return -a * 2
'''


def made(source: str, folder: Path) -> set[str]:
    """Every mutant of a source, as the lines that differ."""
    path = folder / "module.py"
    path.write_text(source)
    found = set()
    for mutation in mutations.mutations(folder, path):
        changed = mutation.apply(source.encode()).decode()
        ast.parse(changed)
        (difference,) = set(changed.splitlines()) - set(source.splitlines())
        found.add(" ".join(difference.split()))
    return found


def test_each_mutant_differs_in_one_place_and_words_stay(tmp_path: Path) -> None:
    assert made(SOURCE, tmp_path) == {
        "LIMIT = 6", "LIMIT = 4",
        "def f(a: int = 4, *, b: bool = True) -> int:", "def f(a: int = 2, *, b: bool = True) -> int:",
        "def f(a: int = 3, *, b: bool = False) -> int:",
        "if a <= LIMIT and not b:", "if a < LIMIT or not b:", "if a < LIMIT and b:",
        "if not (a < LIMIT and not b):",
        "pass", "a -= 1", "a += 2", "a += 0",
        "return None", "return a * 2", "return -a // 2", "return -a * 3", "return -a * 1",
    }  # fmt: skip


def test_a_mutant_keeps_its_name_and_its_place_in_the_draw_where_other_lines_come_before_it(tmp_path: Path) -> None:
    path = tmp_path / "module.py"
    path.write_text(SOURCE)
    before = mutations.draw(mutations.mutations(tmp_path, path), 1, 5)
    path.write_text("import os\n\n\ndef g() -> None:\n    os.sync()\n" + SOURCE)
    after = mutations.mutations(tmp_path, path)
    assert {one.name for one in before} <= {one.name for one in after}
    kept = [one for one in mutations.draw(after, 1, 100) if one.function != "g"]
    assert [one.name for one in kept[:5]] == [one.name for one in before]


def test_a_line_that_moved_keeps_its_tests_and_a_new_one_has_those_of_the_line_above() -> None:
    assert _moved("a\nb\nc", "a\nnew\nb\nc") == {1: 1, 2: 1, 3: 2, 4: 3}


def test_a_mutant_meets_the_tests_that_run_its_line_the_quick_ones_first(tmp_path: Path) -> None:
    path = tmp_path / "module.py"
    path.write_text("def f(a: int) -> int:\n    return a + 1\n")
    (plus,) = (one for one in mutations.mutations(tmp_path, path) if one.kind == "arithmetic")
    table = Map({"slow": 9.0, "quick": 0.1, "other": 0.2}, {"module.py": {"2": ["slow", "quick"], "1": ["other"]}})
    assert table.tests(plus) == ["quick", "slow"]


def test_a_mutant_of_a_module_whose_lines_no_test_runs_meets_the_tests_of_its_folder(tmp_path: Path) -> None:
    (tmp_path / "core").mkdir()
    path = tmp_path / "core" / "module.py"
    path.write_text("LIMIT = 1 + 1\n")
    (plus,) = (one for one in mutations.mutations(tmp_path, path) if one.kind == "arithmetic")
    for own in ({}, {"1": []}):
        table = Map(
            {"near": 0.1, "far": 0.1}, {"core/module.py": own, "core/b.py": {"3": ["near"]}, "c.py": {"1": ["far"]}}
        )
        assert table.tests(plus) == ["near"]


def test_every_listed_equivalent_mutant_is_one_that_can_be_drawn_and_has_its_reason() -> None:
    listed = equivalents(TOP / "tools" / "equivalent_mutants.yaml")
    known = {place_of(mutation) for mutation in mutations.of_packages(TOP, CORE)}
    assert [place for place in listed if place not in known] == []
    assert [place for place, why in listed.items() if len(why.split()) < 4] == []


TESTS = """
import site_module

def test_that_looks():
    assert site_module.double(3) == 6

def test_that_does_not():
    site_module.double(3)

def test_that_waits_for_ever():
    while site_module.double(3) != 6:
        pass
"""


def outcome(place: Path, code: str, *names: str) -> dict[str, Any]:
    """The verdict on this code by the named tests, in another process; without names: the map of all tests."""
    (place / "site_module.py").write_text(code)
    (place / "test_site.py").write_text(TESTS)
    (place / "pytest.ini").write_text("[pytest]\n")
    tests = [f"test_site.py::{name}" for name in names]
    process = multiprocessing.get_context("fork").Process(
        target=mutant_tests.run, args=(place, ["test_site.py"], tests, {}, ["."])
    )
    process.start()
    process.join(60)
    return mutant_tests.result(place, process.exitcode)


@pytest.mark.parametrize(
    ("change", "test", "verdict"),
    [
        ("return 2 * n", "test_that_looks", "survived"),
        ("return 3 * n", "test_that_looks", "killed"),
        ("return 3 * n", "test_that_does_not", "survived"),
        ("return 3 * n", "test_that_waits_for_ever", "took too long"),
        ("return 2 * n)", "test_that_looks", "killed"),
    ],
)
def test_a_change_is_judged_by_whether_a_test_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, change: str, test: str, verdict: str
) -> None:
    monkeypatch.setattr(mutant_tests, "LEAST", 0.5)
    assert outcome(tmp_path, f"def double(n):\n    {change}\n", test)["verdict"] == verdict


def test_the_map_says_which_test_runs_which_line(tmp_path: Path) -> None:
    found = outcome(tmp_path, "def double(n):\n    return 2 * n\n")
    assert found["failed"] == []
    assert "test_site.py::test_that_looks" in found["lines"]["site_module.py"]["2"]
