"""A declaration file to a Declaration, or all its mistakes, each at its place.

In three steps, each only after the one before found nothing: the shape of the file; the fields and templates one by
one; the rules between them.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pydantic import ValidationError

from busim.foundation.diagnostics import Finding, Findings
from busim.foundation.errors import UserError
from busim.foundation.schema import Notebook, form, worded
from busim.foundation.yaml_source import Declared, load, parse
from busim.protocols.contract import BUSY, FAILED, ILLEGAL_KEY, ILLEGAL_VALUE, ILLEGAL_VERB
from busim.protocols.declared.checks import findings
from busim.protocols.declared.codec import DeclaredProtocol
from busim.protocols.declared.codegen_write import encodings
from busim.protocols.declared.declaration import FIELDS, Check, Declaration, Escape, Framing, Operation, Parts
from busim.protocols.declared.shapes import FramingShape, OperationShape, ProtocolShape, ReasonsShape
from busim.protocols.declared.templates import parse as parse_template
from busim.protocols.declared.templates import parse_bytes

VERBS = ("read", "write", "step", "start", "stop", "identify", "change-id", "save", "preset", "status")
_MOST_FINDINGS = 200
_IN_FRAME = ("address", "tag", "length", "message", "check")
_IN_MESSAGE = ("key", "count", "size", "value", "values")
_IN_REFUSAL = ("key", "reason")


def read(path: str | Path) -> DeclaredProtocol:
    """Read a declaration file. Raises Findings with every error in it, each with its place."""
    try:
        document = load(path)
    except UserError as error:
        raise Findings([Finding.of(error, "unreadable")]) from None
    return _protocol(document)


def read_text(text: str, path: str = "") -> DeclaredProtocol:
    """Read a declaration from its text; `path` only names it in messages. Raises Findings as `read` does."""
    try:
        document = parse(text, path)
    except UserError as error:
        raise Findings([Finding.of(error, "unreadable")]) from None
    return _protocol(document)


def json_schema() -> dict[str, Any]:
    """The schema of a protocol declaration as JSON Schema (draft 2020-12), for editors."""
    return form(ProtocolShape, "busim protocol")


def _protocol(document: Declared) -> DeclaredProtocol:
    notes = Notebook(document)
    notes.found += [Finding.of(problem, "duplicate-key") for problem in document.problems]
    shape: ProtocolShape | None = None
    try:
        shape = ProtocolShape.model_validate(document.value)
    except ValidationError as error:
        notes.found += [worded(document, detail, ProtocolShape) for detail in error.errors(include_url=False)]
    notes.close(_MOST_FINDINGS)
    assert shape is not None
    declaration = _Builder(shape, notes).declaration()
    notes.close(_MOST_FINDINGS)
    findings(declaration, notes)
    notes.close(_MOST_FINDINGS)
    return DeclaredProtocol(declaration)


class _Builder:
    """Turns a shape into a declaration and notes mistakes; after a mistake the result is useless."""

    def __init__(self, shape: ProtocolShape, notes: Notebook) -> None:
        self._shape = shape
        self._notes = notes
        own = tuple(name for name in shape.fields if name not in FIELDS)
        self._in_message = (*_IN_MESSAGE, *own)
        self._in_refusal = (*_IN_REFUSAL, *(name for name in own if shape.fields[name].holds == "key"))

    def declaration(self) -> Declaration:
        shape = self._shape
        frame = self._template("frame", shape.frame, _IN_FRAME)
        operations = tuple(
            self._operation(number, name, operation)
            for number, (name, operation) in enumerate(shape.operations.items(), 1)
        )
        refusal = None if shape.refusal is None else self._template("refusal", shape.refusal, self._in_refusal)
        address = shape.address
        special = {}
        if address.broadcast_as is not None and address.broadcast is not None:
            special[address.broadcast] = self._bytes("address.broadcast_as", address.broadcast_as)
        value = shape.fields.get("value")
        between = self._bytes("fields.value.between", value.between) if value else b""
        return Declaration(
            name=shape.name,
            title=shape.title,
            framing=self._framing(shape.framing),
            frame=frame,
            check=None if shape.check is None else Check(shape.check.kind, shape.check.start, shape.check.to),
            addresses=(address.first, address.last),
            broadcast=address.broadcast,
            answers_broadcast=address.answers_broadcast,
            groups=None if address.groups is None else (address.groups[0], address.groups[1]),
            fields=encodings(shape.fields, special, self._notes),
            holds={name: field.holds for name, field in shape.fields.items() if field.holds is not None},
            between=between,
            operations=operations,
            refusal=refusal,
            reasons=_reasons(shape.reasons),
            keys=shape.keys,
            in_text=shape.literals == "text" and not shape.framing.hex,
        )

    def _operation(self, number: int, name: str, shape: OperationShape) -> Operation:
        field = self._notes.below("operations", name)
        verb = shape.does or name
        if verb not in VERBS:
            self._notes.note(
                field,
                "no-such-verb",
                "the meaning of this operation is missing",
                at_key=True,
                found=repr(name[:60]),
                expected="a name among " + ", ".join(VERBS) + ", or `does` with one of them",
                mend="add for example `does: read`",
            )
        refusal = shape.refusal
        return Operation(
            number=number,
            name=name,
            verb=verb,
            request=self._template(f"{field}.request", shape.request, self._in_message),
            reply=self._template(f"{field}.reply", shape.reply, self._in_message),
            refusal=None if refusal is None else self._template(f"{field}.refusal", refusal, self._in_refusal),
            key=shape.key,
            values=None if shape.values is None else tuple(shape.values),
            most=shape.most,
        )

    def _framing(self, shape: FramingShape) -> Framing:
        escape = None
        start, end = self._bytes("framing.start", shape.start), self._bytes("framing.end", shape.end)
        if shape.escape is not None:
            byte = self._bytes("framing.escape.byte", shape.escape.byte)
            if len(byte) != 1:
                self._notes.note(
                    "framing.escape.byte", "bad-escape", "not one byte", found=f"{len(byte)} bytes", expected="one byte"
                )
                byte = b"\0"
            escape = Escape(byte[0], self._images(shape, start, end, byte))
        return Framing(
            kind=shape.kind,
            start=start,
            end=end,
            escape=escape,
            hex=shape.hex,
            length=shape.length or 0,
            counts=shape.counts,
            quiet=shape.quiet or shape.gap,
            least_quiet=shape.least_quiet,
            forget=shape.forget,
            gap=shape.gap,
            longest=shape.longest,
        )

    def _images(self, shape: FramingShape, start: bytes, end: bytes, byte: bytes) -> dict[int, int]:
        assert shape.escape is not None
        marks = dict.fromkeys([*start, *end, *byte])
        if shape.escape.xor is not None:
            return {mark: mark ^ shape.escape.xor for mark in marks}
        images = {}
        for mark, image in shape.escape.replaced.items():
            pair = [self._hex_byte("framing.escape.replaced", text) for text in (mark, image)]
            images[pair[0]] = pair[1]
        return images

    def _hex_byte(self, field: str, text: str) -> int:
        try:
            (byte,) = bytes.fromhex(text)
        except ValueError:
            self._notes.note(
                field, "bad-escape", "not one byte in hex", found=repr(text[:20]), expected="two hex digits, as DC"
            )
            return 0
        return byte

    def _template(self, field: str, text: str, known: tuple[str, ...]) -> Parts:
        try:
            return parse_template(text, self._shape.literals, known)
        except UserError as error:
            self._notes.note(
                field, "bad-template", error.what, found=error.found, expected=error.expected, mend=error.mend
            )
            return ()

    def _bytes(self, field: str, text: str) -> bytes:
        try:
            return parse_bytes(text, self._shape.literals)
        except UserError as error:
            self._notes.note(
                field, "bad-template", error.what, found=error.found, expected="bytes without fields", mend=error.mend
            )
            return b""


def _reasons(shape: ReasonsShape) -> dict[int, int]:
    return {
        ILLEGAL_VERB: shape.verb,
        ILLEGAL_KEY: shape.key,
        ILLEGAL_VALUE: shape.value,
        FAILED: shape.failed,
        BUSY: shape.busy,
    }
