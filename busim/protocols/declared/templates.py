"""Templates: text with {fields} to parts.

Bytes between fields are written as text or, with `literals: hex`, as pairs of hex digits with optional spaces. In text
`{0D}` is the byte 0x0D, and `{{` and `}}` are braces.
"""

from __future__ import annotations

import re

from busim.foundation.errors import UserError
from busim.foundation.yaml_source import nearest
from busim.protocols.declared.declaration import Part, Parts

_PIECE = re.compile(r"\{\{|\}\}|\{([^{}]*)\}|[{}]|[^{}]+")
_BYTE = re.compile("[0-9A-Fa-f]{2}")


def parse(text: str, literals: str, known: tuple[str, ...]) -> Parts:
    """The parts of a template whose fields are among `known`. Raises UserError, without a place, for another field."""
    parts: list[Part] = []
    for match in _PIECE.finditer(text):
        piece, name = match[0], match[1]
        if name is not None and _BYTE.fullmatch(name):
            _add(parts, bytes.fromhex(name))
        elif name is not None:
            if name not in known:
                meant = nearest(name, known)
                raise UserError(
                    "a field that is not known here",
                    found=repr(piece[:60]),
                    expected="one of " + ", ".join(f"{{{word}}}" for word in known),
                    mend=f"did you mean {{{meant}}}?"
                    if meant
                    else "declare it under `fields`, or write {{ for a brace",
                )
            parts.append(name)
        elif piece in "{}":
            raise UserError(
                "a brace that stands alone",
                found=repr(text[max(0, match.start() - 10) : match.end() + 10]),
                expected="a field in braces, as {key}",
                mend="close the braces; write {{ or }} where a brace itself is sent",
            )
        else:
            _add(parts, _bytes(piece[0] if piece in ("{{", "}}") else piece, literals))
    return tuple(parts)


def parse_bytes(text: str, literals: str) -> bytes:
    """A template without fields. Raises UserError as `parse` does."""
    parts = parse(text, literals, ())
    return b"".join(part for part in parts if isinstance(part, bytes))


def _add(parts: list[Part], data: bytes) -> None:
    if parts and isinstance(parts[-1], bytes):
        parts[-1] += data
    elif data:
        parts.append(data)


def _bytes(text: str, literals: str) -> bytes:
    if literals == "text":
        try:
            return text.encode("ascii")
        except UnicodeEncodeError as error:
            raise UserError(
                "a character that is no byte of its own",
                found=repr(text[error.start]),
                expected="ASCII characters",
                mend="write the bytes as {C3}{A9}",
            ) from None
    try:
        return bytes.fromhex(text)
    except ValueError:
        raise UserError(
            "not pairs of hex digits",
            found=repr(text[:60]),
            expected="bytes as 02 1F (this file says `literals: hex`)",
            mend="write two hex digits for each byte",
        ) from None
