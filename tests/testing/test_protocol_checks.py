"""`busim prove` and `busim new`: sound protocols pass, and defects are found."""

from __future__ import annotations

from pathlib import Path

import pytest
from bad_protocols import GOOD
from places import SCENARIOS
from typer.testing import CliRunner

from busim.cli.app import app
from busim.foundation.errors import UserError
from busim.plan import models
from busim.protocols import READ, DeclaredProtocol, Reply, Request, find, read_text
from busim.testing import Proof, explain, prove, prove_model, read_capture

NO_CHECK = GOOD.replace("*{check}", "").replace("check: {kind: xor, start: address, to: message}\n", "")


def declared(name: str) -> DeclaredProtocol:
    protocol = find(name)
    assert isinstance(protocol, DeclaredProtocol)
    return protocol


def said(proof: Proof, beginning: str) -> tuple[bool, tuple[str, ...]]:
    (verdict,) = [one for one in proof.verdicts if beginning in one.what]
    assert verdict.tried > 0
    return verdict.holds, verdict.said


SOUND = [
    "text",
    "short",
    "tagged",
    str(SCENARIOS / "lines-of-text/lanes.yaml"),
    str(SCENARIOS / "escaped-frames/mats.yaml"),
]


@pytest.mark.parametrize("name", SOUND)
def test_what_comes_with_busim_holds_in_every_respect(name: str) -> None:
    proof = prove(declared(name))
    assert proof.holds
    assert said(proof, "every message is read back") == (True, ())
    assert said(proof, "every single flipped bit is noticed") == (True, ())
    assert said(proof, "back within one frame") == (True, ())


def test_samples_show_every_message_with_its_fields() -> None:
    samples = {sample.title.partition(":")[0]: sample for sample in prove(declared("tagged")).samples}
    assert set(samples) == {f"{name}, {what}" for name in ("read", "write") for what in ("request", "reply", "refusal")}
    request = samples["read, request"]
    assert [name for name, _ in request.pieces] == ["", "length", "tag", "address", "", "key", "count", "check"]
    assert b"".join(raw for _, raw in request.pieces) == request.raw


def test_requests_that_only_silence_tells_apart_are_listed() -> None:
    bare = NO_CHECK.replace('kind: marks, start: "<", end: "{0D}"', "kind: silence, quiet: 3.5 characters")
    assert said(prove(read_text(bare)), "beginning of another") == (True, ())
    several = bare.replace('"W{key}={value}", reply: "w{key}={value}"', '"W{key}={values}", reply: "w{key}", most: 3')
    holds, (why, pair) = said(prove(read_text(several)), "beginning of another")
    assert holds
    assert "silence" in why
    assert pair.startswith("write ")
    assert pair.endswith("is a whole request, and a longer one may begin so")


def test_bits_that_no_check_covers_are_listed() -> None:
    holds, listed = said(prove(read_text(NO_CHECK)), "beyond this check (there is no check)")
    assert holds
    assert any(line.startswith("request write") for line in listed)


def test_messages_that_only_the_request_tells_apart_are_listed() -> None:
    text = GOOD.replace('reply: "w{key}={value}"', 'reply: "r{key}={value}"')
    holds, listed = said(prove(read_text(text)), "can be confused")
    assert holds
    assert any("reply read and reply write" in line for line in listed)


class _Deaf(DeclaredProtocol):
    """A protocol whose framers never come back after junk."""

    def cut(self, data: bytes) -> list[tuple[int, int, str]]:
        return []


class _Forgetful(DeclaredProtocol):
    """A protocol that reads another key than it wrote."""

    def decode_request(self, data: bytes) -> Request | None:
        found = super().decode_request(data)
        return found and found._replace(key=found.key + 1)


def test_a_framer_that_stays_out_of_step_is_found() -> None:
    holds, listed = said(prove(_Deaf(read_text(GOOD).declaration)), "back within one frame")
    assert not holds
    assert listed[-1].startswith("... and")


def test_a_message_that_comes_back_as_another_is_found() -> None:
    proof = prove(_Forgetful(read_text(GOOD).declaration))
    assert not proof.holds
    holds, listed = said(proof, "every message is read back")
    assert not holds
    assert "key 1" in listed[0]


# -- captures -----------------------------------------------------------------------------------------------


def captured() -> tuple[bytes, list[bytes]]:
    protocol = declared("tagged")
    request = Request(7, READ, 5, 2, (), 1 | 9 << 8)
    frames = [protocol.encode_request(request), protocol.encode_reply(Reply(7, READ, 5, (500, 3), 0, request.form))]
    frames += [protocol.encode_request(request), protocol.encode_reply(Reply(7, READ, 5, (), 2, request.form))]
    return b"".join((*frames[:2], b"\x00\xff\x13", *frames[2:])), frames


def test_a_capture_is_explained_frame_by_frame_and_junk_is_not() -> None:
    data, frames = captured()
    explanation = explain(declared("tagged"), data)
    assert [one.what for one in explanation.stretches] == [
        "request read: ID 7, key 5",
        "reply to a read: ID 7, key 5 = 500, 3",
        "",
        "request read: ID 7, key 5",
        "refusal of a read: ID 7, reason 2",
    ]
    assert b"".join(one.raw for one in explanation.stretches) == data
    assert explanation.explained == sum(map(len, frames))


def test_an_answer_without_its_request_is_told_as_that() -> None:
    _, frames = captured()
    (stretch,) = explain(declared("tagged"), frames[1]).stretches
    assert stretch.what.startswith("an answer")


def test_a_capture_of_another_protocol_is_not_explained() -> None:
    data, _ = captured()
    assert explain(declared("text"), data).explained == 0
    assert explain(declared("short"), data).explained == 0


@pytest.mark.parametrize("form", ["raw", "hex", "commented"])
def test_a_capture_is_bytes_or_text_of_hex_digits(form: str, tmp_path: Path) -> None:
    data, _ = captured()
    path = tmp_path / "line.cap"
    if form == "raw":
        path.write_bytes(data)
    elif form == "hex":
        path.write_text(data.hex(" ").upper() + "\n")
    else:
        path.write_text("# seen on site\n" + ", ".join(f"0x{byte:02x}" for byte in data) + "  # the end\n")
    assert read_capture(path) == data


def test_a_capture_that_is_none_is_the_user_s_mistake(tmp_path: Path) -> None:
    (tmp_path / "empty").touch()
    for name in ("empty", "nowhere"):
        with pytest.raises(UserError):
            read_capture(tmp_path / name)


# -- the commands -------------------------------------------------------------------------------------------


def test_prove_prints_frames_and_verdicts_and_explains_a_capture(tmp_path: Path) -> None:
    data, _ = captured()
    (tmp_path / "line.cap").write_bytes(data)
    done = CliRunner().invoke(app, ["prove", "tagged", "--against", str(tmp_path / "line.cap")])
    assert done.exit_code == 0, done.output
    assert "[tag 00] [address 01] 10 [key 00 00] [count 01]" in done.output
    assert done.output.count("\nholds ") == 5
    assert "reply to a read: ID 7, key 5 = 500, 3" in done.output
    assert "NOT EXPLAINED" in done.output
    assert "4 frames explained" in done.output


def test_prove_tells_mistakes_in_the_file(tmp_path: Path) -> None:
    (tmp_path / "wall.yaml").write_text(GOOD.replace("xor", "xro"))
    done = CliRunner().invoke(app, ["prove", str(tmp_path / "wall.yaml")])
    assert isinstance(done.exception, UserError)
    assert (done.exception.line, done.exception.field) == (7, "check.kind")


def test_prove_is_for_declarations() -> None:
    done = CliRunner().invoke(app, ["prove", "modbus-rtu"])
    assert isinstance(done.exception, UserError)


def test_new_writes_a_starter_that_proves_and_never_writes_over_a_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(app, ["new", "protocol", "wall-lines"])
    assert done.exit_code == 0, done.output
    assert CliRunner().invoke(app, ["prove", "wall-lines.yaml"]).exit_code == 0
    assert prove(declared("./wall-lines.yaml")).holds
    text = Path("wall-lines.yaml").read_text()
    again = CliRunner().invoke(app, ["new", "protocol", "wall-lines"])
    assert isinstance(again.exception, UserError)
    assert Path("wall-lines.yaml").read_text() == text


# -- camera models --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", models.names())
def test_every_shipped_camera_does_what_its_model_says(name: str) -> None:
    proof = prove_model(models.load(name))
    assert proof.holds, [verdict for verdict in proof.verdicts if not verdict.holds]
    assert len(proof.verdicts) >= 6
    assert all(verdict.tried for verdict in proof.verdicts)


def test_the_camera_starter_holds_in_all_it_says() -> None:
    proof = prove_model(models.read_text(models.starter("wall-camera")))
    assert proof.holds
    assert len(proof.verdicts) == 9


CAMERA = """
busim-model: 1
name: odd
title: an odd camera
parameters:
  a: {group: g, kind: switch}
  b: {group: g, kind: switch, default: 1}
  gain: {group: g, kind: range, high: 20}
  heat: {group: g, kind: reading}
"""


@pytest.mark.parametrize(
    ("more", "verdict", "said"),
    [
        (
            "keys: {short: {a: 0, b: 1, gain: 300, heat: 3}}",
            "every protocol carries",
            "short: short cannot carry a read of `gain` of odd; found key 300",
        ),
        (
            "locks: [{when: a, equals: 0, locks: [b], reason: r}, {when: b, equals: 1, locks: [a, gain], reason: r}]",
            "every value can be set",
            "gain does not get to 20: it stands at 0",
        ),
        (
            "locks: [{when: heat, equals: 0, locks: [gain], reason: too cold}]",
            "every value can be set",
            "gain does not get to 20: it stands at 0",
        ),
    ],
)
def test_what_does_not_hold_of_a_camera_is_found(more: str, verdict: str, said: str) -> None:
    proof = prove_model(models.read_text(CAMERA + more))
    assert not proof.holds
    (failed,) = [one for one in proof.verdicts if one.what.startswith(verdict)]
    assert said in failed.said


def test_keys_for_a_protocol_that_is_not_known_are_said_to_be_untried() -> None:
    proof = prove_model(models.read_text(CAMERA + "keys: {wall-lines: {a: 0, b: 1, gain: 2, heat: 3}}"))
    assert proof.holds
    assert proof.verdicts[0].said == ("wall-lines: not tried, since there is no protocol of this name here",)


def test_new_writes_a_camera_that_prove_knows_for_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(app, ["new", "camera", "wall-camera"])
    assert done.output.endswith("busim prove wall-camera.yaml\n")
    proved = CliRunner().invoke(app, ["prove", "wall-camera.yaml"])
    assert proved.exit_code == 0
    assert proved.output.startswith("wall-camera: our camera\n")
    assert "FAILS" not in proved.output
    Path("wall-camera.yaml").write_text(CAMERA + "keys: {short: {a: 0, b: 1, gain: 300, heat: 3}}")
    assert CliRunner().invoke(app, ["prove", "wall-camera.yaml"]).exit_code == 1
    with pytest.raises(UserError, match="a camera model has none"):
        CliRunner().invoke(app, ["prove", "zoom-camera", "--against", "x"], catch_exceptions=False)
