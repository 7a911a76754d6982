"""Protocol files: every mistake is reported with its place and remedy, and no file can do harm."""

from __future__ import annotations

import json
import linecache
import re
import time
import traceback
from pathlib import Path

import pytest
from bad_protocols import BAD, GOOD, Bad
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.foundation.diagnostics import Findings
from busim.foundation.errors import BusimError, UserError
from busim.protocols import READ, DeclaredProtocol, Reply, Request, checks, find, json_schema, read_text, starter
from busim.protocols.declared import codegen_request
from busim.protocols.declared.sums import summer
from busim.protocols.declared.writers import writer


def found_in(text: str) -> Findings:
    with pytest.raises(Findings) as caught:
        read_text(text, "wall.yaml")
    return caught.value


@pytest.mark.parametrize("bad", BAD, ids=lambda bad: bad.title)
def test_a_mistake_is_told_at_its_place_with_how_to_mend_it(bad: Bad) -> None:
    assert GOOD.count(bad.old) >= 1
    marked = GOOD.replace(bad.old, bad.new, 1)
    text = marked.replace("«", "")
    findings = found_in(text).findings
    told = next((one for one in findings if (one.code, one.field or "") == (bad.code, bad.field)), None)
    assert told is not None, [(one.code, one.field, one.what) for one in findings]
    assert told.file == "wall.yaml"
    assert told.expected or told.mend
    if "«" in marked:
        before = marked[: marked.index("«")]
        assert (told.line, told.column) == (before.count("\n") + 1, len(before) - before.rfind("\n"))


def test_mistakes_in_several_places_are_told_at_once_in_their_order() -> None:
    text = (
        GOOD.replace("{address}{message}*", "{address}{mesage}*")
        .replace('"R{key}"', '"R{kee}"')
        .replace("digits: 5", "bytes: 5")
    )
    places = [(one.line, one.code) for one in found_in(text).findings]
    assert places == [(6, "bad-template"), (12, "missing-key"), (12, "unknown-key"), (16, "bad-template")]


def test_a_word_nearly_right_is_suggested() -> None:
    (finding,) = found_in(GOOD.replace('"R{key}"', '"R{kee}"')).findings
    assert finding.mend == "did you mean {key}?"


def test_a_list_that_is_too_short_is_told_from_an_empty_one() -> None:
    (finding,) = found_in(GOOD.replace("broadcast: 0", "groups: [240]")).findings
    assert (finding.what, finding.expected) == ("too few entries", "at least 2 entries")


def test_a_protocol_file_stands_beside_its_plan(tmp_path: Path) -> None:
    (tmp_path / "wall.yaml").write_text(GOOD)
    protocol = find("./wall.yaml", tmp_path)
    assert protocol.name == "wall"
    with pytest.raises(UserError, match="cannot be read"):
        find("./floor.yaml", tmp_path)


def test_the_starter_passes_its_own_check() -> None:
    protocol = read_text(starter("my-wall"), "my-wall.yaml")
    assert protocol.name == "my-wall"
    assert protocol.encode_request(Request(7, READ, 12, 1))
    for name in ("", "Wall", "../wall", "a" * 41, "wall.yaml"):
        with pytest.raises(UserError, match="not a name"):
            starter(name)


def test_editors_get_the_form_of_the_file() -> None:
    schema = json_schema()
    assert json.dumps(schema)
    assert schema["additionalProperties"] is False
    assert {"framing", "frame", "fields", "operations"} <= set(schema["required"])
    assert all("description" in about for about in schema["properties"].values())


# -- hostile files ------------------------------------------------------------------------------------------


def _quick(text: str, seconds: float = 2.0) -> BaseException | DeclaredProtocol:
    began = time.process_time()
    try:
        outcome: BaseException | DeclaredProtocol = read_text(text, "wall.yaml")
    except BusimError as error:
        outcome = error
        str(error)
    assert time.process_time() - began < seconds
    return outcome


def _many(head: str, entry: str, count: int) -> str:
    """The good file with so many entries more below a key."""
    return GOOD.replace(head, head + "".join(entry.replace("N", str(number)) for number in range(count)))


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("a: " + "[" * 100_000, id="deep"),
        pytest.param("a: &a [1,1]\nb: &b [*a,*a]\nc: [*b,*b]", id="aliases"),
        pytest.param(GOOD + "keys:\n" + "".join(f"  m{number}: {{a: 1}}\n" for number in range(5000)), id="models"),
        pytest.param(
            _many("operations:\n", '  rN: {does: read, request: "R{key}", reply: "r"}\n', 2000), id="operations"
        ),
        pytest.param(_many("fields:\n", "  fNab: {as: hex, digits: 2, holds: value}\n", 2000), id="fields"),
        pytest.param(
            GOOD.replace("digits: 3}", "words: {" + ", ".join(f'"{n}": w{n}' for n in range(5000)) + "}}"), id="words"
        ),
        pytest.param(GOOD.replace("digits: 5}", "digits: 5, times: 99999999999999999999}"), id="scale"),
        pytest.param(GOOD.replace('"R{key}"', '"' + "{value}" * 50 + '"'), id="values"),
    ],
)
def test_a_hostile_file_is_refused_in_no_time(text: str) -> None:
    assert isinstance(_quick(text), Findings)


def test_a_file_with_as_much_of_everything_as_is_allowed_is_read_in_bounded_time() -> None:
    operations = "".join(
        f'  o{number}: {{does: write, request: "{chr(65 + number % 26)}{chr(65 + number // 26)}{{key}}{{values}};",'
        f' reply: "k{number}", most: 256}}\n'
        for number in range(62)
    )
    text = GOOD.replace("longest: 40", "longest: 4096").replace(
        "digits: 5}", 'digits: 5, least_digits: 1, between: ","}'
    )
    text = text.replace("  write:", operations + "  write:")
    assert isinstance(_quick(text, 10.0), DeclaredProtocol)


def test_no_message_from_a_line_takes_long_to_read_whatever_the_declaration() -> None:
    text = GOOD.replace("longest: 40", "longest: 4096").replace(
        "digits: 5}", 'digits: 9, least_digits: 1, sign: minus, between: ","}'
    )
    text = text.replace('"W{key}={value}", reply: "w{key}={value}"', '"W{key}={values};", reply: "w{key}", most: 256')
    protocol = read_text(text)
    began = time.process_time()
    for body in (b"-1," * 1300, b"1" * 4000, b"1," * 1900 + b"x", b"-" * 4000, b",1" * 1900):
        for raw in (b"<07W001=" + body + b"*00\r", b"<" * 4000 + body, body):
            protocol.decode_request(raw)
            protocol.cut_requests(raw)
            protocol.stream_framer().feed(raw, 0)
    assert time.process_time() - began < 2


ALLOWED = """
    def made return if or and not in is None tuple for at range len sum match groups data request end address key tag
    reason count length size values body asked verb wanted given form startswith split join get piece to_bytes else b
"""


def test_nothing_that_a_file_says_gets_into_the_text_of_a_function(monkeypatch: pytest.MonkeyPatch) -> None:
    """Functions are written out of the words of the package and of integers; all else is handed to them as objects."""
    sources: list[str] = []

    def spy(source: str, *others: str) -> object:
        sources.append(source)
        return compile(source, *others)

    monkeypatch.setattr(codegen_request, "compile", spy, raising=False)
    nasty = "__import__('os').system('true')"
    text = GOOD.replace("name: wall", f'name: "{nasty}"').replace("title: a good one", f'title: "{nasty}"')
    text = text.replace('"R{key}"', f'"R{nasty}{{key}}"').replace("longest: 40", "longest: 200")
    text = text.replace("digits: 3}", f'words: {{"1": "{nasty}"}}}}').replace("as: decimal, words", "as: words, words")
    text = text.replace("  write:", f'  "{nasty}": {{does: save, request: "S", reply: "s"}}\n  write:')
    protocol = read_text(text)
    for name, key in (("read", 1), ("save", 0)):
        asked = Request(7, name, key, 1 if name == "read" else 0)
        request = protocol.decode_request(protocol.encode_request(asked))
        assert request is not None
        reply = Reply(7, name, key, (5,) if name == "read" else (), 0, request.form)
        assert protocol.decode_reply(protocol.encode_reply(reply), asked) is not None
    assert len(sources) > 6
    for source in sources:
        words = set(re.findall(r"[A-Za-z_]\w*", source))
        assert {word for word in words if not re.fullmatch(r"[ovlg]\d+(_\d+)?", word)} <= set(ALLOWED.split())
        assert set(re.findall(r"'[^']*'|\"[^\"]*\"", source)) <= {"''"}


def test_a_traceback_shows_the_line_of_a_function_that_was_made() -> None:
    protocol = read_text(GOOD)
    shown = []
    for number in protocol.operations:
        write = writer(protocol.layouts[number, "request"], 1, b"<", b"\r")
        with pytest.raises(ValueError, match="does not fit") as caught:
            write(1, 1000, 0, 0, 1, (0,))
        linecache.checkcache()
        shown.append(next(one for one in traceback.extract_tb(caught.tb) if one.filename.startswith("<made")))
    assert [one.line.partition(" = ")[0] for one in shown if one.line] == ["body", "body"]
    assert shown[0].line != shown[1].line


TOKENS = st.sampled_from(
    ["kind: marks", "kind: length", "{address}", "{message}", "{values}", "{", "}", "words", "decimal", "as: seven",
    "0", "-1", "99999999", '""', '"{0D}"', "[]", "{}", "null", "digits: 18", "bytes: 8", "most: 256", "sign: minus",
    "read", "status", "xor", "CRC-64/XZ"] )  # fmt: skip


@settings(deadline=None, max_examples=200)
@given(st.lists(st.tuples(st.integers(0, len(GOOD)), st.integers(0, 12), TOKENS), min_size=1, max_size=4))
def test_any_mangled_file_is_read_or_refused_as_the_user_s_mistake(edits: list[tuple[int, int, str]]) -> None:
    text = GOOD
    for at, length, token in edits:
        text = text[:at] + token + text[at + length :]
    outcome = _quick(text, 5.0)
    if isinstance(outcome, DeclaredProtocol):
        outcome.decode_request(b"<07R003*4F\r")
    else:
        assert isinstance(outcome, UserError)


def test_the_file_of_a_plan_that_is_loaded_is_read_once_however_often_its_protocol_is_asked_for() -> None:
    """Each budget of a plan with its own protocol took 6 ms for reading the file again, of 0.6 in all."""
    files = {"./wall.yaml": GOOD}
    first = find("./wall.yaml", "plans", files)
    assert find("./wall.yaml", "plans", dict(files)) is first
    name = re.search(r"(?m)^name: (.*)$", GOOD)
    assert name is not None
    other = find("./wall.yaml", "plans", {"./wall.yaml": GOOD.replace(name[0], "name: other", 1)})
    assert (first.name, other.name) == (name[1], "other")


# -- checks by their other names -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "check"),  # of the bytes 123456789, as the RevEng catalogue prints it
    [
        ("CRC-16/IBM-SDLC", 0x906E), ("CRC-16/X-25", 0x906E), ("X-25", 0x906E), ("CRC-16/CCITT-FALSE", 0x29B1),
        ("XMODEM", 0x31C3), ("MODBUS", 0x4B37), ("PKZIP", 0xCBF43926), ("CRC-32C", 0xE3069283), ("CRC-8", 0xF4),
    ],
)  # fmt: skip
def test_a_check_takes_the_aliases_of_the_catalogue(kind: str, check: int) -> None:
    assert summer(kind)(b"123456789") == check


def test_every_check_is_listed_once_with_its_aliases_and_each_of_them_can_be_declared() -> None:
    listed = [name for kind, others in checks().items() for name in (kind, *others)]
    assert len(listed) == len(set(listed))
    assert {"xor", "lrc", "CRC-16/MODBUS", "CRC-16/X-25", "KERMIT"} <= set(listed)
    for kind in ("CRC-8", "DOW-CRC"):
        text = GOOD.replace("kind: xor", f"kind: {kind}")
        assert text != GOOD
        assert isinstance(read_text(text, "wall.yaml"), DeclaredProtocol)
