"""The fields of a declaration: which keys go with which encoding, and the encodings that come of them."""

from __future__ import annotations

from dataclasses import replace

from busim.foundation.schema import Notebook
from busim.protocols.declared.declaration import FIELDS
from busim.protocols.declared.encodings import Encoding
from busim.protocols.declared.shapes import EncodingShape

_BINARY = ("bytes",)
_NEEDED = {
    "unsigned": _BINARY, "signed": _BINARY, "bcd": _BINARY, "nibbles": _BINARY, "seven": _BINARY,
    "decimal": ("digits",), "hex": ("digits",), "words": ("words",),
}  # fmt: skip
_SCALED = ("times", "plus", "limits", "holds", "between")
_ALLOWED = {
    "unsigned": ("order", *_SCALED), "signed": ("order", *_SCALED), "bcd": ("order", *_SCALED),
    "nibbles": ("order", "high", *_SCALED), "seven": ("order", *_SCALED),
    "decimal": ("least_digits", "sign", "point", *_SCALED), "hex": ("order", "case", *_SCALED),
    "words": ("holds", "between"),
}  # fmt: skip
_UNLIMITED = ("check", "length", "count", "size", "reason")
_UNSCALED = (*_UNLIMITED, "tag")


def encodings(shapes: dict[str, EncodingShape], special: dict[int, bytes], notes: Notebook) -> dict[str, Encoding]:
    """Name to encoding. `special`: bus IDs with a form of their own. Mistakes are noted; their fields are left out."""
    found = {}
    for name, shape in shapes.items():
        field = notes.below("fields", name)
        before = len(notes.found)
        _check_name(field, name, shape, notes)
        _check_keys(field, shape, notes)
        _check_digits(field, shape, notes)
        words = _words(field, shape, notes)
        if name in _UNSCALED and (shape.times, shape.plus) != (1, 0):
            notes.note(field, "scaled", f"{{{name}}} is not scaled", expected="neither `times` nor `plus`")
        if name in _UNLIMITED and shape.limits is not None:
            notes.note(f"{field}.limits", "no-field", f"{{{name}}} carries whatever comes out", mend="delete `limits`")
        if len(notes.found) > before:
            continue
        encoding = Encoding(
            kind=shape.kind,
            size=shape.bytes or shape.digits or 0,
            least=shape.least_digits or shape.digits or 0,
            order=shape.order,
            sign=shape.sign,
            point=shape.point,
            case=shape.case,
            high=shape.high,
            times=shape.times,
            plus=shape.plus,
            words=words,
            special=special if name == "address" else {},
        )
        low, high = encoding.bounds
        if low > high:
            notes.note(
                field, "holds-nothing", "no number can be written this way", expected="`times` and `plus` that fit"
            )
            continue
        if shape.limits is not None:
            least, greatest = shape.limits
            if not low <= least <= greatest <= high:
                notes.note(
                    f"{field}.limits",
                    "out-of-bounds",
                    "limits that the field cannot have",
                    found=f"{least} to {greatest}",
                    expected=f"two numbers in order, from {low} to {high}",
                )
                continue
            encoding = replace(encoding, limits=(least, greatest))
        found[name] = encoding
    return found


def _check_name(field: str, name: str, shape: EncodingShape, notes: Notebook) -> None:
    if name in FIELDS:
        if name in ("message", "values"):
            mend = "declare `value`" if name == "values" else "delete it: the operations say what a message is"
            notes.note(field, "no-field", f"`{name}` has no encoding of its own", at_key=True, mend=mend)
        elif shape.holds is not None:
            notes.note(f"{field}.holds", "no-field", f"what {{{name}}} carries is fixed", mend="delete `holds`")
    elif shape.holds is None:
        notes.note(
            field,
            "no-field",
            "a field of your own that does not say what it carries",
            at_key=True,
            found=repr(name[:60]),
            expected="`holds: value` or `holds: key`, or a name among " + ", ".join(FIELDS),
        )
    elif not name.replace("_", "").isalnum() or not name.isascii() or len(name) < 3:
        notes.note(
            field,
            "no-field",
            "not a name for a field",
            at_key=True,
            found=repr(name[:60]),
            expected="three letters or more",
        )
    if shape.between and name != "value":
        notes.note(f"{field}.between", "no-field", "only {value} is repeated", mend="move it to `value`")


def _check_keys(field: str, shape: EncodingShape, notes: Notebook) -> None:
    needed = _NEEDED[shape.kind]
    for key in needed:
        if not getattr(shape, key):
            notes.note(
                field,
                "missing-key",
                f"`{key}` is missing",
                found=f"as: {shape.kind}",
                expected=f"`{key}`",
                mend=f"add `{key}`",
            )
    for key in shape.model_fields_set - {"kind", *needed, *_ALLOWED[shape.kind]}:
        notes.note(
            f"{field}.{key}",
            "unknown-key",
            f"`{key}` does not go with `as: {shape.kind}`",
            at_key=True,
            expected="one of " + ", ".join((*needed, *_ALLOWED[shape.kind])),
            mend="delete the key, or choose another encoding",
        )


def _check_digits(field: str, shape: EncodingShape, notes: Notebook) -> None:
    digits, least = shape.digits or 0, shape.least_digits or shape.digits or 0
    if shape.kind == "decimal" and least > digits:
        notes.note(
            f"{field}.least_digits", "out-of-bounds", "more than `digits`", found=str(least), expected=f"1 to {digits}"
        )
    if shape.kind == "decimal" and digits and shape.point >= least:
        notes.note(
            f"{field}.point",
            "out-of-bounds",
            "no digit is left before the point",
            found=str(shape.point),
            expected=f"0 to {least - 1}, fewer than the fewest digits",
        )
    if shape.kind == "hex" and shape.order == "little" and digits % 2:
        notes.note(
            f"{field}.digits",
            "out-of-bounds",
            "byte order wants whole bytes",
            found=str(digits),
            expected="an even number",
        )


def _words(field: str, shape: EncodingShape, notes: Notebook) -> dict[int, bytes]:
    words: dict[int, bytes] = {}
    for number, word in shape.words.items():
        place = notes.below(f"{field}.words", number)
        if not number.isdecimal() or not number.isascii() or int(number[:9]) > 65535:
            notes.note(
                place,
                "bad-value",
                "not a number",
                at_key=True,
                found=repr(number[:20]),
                expected="a number of 0 to 65535",
            )
        elif not word.isascii() or word.encode() in words.values() or int(number) in words:
            notes.note(place, "bad-value", "not a word of its own", found=repr(word), expected="ASCII, each word once")
        else:
            words[int(number)] = word.encode()
    return words
