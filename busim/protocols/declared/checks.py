"""Checks between the places of a declaration, so that a codec and framers can be made of it.

Each check relies on the earlier ones, so they run in groups and stop after the first group with a mistake.
"""

from __future__ import annotations

from busim.foundation.schema import Notebook
from busim.foundation.yaml_source import suggestion
from busim.plan.models import load, names
from busim.protocols.declared.declaration import Declaration, Operation, Parts
from busim.protocols.declared.layouts import READS
from busim.protocols.declared.resolution import between_layouts
from busim.protocols.declared.sums import PLAIN, catalogue

_NO_VALUES = ("stop", "identify", "save", "read", "status")
_WITH_KEY = ("read", "write", "step", "start", "stop")
_ONE_VALUE = ("step", "start", "change-id", "preset")
_WITH_MARKS = ("start", "end", "escape", "hex")


def findings(declaration: Declaration, notes: Notebook) -> None:
    """Note everything that does not hold."""
    for group in (
        (_framing, _frame, _check, _address),
        (_fields_are_declared, _operations, _keys),
        (between_layouts,),
    ):
        for check in group:
            check(declaration, notes)
        if notes.found:
            return


def _framing(declaration: Declaration, notes: Notebook) -> None:
    framing = declaration.framing
    if framing.kind == "marks":
        if not framing.end:
            notes.note(
                "framing", "missing-key", "frames cut by marks have an end mark", expected="`end`", mend="add `end`"
            )
        if len(framing.start) > 8 or len(framing.end) > 8:
            notes.note("framing", "bad-marks", "a mark that is too long", expected="at most 8 bytes")
        if framing.escape and framing.hex:
            notes.note("framing.hex", "bad-marks", "hex digits need no escapes", mend="delete `escape` or `hex`")
        _escape(declaration, notes)
    else:
        for name in _WITH_MARKS:
            if getattr(framing, name):
                notes.note(
                    f"framing.{name}",
                    "unknown-key",
                    f"`{name}` does not go with `kind: {framing.kind}`",
                    at_key=True,
                    mend="write such bytes into `frame`, or choose `kind: marks`",
                )
    if framing.kind == "fixed" and not framing.length:
        notes.note(
            "framing",
            "missing-key",
            "frames of a fixed length",
            expected="`length`: bytes of a frame",
            mend="add `length`",
        )
    if framing.length and (framing.kind != "fixed" or framing.length > framing.longest):
        notes.note(
            "framing.length",
            "out-of-bounds",
            "`length` goes with `kind: fixed` and is at most `longest`",
            found=str(framing.length),
            expected=f"at most {framing.longest}",
        )
    if framing.kind == "silence" and not (framing.quiet.characters or framing.quiet.time):
        notes.note(
            "framing",
            "missing-key",
            "frames that end by silence",
            expected="`quiet`",
            mend="add `quiet: 3.5 characters`",
        )


def _escape(declaration: Declaration, notes: Notebook) -> None:
    """Every byte of a mark, and the announcing byte, needs an image: none of these bytes, and all different."""
    framing = declaration.framing
    if framing.escape is None:
        return
    special = {*framing.start, *framing.end, framing.escape.byte}
    images = framing.escape.images
    missing = special - set(images)
    if framing.escape.byte in (*framing.start, *framing.end):
        notes.note(
            "framing.escape.byte", "bad-escape", "the announcing byte is a mark itself", expected="a byte of its own"
        )
    elif missing:
        notes.note(
            "framing.escape",
            "bad-escape",
            "bytes that mean something to the framing and are not escaped",
            found=bytes(sorted(missing)).hex(" ").upper(),
            expected="an entry of `replaced` for each byte of the marks and for the announcing byte, or `xor`",
        )
    elif len(set(images.values())) != len(images) or special & set(images.values()):
        notes.note(
            "framing.escape",
            "bad-escape",
            "the image of an escaped byte would be read as something else",
            found=", ".join(f"{mark:02X} as {image:02X}" for mark, image in images.items()),
            expected="different bytes, none of them a mark or the announcing byte",
        )


def _frame(declaration: Declaration, notes: Notebook) -> None:
    frame, kind = declaration.frame, declaration.framing.kind
    for name in ("address", "message"):
        if name not in frame:
            notes.note("frame", "bad-frame", f"{{{name}}} is missing", expected=f"{{{name}}} in every frame")
    for name in {part for part in frame if isinstance(part, str)}:
        if frame.count(name) > 1:
            notes.note("frame", "bad-frame", f"{{{name}}} stands there twice", expected="each field once")
    if ("length" in frame) != (kind == "length"):
        what = "{length} is missing" if kind == "length" else "{length} goes with `kind: length`"
        notes.note("frame", "bad-frame", what, found=f"kind: {kind}", expected="both or neither")
    if ("check" in frame) != (declaration.check is not None):
        what = "there is a `check`, but no {check}" if declaration.check else "there is a {check}, but no `check`"
        notes.note("frame", "bad-frame", what, expected="both or neither")
    elif "check" in frame:
        behind = [part for part in frame[frame.index("check") + 1 :] if isinstance(part, str)]
        if behind:
            notes.note(
                "frame",
                "bad-frame",
                "a field behind {check}",
                found=f"{{{behind[0]}}}",
                expected="{check} as the last field",
            )


def _check(declaration: Declaration, notes: Notebook) -> None:
    check, frame = declaration.check, declaration.frame
    if check is None or "check" not in frame:
        return
    known = (*PLAIN, *catalogue())
    if check.kind not in known:
        notes.note(
            "check.kind",
            "no-such-check",
            "not a check that is known",
            found=repr(check.kind),
            expected="xor, sum, sum-16, lrc, or a name of the RevEng catalogue, as CRC-16/MODBUS",
            mend=suggestion(check.kind, known, "`busim prove --checks` lists them all"),
        )
    before = [part for part in frame[: frame.index("check")] if isinstance(part, str)]
    if check.start not in ("mark", "frame", *before):
        notes.note(
            "check.start",
            "bad-check",
            "no such field before {check}",
            found=check.start,
            expected="mark, frame, " + ", ".join(before),
        )
    if check.to is None:
        return
    if check.to not in before:
        notes.note("check.to", "bad-check", "no such field before {check}", found=check.to, expected=", ".join(before))
    elif check.to != before[-1]:
        notes.note("check.to", "bad-check", "a field behind it is not covered", found=check.to, expected=before[-1])
    elif check.start in before and before.index(check.start) > before.index(check.to):
        notes.note(
            "check.start", "bad-check", "its first field comes after its last", found=check.start, expected=check.to
        )


def _address(declaration: Declaration, notes: Notebook) -> None:
    first, last = declaration.addresses
    if first > last:
        notes.note("address.last", "out-of-bounds", "less than `first`", found=str(last), expected=f"{first} or more")
    if declaration.broadcast is not None and first <= declaration.broadcast <= last:
        notes.note(
            "address.broadcast",
            "out-of-bounds",
            "the broadcast is the ID of a camera",
            found=str(declaration.broadcast),
            expected=f"a number that is not from {first} to {last}",
        )
    groups = declaration.groups
    if groups and (groups[0] > groups[1] or (groups[0] <= last and first <= groups[1])):
        notes.note(
            "address.groups",
            "out-of-bounds",
            "group values among the bus IDs",
            expected=f"two numbers, not from {first} to {last}",
        )


def _fields_are_declared(declaration: Declaration, notes: Notebook) -> None:
    def look(place: str, parts: Parts) -> None:
        for part in dict.fromkeys(parts):
            name = "value" if part == "values" else part
            if isinstance(name, str) and name != "message" and name not in declaration.fields:
                notes.note(
                    place,
                    "no-such-field",
                    f"it is not said how {{{part!s}}} is written",
                    expected=f"`{name}` among `fields`",
                    mend=f"add `{name}: {{as: unsigned, bytes: 1}}` to `fields`, or what your protocol has",
                )

    look("frame", declaration.frame)
    for operation in declaration.operations:
        field = notes.below("operations", operation.name)
        for direction in ("request", "reply"):
            look(f"{field}.{direction}", declaration.message(operation, direction))
        if operation.refusal:
            look(f"{field}.refusal", operation.refusal)
    if declaration.refusal:
        look("refusal", declaration.refusal)
    if "tag" in declaration.frame and "tag" in declaration.fields:
        low, high = declaration.fields["tag"].bounds
        if low > 0 or high < 1:
            notes.note("fields.tag", "out-of-bounds", "tags are counted from 0", expected="a field that holds 0 and 1")


def _keys(declaration: Declaration, notes: Notebook) -> None:
    """Keys belong to known parameters, if the model is one of busim's, and each to one."""
    for model, keys in declaration.keys.items():
        known = None
        if model in names():
            found = load(model)
            known = [one.name for one in found.parameters] + [one.name for one in found.orders]
        holder: dict[int, str] = {}
        for name, key in keys.items():
            field = notes.below(notes.below("keys", model), name)
            if known is not None and name not in known:
                notes.note(
                    field,
                    "no-such-parameter",
                    f"{model} has no such parameter",
                    at_key=True,
                    found=repr(name[:60]),
                    expected="one of " + ", ".join(known),
                    mend=suggestion(name, known, "delete the key"),
                )
            if key in holder:
                notes.note(
                    field, "key-twice", f"this key is {holder[key]}'s", found=str(key), expected="a key of its own"
                )
            holder[key] = name


def _operations(declaration: Declaration, notes: Notebook) -> None:
    for operation in declaration.operations:
        _Shape(declaration, operation, notes).check()


class _Shape:
    """The values that one operation's messages must carry."""

    def __init__(self, declaration: Declaration, operation: Operation, notes: Notebook) -> None:
        self._declaration = declaration
        self._operation = operation
        self._notes = notes
        self._field = notes.below("operations", operation.name)
        self._asked = self._carried(operation.request)
        self._answered = self._carried(operation.reply)

    def _carried(self, parts: Parts) -> list[str]:
        return [self._declaration.holds.get(part, part) for part in parts if isinstance(part, str)]

    def _wrong(self, key: str, what: str, expected: str, mend: str | None = None) -> None:
        field = f"{self._field}.{key}" if key else self._field
        self._notes.note(field, "bad-operation", what, expected=expected, mend=mend)

    def check(self) -> None:
        for key, carried in (("request", self._asked), ("reply", self._answered)):
            for name in dict.fromkeys(carried):
                if name != "value" and carried.count(name) > 1:
                    self._wrong(key, f"{{{name}}} stands there twice", "each field once")
            if "value" in carried and "values" in carried:
                self._wrong(key, "{value} and {values} in one message", "one of them")
        self._key()
        self._values()
        if self._operation.verb in READS:
            self._read()
        else:
            self._report()

    def _key(self) -> None:
        operation = self._operation
        carries = "key" in self._asked
        if carries and operation.key is not None:
            self._wrong("key", "the request carries the key already", "either {key} or `key`", "delete `key`")
        if operation.verb in _WITH_KEY and not carries and operation.key is None:
            self._wrong("request", f"a {operation.verb} does not say of what", "{key}, or `key` beside the request")
        if operation.verb == "status" and operation.key is None:
            self._wrong("", "a status does not say where its values begin", "`key`: the key of the first value")
        if not carries and operation.key is None and "key" in self._answered:
            self._wrong("reply", "an unexpected key", "no {key}")

    def _values(self) -> None:
        operation, asked = self._operation, self._asked
        carries = "value" in asked or "values" in asked
        if operation.verb in _NO_VALUES:
            if carries or operation.values is not None:
                self._wrong("request", f"a {operation.verb} carries no values", "neither {value} nor `values`")
            return
        if carries and operation.values is not None:
            self._wrong("values", "the request carries its values already", "either {value} or `values`")
        elif not carries and operation.values is None:
            self._wrong("request", f"a {operation.verb} does not say what", "{value}, or `values` beside the request")
        many = "values" in asked or asked.count("value") > 1 or len(operation.values or ()) > 1
        if operation.verb in _ONE_VALUE and many:
            self._wrong("request", f"a {operation.verb} has one value", "one {value}")

    def _read(self) -> None:
        """The master must know how many values a reply holds."""
        operation = self._operation
        if "value" not in self._answered and "values" not in self._answered:
            if operation.verb != "identify":
                self._wrong("reply", f"a {operation.verb} without values in its reply", "{value} or {values}")
        elif operation.verb == "read" and "count" in self._asked and "values" not in self._answered:
            self._wrong("reply", "the request asks for a number of values", "{values}")
        if "size" in self._asked:
            self._wrong("request", "there are no values whose size it could be", "no {size}")
        if "count" in self._asked and operation.verb != "read":
            self._wrong("request", f"how many values a {operation.verb} has is fixed", "no {count}")

    def _report(self) -> None:
        """A reply to anything but a read holds as many values as the request, or none."""
        asked, answered = self._asked, self._answered
        for name in ("value", "values"):
            if name not in answered:
                continue
            given = len(self._operation.values or ()) or asked.count("value")
            if name == "values" and "values" not in asked:
                self._wrong("reply", "it is not known how many values these are", "{value} for each")
            if name == "value" and ("values" in asked or answered.count("value") != given):
                self._wrong("reply", "not as many values as the request has", "the values of the request, or none")
