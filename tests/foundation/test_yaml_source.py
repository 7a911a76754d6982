"""YAML with positions, within bounds. What a scalar means is checked against YAML 1.2.2, 10.3.2 (core schema)."""

from __future__ import annotations

import contextlib
import math
import sqlite3
import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from places import SCENARIOS
from ruamel.yaml import YAML

from busim.foundation.errors import UserError
from busim.foundation.yaml_source import (
    MOST_BYTES,
    MOST_DEPTH,
    MOST_VALUES,
    Real,
    load,
    locate,
    nearest,
    parse,
    reading,
    shown,
)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # YAML 1.2.2, 10.3.2, the tables of the core schema
        ("null", None), ("Null", None), ("NULL", None), ("~", None), ("", None),
        ("true", True), ("True", True), ("TRUE", True), ("false", False), ("False", False), ("FALSE", False),
        ("0", 0), ("-19", -19), ("+7", 7), ("0o7", 7), ("0o17", 15), ("0x3A", 58), ("007", 7),
        ("0.", 0.0), ("-0.0", -0.0), (".5", 0.5), ("+12e03", 12000.0), ("-2E+05", -200000.0), ("8E1", 80.0),
        (".inf", math.inf), ("-.Inf", -math.inf), ("+.INF", math.inf),
        # and what YAML 1.1 read otherwise
        ("on", "on"), ("yes", "yes"), ("no", "no"), ("12:30", "12:30"), ("1_000", "1_000"), ("0b1", "0b1"),
        ("2026-01-01", "2026-01-01"),
        ("198.51.100.44:15001", "198.51.100.44:15001"), ("2..6 ms", "2..6 ms"), ("'5'", "5"), ('"null"', "null"),
    ],
)  # fmt: skip
def test_a_scalar_means_what_the_core_schema_says(text: str, value: object) -> None:
    found = parse(f"a: {text}").value["a"]
    assert found == value
    assert isinstance(found, type(value))


def test_not_a_number_is_a_float() -> None:
    assert math.isnan(parse("a: .nan").value["a"])


def test_a_float_keeps_its_text_since_a_character_format_looks_like_one() -> None:
    value = parse("format: 8E1").value["format"]
    assert isinstance(value, Real)
    assert value.text == "8E1"


def test_a_number_of_absurd_length_stays_text() -> None:
    assert parse("a: " + "9" * 5000).value["a"] == "9" * 5000


DOCUMENT = """\
# a comment
name: hall
lines:
  - name: wall   # another
    order: [terminator, {camera: mat}]
  - name: lane
empty:
"odd key": 1
text: |
  two
  lines
"""


@pytest.mark.parametrize(
    ("field", "value_at", "key_at"),
    [
        ("", (2, 1), None),
        ("name", (2, 7), (2, 1)),
        ("lines", (4, 3), (3, 1)),
        ("lines[0]", (4, 5), None),
        ("lines[0].name", (4, 11), (4, 5)),
        ("lines[0].order", (5, 12), (5, 5)),
        ("lines[0].order[0]", (5, 13), None),
        ("lines[0].order[1].camera", (5, 34), (5, 26)),
        ("lines[1].name", (6, 11), (6, 5)),
        ("empty", (7, 1), (7, 1)),
        ("['odd key']", (8, 12), (8, 1)),
        ("text", (9, 7), (9, 1)),
    ],
)
def test_every_key_and_value_has_its_line_and_column(
    field: str, value_at: tuple[int, int], key_at: tuple[int, int] | None
) -> None:
    document = parse(DOCUMENT)
    assert document.positions[field] == value_at
    assert document.keys.get(field) == key_at


def test_a_field_that_was_not_written_is_located_at_what_is_around_it() -> None:
    positions = parse(DOCUMENT).positions
    assert locate(positions, "lines[1].order[3].camera") == positions["lines[1]"]
    assert locate(positions, "masters[0]") == positions[""]
    assert locate({}, "a.b") == (1, 1)


def test_a_key_given_twice_is_a_problem_with_both_places_and_the_first_holds() -> None:
    document = parse("a: 1\nb: {c: 1}\nb: {d: 2}\n", "x.yaml")
    assert document.value == {"a": 1, "b": {"c": 1}}
    (problem,) = document.problems
    assert (problem.file, problem.line, problem.column, problem.field) == ("x.yaml", 3, 1, "b")
    assert problem.found == "'b', first on line 2, column 1"


@pytest.mark.parametrize(
    ("text", "place", "what"),
    [
        ("", (1, 1), "empty"),
        ("# only a comment\n", (1, 1), "empty"),
        ("- a\n- b\n", (1, 1), "not a mapping"),
        ("just words\n", (1, 1), "not a mapping"),
        ("---\n", (2, 1), "not a mapping"),
        ("a: 1\n---\nb: 2\n", (2, 1), "second document"),
        ("a:\n\t- b\n", (2, 1), "tab"),
        ("a:\tb: c\n", (1, 3), "a tab"),
        ("a: [1, 2\nb: 3\n", (2, 2), "not readable"),
        ("a: 'open\n", (2, 1), "not readable"),
        ("a: b: c\n", (1, 5), "not readable"),
        ("a: &x [1]\nb: *x\n", (1, 4), "anchors"),
        ("a: *x\n", (1, 4), "anchors"),
        ("&x a: 1\n", (1, 1), "anchors"),
        ("a: !!python/object:os.system x\n", (1, 4), "tags"),
        ("a: ! x\n", (1, 4), "tags"),
        ("!!map {a: 1}\n", (1, 1), "tags"),
        ("a:\n  <<: {b: 1}\n", (2, 3), "merge"),
        ("? [a]\n: b\n", (1, 3), "not a word"),
        ('"": b\n', (1, 1), "empty key"),
        ("%YAML 1.1\n---\na: on\n", (1, 1), "directives"),
        ("# x\n%TAG ! tag:x,2000:\n---\na: 1\n", (2, 1), "directives"),
        ("a: \x00\n", (1, 4), "character"),
        ("a: 1\nb: \x1b[31m\n", (2, 4), "character"),
        ('a: "\\0"\n', (1, 4), "escape"),
        ('a: "\\ud800"\n', (1, 4), "escape"),
        ('a: "\\UFFFFFFFF"\n', (1, 1), "escape"),
        ("a: \ud800\n", (1, 4), "character"),
        ("a: " + "[" * (MOST_DEPTH + 1) + "\n", (1, 44), "too deeply"),
        ("a: !" + "x" * 2000 + "\n", (1, 4), "too long"),
    ],
)
def test_what_is_not_supported_is_one_clear_error_with_its_place(text: str, place: tuple[int, int], what: str) -> None:
    with pytest.raises(UserError, match=what) as caught:
        parse(text, "x.yaml")
    assert (caught.value.file, caught.value.line, caught.value.column) == ("x.yaml", *place)


def test_an_anchor_bomb_ends_at_its_first_anchor() -> None:
    bomb = "a: &a [x, x]\n" + "".join(
        f"{chr(98 + n)}: &{chr(98 + n)} [*{chr(97 + n)}, *{chr(97 + n)}]\n" for n in range(24)
    )
    with pytest.raises(UserError, match="anchors") as caught:
        parse(bomb)
    assert caught.value.line == 1


def test_a_byte_order_mark_is_no_part_of_the_first_key() -> None:
    assert parse("\ufeffa: 1").keys == {"a": (1, 1)}


def test_a_file_in_another_encoding_names_the_byte_that_is_not_utf_8(tmp_path: Path) -> None:
    path = tmp_path / "latin.yaml"
    path.write_bytes("a: ü\nb: weiß\n".encode() + b"c: \xfc\n")
    with pytest.raises(UserError, match="UTF-8") as caught:
        load(path)
    assert (caught.value.line, caught.value.column, caught.value.found) == (3, 4, "byte 0xFC")


def test_a_trace_is_told_from_a_file_in_another_encoding(tmp_path: Path) -> None:
    sqlite3.connect(tmp_path / "hall.busim").execute("create table t (a)").connection.close()
    with pytest.raises(UserError, match="a database, such as a trace") as caught:
        load(tmp_path / "hall.busim")
    assert "busim replay" in (caught.value.mend or "")


def test_a_file_that_is_too_large_is_refused_before_it_is_read_whole() -> None:
    with pytest.raises(UserError, match="too large"):
        load("/dev/zero")
    with pytest.raises(UserError, match="too large"):
        parse(" " * (MOST_BYTES + 1))


def test_a_file_of_too_many_values_is_refused() -> None:
    with pytest.raises(UserError, match="too many values"):
        parse("a: [" + "1," * (MOST_VALUES + 1) + "]")


@pytest.mark.parametrize("path", ["missing.yaml", ".", "a\0b"])
def test_a_file_that_cannot_be_read_is_named(path: str) -> None:
    with pytest.raises(UserError, match="cannot be read") as caught:
        load(path)
    assert caught.value.file == path


# Drawn from pieces that matter to YAML, so that near-valid texts are common.
PIECES = [
    *(
        "a",
        "b: ",
        ": ",
        "- ",
        "\n",
        "\n  ",
        "\n\t",
        "\t",
        "[",
        "]",
        "{",
        "}",
        ",",
        "? ",
        "|",
        ">",
        "|9",
        "'",
        '"',
        "#",
        " #",
    ),
    *("&x ", "*x", "!", "!!int ", "!<", "%", "%YAML 1.1\n", "---\n", "...\n", "<<: ", "@", "`"),
    *("\\x41", "\\U00110000", "\\ud800", "\r", "\x85", "\u2028", "\ufeff", "\x00", "é", "🧗"),
    *("1", "8E1", ".nan", "0x", "~", "9" * 50),
]
TEXTS = st.one_of(st.lists(st.sampled_from(PIECES), max_size=30).map("".join), st.text(max_size=60))


def refused(text: str) -> UserError | None:
    """The error a text is refused with; None for one that is a mapping with all its positions."""
    try:
        document = parse(text, "x.yaml")
    except UserError as error:
        return error
    assert isinstance(document.value, dict)
    assert set(document.keys) <= set(document.positions)
    return None


@settings(max_examples=600, deadline=None)
@given(TEXTS)
def test_any_text_is_a_mapping_with_positions_or_a_user_error_with_a_place(text: str) -> None:
    error = refused(text)
    if error is not None:
        assert error.line is not None
        assert error.column is not None
        assert 1 <= error.line <= len(text) + 1


@settings(max_examples=200)
@given(st.binary(max_size=200))
def test_any_bytes_are_a_mapping_or_a_user_error(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "bytes.yaml"
    path.write_bytes(data)
    with contextlib.suppress(UserError):
        load(path)


# Changed in few places, a sound text has the errors and the luck of a typist.
SOUND = [(SCENARIOS / name).read_text() for name in ("climbing-hall/plan.yaml", "lines-of-text/lanes.yaml")]
CHANGES = st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 3), st.sampled_from(PIECES)), max_size=4)


@st.composite
def mistyped(draw: st.DrawFn) -> str:
    """Some lines of a sound text, with changes."""
    lines = draw(st.sampled_from(SOUND)).splitlines(keepends=True)
    first = draw(st.integers(0, len(lines) - 1))
    text = "".join(lines[first : first + draw(st.integers(1, 12))])
    for place, removed, piece in draw(CHANGES):
        at = int(place * (len(text) + 1))
        text = text[:at] + piece + text[at + removed :]
    return text


def outcome(text: str) -> object:
    """All that a reader learns from a text: values, places and problems, or the error."""
    try:
        document = parse(text, "x.yaml")
    except UserError as error:
        return str(error)
    return repr(document.value), document.positions, document.keys, list(map(str, document.problems))


@settings(max_examples=1500, deadline=None)
@given(mistyped() | TEXTS)
def test_the_parsers_in_c_and_in_python_give_the_same_values_places_and_errors(text: str) -> None:
    found = outcome(text)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reading, "_FOR_PYTHON", frozenset(text))
        assert found == outcome(text)


def test_a_plain_plan_is_read_by_the_parser_in_c() -> None:
    parsers = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reading, "YAML", lambda **how: parsers.append(how) or YAML(**how))
        parse(SOUND[0])
    assert parsers == [{"typ": "safe"}]
    assert YAML(typ="safe").Parser is not YAML(typ="safe", pure=True).Parser, "the locks have the one in C"


HOSTILE = {
    "keys": "? " * 500_000,
    "lists": "- " * 500_000,
    "brackets": "[" * 500_000,
    "quotes": '"k" ' * 100_000,
    "tag": "a: !" + "x" * 1_000_000,
    "anchor": "a: &" + "x" * 300_000,
    "directive": "%TAG ! " + "x" * 900_000,
}


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_file_is_refused_in_seconds(text: str) -> None:
    started = time.process_time()
    assert refused(text) is not None
    assert time.process_time() - started < 10  # quadratic work took minutes here


@pytest.mark.parametrize(
    ("word", "known"),
    [
        ("rope box", "speed box"),
        ("boulder right", "boulder mats"),
        ("rope left", "rope right"),
        ("camera 12", "camera 13"),
        ("camera 212", "camera 213"),
    ],
)
def test_a_name_that_shares_but_a_word_with_another_is_not_taken_for_it(word: str, known: str) -> None:
    assert nearest(word, [known]) is None


@pytest.mark.parametrize(
    ("word", "known"),
    [("boulder rigth", "boulder right"), ("rope-left", "rope left"), ("ropeleft", "rope left"), ("bx", "box")],
)
def test_a_misspelt_word_of_a_name_is_found(word: str, known: str) -> None:
    assert nearest(word, ["speed box", known]) == known


def test_the_nearest_known_word_is_found_whatever_its_case() -> None:
    assert nearest("Velocty", ["velocity", "baud"]) == "velocity"
    assert nearest("colour", ["velocity", "baud"]) is None
    assert nearest("x", []) is None


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "nothing"),
        (True, "true"),
        (3, "3"),
        (Real("8E1", 80.0), "8E1"),
        ("a\nb", "'a\\nb'"),
        ([1, 2], "a list of 2"),
        ([], "an empty list"),
        ({"a": 1, "b": 2}, "a mapping of a, b"),
        ({}, "an empty mapping"),
        ("x" * 100, repr("x" * 60) + "..."),
    ],
)
def test_a_value_is_shown_in_one_short_line(value: object, text: str) -> None:
    assert shown(value) == text
