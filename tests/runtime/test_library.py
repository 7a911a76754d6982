"""`import busim`: few names, light to import, typed, and the example in its docstring runs."""

from __future__ import annotations

import ast
import doctest
import importlib
import inspect
import pydoc
import re
import subprocess
import sys
from collections.abc import Callable, Iterator

import pytest
from places import TOP

import busim


def test_the_example_in_the_docstring_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(TOP)
    results = doctest.testmod(busim)
    assert results.failed == 0
    assert results.attempted >= 6


def test_every_public_name_is_there_and_is_that_of_its_room() -> None:
    assert sorted(busim.__all__) == busim.__all__
    assert {"__version__", *busim._FROM} == set(busim.__all__)
    assert set(busim.__all__) <= set(dir(busim))
    for name, (room, there) in busim._FROM.items():
        assert getattr(busim, name) is getattr(importlib.import_module(f"busim.{room}"), there)


def test_type_checkers_are_told_of_the_same_names() -> None:
    tree = ast.parse((TOP / "busim/__init__.py").read_text())
    (block,) = (node for node in tree.body if isinstance(node, ast.If) and getattr(node.test, "id", "") != "")
    told = {
        alias.asname or alias.name for node in block.body if isinstance(node, ast.ImportFrom) for alias in node.names
    }
    assert told == set(busim._FROM)


def test_importing_it_loads_no_package_but_its_version() -> None:
    program = "import sys, busim; print(sorted(name for name in sys.modules if name.startswith(('busim.', 'numpy'))))"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout == "['busim.foundation', 'busim.foundation.version']\n"


def test_an_unknown_name_is_an_attribute_error_as_of_any_module() -> None:
    with pytest.raises(AttributeError, match="module 'busim' has no attribute 'nonsense'"):
        _ = busim.nonsense  # type: ignore[attr-defined]


@pytest.mark.parametrize("name", sorted(busim._FROM))
def test_every_public_name_says_what_it_is(name: str) -> None:
    assert len(inspect.getdoc(getattr(busim, name)) or "") > 20


@pytest.fixture(scope="module")
def report() -> busim.Report:
    run = busim.Run(busim.read_plan(TOP / "scenarios/climbing-hall/plan.yaml"), seed=1)
    run.advance(10**9)
    return run.report()


def test_a_figure_is_found_by_the_names_of_its_line_and_its_camera(report: busim.Report) -> None:
    (rope,) = (line for line in report.lines if line.name == "rope line")
    (left,) = (camera for camera in rope.cameras if camera.name == "rope left")
    assert report.line("rope line").camera("rope left")["age_mean"] is left.figures["age_mean"]
    assert report.line("rope line")["poll_rate"] is rope.figures["poll_rate"]


@pytest.mark.parametrize(
    ("look", "what", "found", "one_of", "mend"),
    [
        (lambda report: report.line("rope lane"), "the plan has no line of this name", "'rope lane'",
         "boulder line", "did you mean `rope line`?"),
        (lambda report: report.line("xyz"), "the plan has no line of this name", "'xyz'",
         "speed line", "use the name of a line as the plan has it"),
        (lambda report: report.line("rope line").camera("rope-left"), "line 'rope line' has no camera of this name",
         "'rope-left'", "rope left", "did you mean `rope left`?"),
        (lambda report: report.line("rope line")["poll rate"], "line 'rope line' has no figure of this name",
         "'poll rate'", "poll_rate", "did you mean `poll_rate`?"),
        (lambda report: report.line("rope line").camera("rope left")["age_man"],
         "camera 'rope left' has no figure of this name", "'age_man'", "age_mean", "did you mean `age_mean`?"),
        (lambda report: report.line("rope line").camera("rope left")[0],
         "camera 'rope left' has no figure of this name", "0", "age_mean",
         "`busim explain figures` lists the figures"),
    ],
)  # fmt: skip
def test_a_name_that_is_not_in_a_report_is_refused_with_those_that_are(
    report: busim.Report, look: Callable[[busim.Report], object], what: str, found: str, one_of: str, mend: str
) -> None:
    with pytest.raises(busim.UserError) as raised:
        look(report)
    error = raised.value
    assert (error.what, error.found, error.mend) == (what, found, mend)
    assert one_of in (error.expected or "").removeprefix("one of ").split(", ")


def test_help_lists_each_public_name_once_with_a_line_that_says_what_it_is() -> None:
    told = pydoc.plain(pydoc.render_doc(busim))
    description = told[told.index("DESCRIPTION") : told.index("PACKAGE CONTENTS")]
    listed = re.findall(r"^ {8}(\w+) {2,}(\S.*)$", description, re.MULTILINE)
    assert sorted(name for name, _ in listed) == busim.__all__
    assert all(10 < len(line) < 80 for _, line in listed)


# -- times are integers of nanoseconds ----------------------------------------------------------------------

# Numbers in public signatures and fields that are not times. A new number is a time in ns, or gets its row here.
NO_TIMES = {
    "seed", "value", "kind", "line", "column", "wrong_count", "bus_id", "count", "speed", "number", "share",
    "positions", "bursts", "exchanges", "time_outs", "damaged",
}  # fmt: skip
# Classes of objects that public names return, besides the public names.
MORE = [
    importlib.import_module("busim.runtime.session").LineReport,
    importlib.import_module("busim.runtime.session").CameraReport,
    importlib.import_module("busim.runtime.session").FaultCount,
    importlib.import_module("busim.runtime.session").Difference,
]


def numbers_of(thing: object, prefix: str) -> Iterator[tuple[str, str, str, str]]:
    """(place, name, type, docstring) of each number among the arguments, fields and results of `thing`."""
    doc = inspect.getdoc(thing) or ""
    parts: list[tuple[str, object, str]] = [(prefix, thing, doc)]
    if inspect.isclass(thing):
        parts = [(f"{prefix}()", thing.__init__, doc)]
        for each in reversed(thing.__mro__):
            if each.__module__.startswith("busim."):
                for name, kind in inspect.get_annotations(each).items():
                    yield f"{prefix}.{name}", name, str(kind), doc
        for name, member in inspect.getmembers(thing):
            function = member.fget if isinstance(member, property) else member
            if not name.startswith("_") and inspect.isfunction(function) and function.__module__.startswith("busim."):
                parts.append((f"{prefix}.{name}", function, f"{inspect.getdoc(function)}\n{doc}"))
    for place, function, text in parts:
        if not inspect.isfunction(function):
            continue
        for name, kind in function.__annotations__.items():
            given = place.rpartition(".")[2] if name == "return" else name
            yield f"{place}: {name}", given, str(kind), text


NUMBERS = [
    number
    for thing, name in [
        *((getattr(busim, name), name) for name in busim.__all__),
        *((one, one.__name__) for one in MORE),
    ]
    for number in numbers_of(thing, name)
    if re.search(r"\b(int|float|Fraction|Decimal|timedelta|datetime)\b", number[2])
]


def test_numbers_of_the_public_names_are_found() -> None:
    places = {place for place, *_ in NUMBERS}
    assert {
        "Run.advance: to",
        "Virtual(): until",
        "Live.now: return",
        "Report.length",
        "Trace.summary: since",
    } <= places


@pytest.mark.parametrize(
    ("place", "name", "kind", "doc"),
    [number for number in NUMBERS if number[1] not in NO_TIMES],
    ids=[number[0] for number in NUMBERS if number[1] not in NO_TIMES],
)
def test_a_time_of_a_public_name_is_an_integer_and_its_docstring_says_nanoseconds(
    place: str, name: str, kind: str, doc: str
) -> None:
    assert not re.search(r"float|Fraction|Decimal|timedelta|datetime", kind), f"{place} is {kind}, not int"
    assert re.search(r"\bns\b|nanosecond", doc), f"{place}: {name} may be a time, and no docstring says ns"


@pytest.mark.parametrize("name", busim._FROM)
def test_no_docstring_of_a_public_name_gives_a_time_in_seconds(name: str) -> None:
    thing = getattr(busim, name)
    docs = [inspect.getdoc(thing) or ""]
    if inspect.isclass(thing):
        docs += [inspect.getdoc(member) or "" for key, member in inspect.getmembers(thing) if not key.startswith("_")]
    assert not re.search(r"\b(seconds|milliseconds?|in ms|in s)\b", "\n".join(docs))
