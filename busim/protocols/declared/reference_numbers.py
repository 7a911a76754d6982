"""How numbers are written, digit by digit: the slow side, with which tests compare the encodings."""

from __future__ import annotations

from typing import Any

from construct import Adapter, BytesInteger, Construct, ValidationError

from busim.protocols.declared.encodings import Encoding

__all__ = ["Number"]


def _digits(number: int, base: int, count: int) -> list[int]:
    """The digits of a number, the highest first. Raises ValueError for more than `count`."""
    digits = []
    for _ in range(count):
        digits.append(number % base)
        number //= base
    if number:
        raise ValueError("too many digits")
    return digits[::-1]


def _number(digits: list[int], base: int) -> int:
    number = 0
    for digit in digits:
        if not 0 <= digit < base:
            raise ValueError("not a digit")
        number = number * base + digit
    return number


_HEX = b"0123456789abcdef"


class Number(Adapter):  # type: ignore[misc]
    """The number in the bytes of one field."""

    def __init__(self, raw: Construct, encoding: Encoding) -> None:
        super().__init__(raw)
        self._encoding = encoding

    def _encode(self, number: int, context: Any, path: str) -> Any:
        form = self._encoding.special.get(number)
        if form is None and not _allowed(self._encoding, number):
            raise ValidationError(f"{number} is not within the limits", path)
        try:
            return (
                form
                if form is not None
                else _write(self._encoding, number * self._encoding.times + self._encoding.plus)
            )
        except (ValueError, KeyError, OverflowError) as error:
            raise ValidationError(f"{number} cannot be written: {error}", path) from None

    def _decode(self, raw: Any, context: Any, path: str) -> int:
        encoding = self._encoding
        for number, form in encoding.special.items():
            if raw == form:
                return number
        try:
            written = _read(encoding, raw)
            sound = (written - encoding.plus) % encoding.times == 0 and _write(encoding, written) == raw
            sound = sound and _allowed(encoding, (written - encoding.plus) // encoding.times)
        except (ValueError, IndexError, KeyError) as error:
            raise ValidationError(f"{raw!r} is no number: {error}", path) from None
        if not sound:
            raise ValidationError(f"{raw!r} is not how a number is written", path)
        return (written - encoding.plus) // encoding.times


def _allowed(encoding: Encoding, number: int) -> bool:
    if encoding.limits is None:
        return True
    least, greatest = encoding.limits
    return not (number < least or number > greatest)


def _binary(encoding: Encoding) -> Construct:
    return BytesInteger(encoding.size, signed=encoding.kind == "signed", swapped=encoding.order == "little")


def _write(encoding: Encoding, number: int) -> bytes:
    kind, size = encoding.kind, encoding.size
    if kind == "words":
        return encoding.words[number]
    if kind in ("unsigned", "signed"):
        return bytes(_binary(encoding).build(number)) if _holds(encoding, number) else _too_large(number)
    if kind == "decimal":
        return _write_decimal(encoding, number)
    if number < 0:
        raise ValueError("negative")
    if kind == "bcd":
        digits = _digits(number, 10, 2 * size)
        raw = [16 * high + low for high, low in zip(digits[::2], digits[1::2], strict=True)]
    elif kind == "nibbles":
        raw = [16 * encoding.high + digit for digit in _digits(number, 16, size)]
    elif kind == "seven":
        raw = _digits(number, 128, size)
    else:
        letters = _HEX if encoding.case == "lower" else _HEX.upper()
        raw = [letters[digit] for digit in _digits(number, 16, size)]
        if encoding.order == "little":
            return bytes(raw[at + offset] for at in range(size - 2, -1, -2) for offset in (0, 1))
        return bytes(raw)
    return bytes(raw[::-1] if encoding.order == "little" else raw)


def _holds(encoding: Encoding, number: int) -> bool:
    half = 1 << 8 * encoding.size - 1
    return -half <= number < half if encoding.kind == "signed" else 0 <= number < 2 * half


def _too_large(number: int) -> bytes:
    raise ValueError(f"{number} is too large")


def _write_decimal(encoding: Encoding, number: int) -> bytes:
    if number < 0 and encoding.sign == "none":
        raise ValueError("negative")
    digits = _digits(abs(number), 10, encoding.size)
    while len(digits) > encoding.least and digits[0] == 0:
        digits.pop(0)
    text = bytes(_HEX[digit] for digit in digits)
    if encoding.point:
        text = text[: len(text) - encoding.point] + b"." + text[len(text) - encoding.point :]
    return (b"-" if number < 0 else b"+" if encoding.sign == "always" else b"") + text


def _read(encoding: Encoding, raw: bytes) -> int:
    kind = encoding.kind
    if kind == "words":
        return _word(encoding, raw)
    if kind in ("unsigned", "signed"):
        return int(_binary(encoding).parse(raw))
    if kind == "decimal":
        negative = encoding.sign != "none" and raw[:1] == b"-"
        text = raw[1:] if encoding.sign != "none" and raw[:1] in (b"-", b"+") else raw
        number = _number([_HEX.index(byte) for byte in text.replace(b".", b"")], 10)
        return -number if negative else number
    if kind == "hex":
        if encoding.order == "little":
            raw = bytes(raw[at + offset] for at in range(len(raw) - 2, -1, -2) for offset in (0, 1))
        return _number([_HEX.index(byte) for byte in raw.lower()], 16)
    bytes_ = list(raw[::-1] if encoding.order == "little" else raw)
    if kind == "bcd":
        return _number([digit for byte in bytes_ for digit in (byte >> 4, byte & 15)], 10)
    return _number([byte & 15 for byte in bytes_], 16) if kind == "nibbles" else _number(bytes_, 128)


def _word(encoding: Encoding, raw: bytes) -> int:
    for number, word in encoding.words.items():
        if word == raw:
            return number
    raise ValueError("no word")
