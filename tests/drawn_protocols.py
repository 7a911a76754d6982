"""Protocol declarations drawn by hypothesis, with every feature of the file format, and messages for them.

Drawn declarations are sound by construction: every message begins with a byte of its own, fields of one size stand
where one size is needed, and no field of a protocol with unescaped marks can hold one.
"""

from __future__ import annotations

import json
from typing import Any

from hypothesis import strategies as st

from busim.protocols import DeclaredProtocol, Reply, Request, read_text
from busim.protocols.declared.encodings import Encoding
from busim.protocols.declared.sums import catalogue, width_of

CHECKS = ["xor", "sum", "sum-16", "lrc", *catalogue()]
READS = ("read", "status", "identify")


@st.composite
def binary_fields(draw: st.DrawFn, *, scaled: bool = True) -> dict[str, Any]:
    """An encoding of one size that may produce any byte."""
    kind = draw(st.sampled_from(["unsigned", "unsigned", "signed", "bcd", "nibbles", "seven"]))
    field: dict[str, Any] = {
        "as": kind,
        "bytes": draw(st.integers(1, 4)),
        "order": draw(st.sampled_from(["big", "little"])),
    }
    if kind == "nibbles":
        field["high"] = draw(st.integers(0, 15))
    if scaled and draw(st.booleans()):
        field["times"] = draw(st.integers(1, 10))
        field["plus"] = draw(st.integers(0, 9))
    return field


@st.composite
def text_fields(draw: st.DrawFn, *, varying: bool = True, scaled: bool = True) -> dict[str, Any]:
    """An encoding of digits, letters and signs."""
    kind = draw(st.sampled_from(["decimal", "decimal", "hex"]))
    if kind == "hex":
        digits = draw(st.sampled_from([2, 4, 6]))
        return {
            "as": "hex",
            "digits": digits,
            "order": draw(st.sampled_from(["big", "little"])),
            "case": draw(st.sampled_from(["upper", "lower"])),
        }
    digits = draw(st.integers(2, 6))
    field: dict[str, Any] = {"as": "decimal", "digits": digits, "sign": draw(st.sampled_from(["none", "always"]))}
    least = draw(st.integers(1, digits)) if varying else digits
    field["least_digits"] = least
    if varying and draw(st.booleans()):
        field["sign"] = draw(st.sampled_from(["none", "minus", "always"]))
    if least > 1 and draw(st.booleans()):
        field["point"] = draw(st.integers(1, least - 1))
    if scaled and draw(st.booleans()):
        field["times"] = draw(st.integers(1, 10))
    return field


@st.composite
def limited(draw: st.DrawFn, fields: st.SearchStrategy[dict[str, Any]], least: int | None = None) -> dict[str, Any]:
    """A field, perhaps with limits; `least`: a number up to which they hold all."""
    field = draw(fields)
    if draw(st.booleans()):
        low, high = _bounds(
            Encoding(
                field["as"], field.get("bytes") or field["digits"], sign=field.get("sign", "none"),
                times=field.get("times", 1), plus=field.get("plus", 0),
            ).bounds
        )  # fmt: skip
        lower = draw(st.integers(low, high)) if least is None else 0
        field["limits"] = [lower, draw(st.integers(lower if least is None else least, high))]
    return field


@st.composite
def texts(draw: st.DrawFn) -> dict[str, Any]:
    """A declaration whose frames are text between marks."""
    check = draw(st.none() | st.sampled_from(CHECKS))
    marks = {
        "kind": "marks",
        "start": draw(st.sampled_from(["", "<", "<<"])),
        "end": draw(st.sampled_from(["{0D}", "{0D}{0A}", "$"])),
    }
    frame = draw(st.sampled_from(["{address}{message}", "{tag}~{address}{message}", "x{address}{message}"]))
    declaration = _declaration("text", {**marks, "longest": 1024}, frame + ("*{check}" if check else ""))
    fields = declaration["fields"]
    fields["address"] = draw(limited(st.builds(lambda: {"as": "decimal", "digits": 3}), 9))
    fields["tag"] = {"as": "hex", "digits": 2}
    fields["key"] = draw(limited(text_fields()))
    fields["value"] = {**draw(limited(text_fields())), "between": "/"}
    fields["count"] = {"as": "decimal", "digits": 2, "least_digits": 1}
    fields["reason"] = {"as": "decimal", "digits": 1}
    if check:
        fields["check"] = {"as": "hex", "digits": -(-width_of(check) // 4)}
        declaration["check"] = {
            "kind": check,
            "start": draw(st.sampled_from(["mark", "frame", "address"])),
            "to": "message",
        }
    declaration["operations"] = draw(_operations("GHJKLMNPQUV", "{op}{key};{rest}", ",{count}", ";"))
    declaration["refusal"] = "Z{reason}" if draw(st.booleans()) else None
    return _trimmed(declaration)


@st.composite
def binaries(draw: st.DrawFn) -> dict[str, Any]:
    """A declaration whose frames are binary: by length, by silence, between marks with escapes or as hex digits."""
    check = draw(st.none() | st.sampled_from(CHECKS))
    kind = draw(st.sampled_from(["length", "silence", "xor", "replaced", "hex"]))
    frame = draw(
        st.sampled_from(
            [
                "{address} {message}",
                "{tag} {address} {message}",
                "5A {address} {message}",
                "{address} 7E {tag} {message}",
            ]
        )
    )
    framing: dict[str, Any] = {
        "kind": "marks",
        "start": "7E",
        "end": draw(st.sampled_from(["7E", "7F"])),
        "longest": 2048,
    }
    if kind == "length":
        frame = draw(st.sampled_from(["{length} ", "A5 {length} "])) + frame
        framing = {"kind": "length", "counts": draw(st.sampled_from(["frame", "behind", "message"])), "longest": 2048}
    elif kind == "silence":
        framing = {"kind": "silence", "quiet": "3.5 characters", "longest": 2048}
    elif kind == "xor":
        framing["escape"] = {"byte": "7D", "xor": 0x20}
    elif kind == "replaced":
        end = framing["end"]
        framing["escape"] = {
            "byte": "DB",
            "replaced": {"7E": "01", end: "02", "DB": "03"} if end != "7E" else {"7E": "01", "DB": "03"},
        }
    else:
        framing.update(start="3A", end="0D 0A", hex=True)
    declaration = _declaration(
        "hex", framing, frame + (" {check}" if check else "") + draw(st.sampled_from(["", " 99"]))
    )
    fields = declaration["fields"]
    plus = draw(st.integers(0, 3))
    fields["address"] = draw(limited(binary_fields(scaled=False).map(lambda field: {**field, "plus": plus}), 9))
    fields["tag"] = {"as": "unsigned", "bytes": draw(st.integers(1, 2))}
    fields["length"] = {"as": draw(st.sampled_from(["unsigned", "bcd"])), "bytes": 2}
    fields["key"] = draw(limited(binary_fields()))
    fields["value"] = draw(limited(binary_fields()))
    fields["count"] = {"as": "unsigned", "bytes": 1}
    fields["size"] = {"as": "unsigned", "bytes": 1}
    fields["reason"] = {"as": "unsigned", "bytes": 1}
    if check:
        width = -(-width_of(check) // 8)
        forms = [{"as": "unsigned", "bytes": width, "order": order} for order in ("big", "little")]
        fields["check"] = draw(st.sampled_from([*forms, {"as": "hex", "digits": 2 * width}]))
        declaration["check"] = {"kind": check, "start": "frame"}
    numbers = [f"{number:02X}" for number in range(1, 12)]
    declaration["operations"] = draw(_operations(numbers, "{op} {key} {rest}", " {count}", " "))
    if draw(st.booleans()):  # keys from 10 to 5F read, and with their highest bit set they write
        fields["key"] = {"as": "unsigned", "bytes": 1, "limits": [0x10, 0x5F]}
        fields["marked_key"] = {**fields["key"], "holds": "key", "plus": 0x80}
        for name, key in (("read", "{key}"), ("write", "{marked_key}")):
            operation = declaration["operations"][name]
            operation["request"] = key + operation["request"].partition("{key}")[2]
    declaration["refusal"] = "EE {reason}" if draw(st.booleans()) else None
    return _trimmed(declaration)


def _declaration(literals: str, framing: dict[str, Any], frame: str) -> dict[str, Any]:
    return {
        "busim-protocol": 1, "name": "drawn", "title": "drawn", "literals": literals, "framing": framing,
        "frame": frame, "address": {"first": 1, "last": 9, "broadcast": 0}, "fields": {},
    }  # fmt: skip


@st.composite
def _operations(draw: st.DrawFn, codes: Any, asking: str, counted: str, gap: str) -> dict[str, Any]:
    """Operations of every verb, or some, each message with a code of its own."""
    left = iter(codes)
    made: dict[str, Any] = {}

    def message(rest: str = "", *, key: bool = True) -> str:
        code = next(left)
        return asking.replace("{op}", code).replace("{rest}", rest) if key else code + (gap + rest if rest else "")

    most = draw(st.integers(1, 6))
    if draw(st.booleans()):
        made["read"] = {"request": message(), "reply": message("{value}")}
    else:
        made["read"] = {"request": message(counted.strip(", ") + gap), "reply": message("{values}"), "most": most}
    if draw(st.booleans()):
        made["write"] = {
            "request": message("{values}"),
            "reply": message(draw(st.sampled_from(["", "{values}"]))),
            "most": most,
        }
    else:
        made["write"] = {"request": message("{value}"), "reply": message(draw(st.sampled_from(["", "{value}"])))}
    other = draw(st.sampled_from(["step", "status", "save", "preset", "stop"]))
    code = message(key=False)
    made[other] = {
        "step": {"key": 3, "values": [1], "request": code, "reply": code},
        "status": {"key": 0, "request": code, "reply": code + gap + gap.join(["{value}"] * draw(st.integers(1, 3)))},
        "save": {"request": code, "reply": code},
        "preset": {"request": code + gap + "{value}", "reply": code},
        "stop": {"key": 5, "request": code, "reply": code},
    }[other]
    return made


def _trimmed(declaration: dict[str, Any]) -> dict[str, Any]:
    """The same without unused fields and empty keys."""
    said = declaration["frame"] + json.dumps(declaration["operations"]) + str(declaration["refusal"])
    used = {name: field for name, field in declaration["fields"].items() if f"{{{name}" in said}
    return {**{key: value for key, value in declaration.items() if value is not None}, "fields": used}


def protocols() -> st.SearchStrategy[DeclaredProtocol]:
    """Protocols as they are read from drawn files: JSON is YAML."""
    return st.one_of(texts(), binaries()).map(lambda drawn: read_text(json.dumps(drawn), "drawn.yaml"))


@st.composite
def requests(draw: st.DrawFn, protocol: DeclaredProtocol) -> Request:
    """A request that the protocol can carry."""
    number = draw(st.sampled_from(sorted(protocol.operations)))
    operation, layout = protocol.operations[number], protocol.layouts[number, "request"]
    n = draw(st.integers(*protocol.sizes[number]))
    key = operation.key or 0
    for name in layout.names:
        if layout.holds(name) == "key":
            key = draw(st.integers(*_bounds(layout.encoding(name).bounds)))
    values: tuple[int, ...] = operation.values or ()
    if not values and operation.verb not in READS:
        values = draw(_values(protocol, n))
    tag = draw(st.integers(0, protocol.tags - 1)) if protocol.tags else 0
    return Request(draw(st.integers(*protocol.addresses)), operation.verb, key, n, values, number | tag << 8)


@st.composite
def replies(draw: st.DrawFn, protocol: DeclaredProtocol, request: Request) -> Reply:
    """A good reply to a request, or a refusal."""
    number = request.form & 0xFF
    if (number, "refusal") in protocol.layouts and draw(st.booleans()):
        return Reply(
            request.address, request.verb, request.key, (), draw(st.sampled_from([1, 2, 3, 4, 6])), request.form
        )
    values = draw(_values(protocol, request.size)) if request.verb in READS else request.values
    return Reply(request.address, request.verb, request.key, values, 0, request.form)


def _bounds(bounds: tuple[int, int]) -> tuple[int, int]:
    low, high = bounds
    return max(low, -40_000), max(min(high, 70_000), max(low, -40_000))


def _values(protocol: DeclaredProtocol, n: int) -> st.SearchStrategy[tuple[int, ...]]:
    if not n:
        return st.just(())
    number = st.integers(*_bounds(protocol.declaration.fields["value"].bounds))
    return st.lists(number, min_size=n, max_size=n).map(tuple)
