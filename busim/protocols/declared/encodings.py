"""How the number of a field is written: one number to its bytes and back.

This is the hot side, but the codec keeps results in tables, so clarity goes before speed here. Every encoding is
strict: bytes that it would not write hold no number. So a number has one form, and a frame that is read and written
again stays the same.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

ANY = (1 << 256) - 1  # every byte value, as a set of bits


def bits_of(values: bytes | range) -> int:
    """A set of byte values as an integer with those bits set."""
    bits = 0
    for value in values:
        bits |= 1 << value
    return bits


_DIGITS = bits_of(b"0123456789")


@dataclass(frozen=True, slots=True)
class Encoding:
    """One way to write a number. `size`: bytes or digits; `least`: fewest digits. `special`: numbers with a form of
    their own. `limits`: least and greatest of the other numbers, if not all that fit are used.

    It writes `number * times + plus`.
    """

    kind: str
    size: int
    least: int = 0
    order: str = "big"
    sign: str = "none"
    point: int = 0
    case: str = "upper"
    high: int = 0
    times: int = 1
    plus: int = 0
    words: Mapping[int, bytes] = field(default_factory=dict)
    special: Mapping[int, bytes] = field(default_factory=dict)
    limits: tuple[int, int] | None = None

    def encode(self, number: int) -> bytes:
        """Raises ValueError for a number that it cannot hold."""
        special = self.special.get(number)
        if special is not None:
            return special
        if self.limits and not self.limits[0] <= number <= self.limits[1]:
            raise ValueError(f"{number} is beyond the limits of the field")
        raw = _WRITE[self.kind](self, number * self.times + self.plus)
        if self.special and raw in self.special.values():
            raise ValueError(f"{number} would be written as a number with a form of its own")
        return raw

    def decode(self, raw: bytes) -> int | None:
        """The number in these bytes; None for bytes that `encode` does not write."""
        for number, form in self.special.items():
            if form == raw:
                return number
        try:
            written = _READ[self.kind](self, raw)
            number, rest = divmod(written - self.plus, self.times)
            return number if rest == 0 and self.encode(number) == raw else None
        except ValueError:
            return None

    @property
    def widths(self) -> tuple[int, int]:
        """Fewest and most bytes."""
        if self.kind == "words":
            sizes = [len(word) for word in self.words.values()]
            least, most = min(sizes), max(sizes)
        elif self.kind == "decimal":
            more = 1 if self.point else 0
            least = self.least + more + (1 if self.sign == "always" else 0)
            most = self.size + more + (0 if self.sign == "none" else 1)
        else:
            least = most = self.size
        for form in self.special.values():
            least, most = min(least, len(form)), max(most, len(form))
        return least, most

    @property
    def bounds(self) -> tuple[int, int]:
        """Least and greatest number it can hold (of words: those it has)."""
        if self.limits:
            return self.limits
        if self.kind == "words":
            return min(self.words), max(self.words)
        low, high = 0, {
            "unsigned": 256**self.size - 1, "bcd": 100**self.size - 1, "hex": 16**self.size - 1,
            "nibbles": 16**self.size - 1, "seven": 128**self.size - 1, "decimal": 10**self.size - 1,
        }.get(self.kind, 256**self.size // 2 - 1)  # fmt: skip
        if self.kind == "signed":
            low = -high - 1
        elif self.sign != "none":
            low = -high
        return -((self.plus - low) // self.times), (high - self.plus) // self.times

    @property
    def alphabet(self) -> list[int]:
        """For each byte of its longest form its possible values, as sets of bits."""
        least, most = self.widths
        if self.kind == "words" or (self.kind == "decimal" and least != most):
            chosen = 0
            for word in self.words.values():
                chosen |= bits_of(word)
            if self.kind == "decimal":
                chosen = _DIGITS | (bits_of(b".") if self.point else 0)
                chosen |= {"none": 0, "minus": bits_of(b"-"), "always": bits_of(b"+-")}[self.sign]
            positions = [chosen] * most
        else:
            positions = self._fixed_alphabet()
            if self.limits:
                self._narrow(positions, *self.limits)
        positions += [0] * (most - len(positions))
        for form in self.special.values():
            for index, byte in enumerate(form):
                positions[index] |= 1 << byte
        return positions

    def _fixed_alphabet(self) -> list[int]:
        if self.kind == "decimal":
            digits = [_DIGITS] * self.size
            if self.point:
                digits.insert(self.size - self.point, bits_of(b"."))
            return ([bits_of(b"+-")] if self.sign == "always" else []) + digits
        one = {
            "bcd": bits_of(bytes(16 * high + low for high in range(10) for low in range(10))),
            "hex": bits_of(b"0123456789" + (b"ABCDEF" if self.case == "upper" else b"abcdef")),
            "nibbles": bits_of(range(16 * self.high, 16 * self.high + 16)),
            "seven": bits_of(range(128)),
        }.get(self.kind, ANY)
        return [one] * self.size

    def _narrow(self, positions: list[int], low: int, high: int) -> None:
        """Remove the bytes that no number from `low` to `high` has, up to the first place at which these two differ."""
        first, last = (_WRITE[self.kind](self, number * self.times + self.plus) for number in (low, high))
        for at in _ordered(self, bytes(range(len(first)))):  # from the highest digit on
            begin, end = first[at], last[at]
            if begin > end and self.kind == "signed":  # from the negative numbers through zero
                positions[at] &= ANY & ~bits_of(range(end + 1, begin))
            else:
                positions[at] &= bits_of(range(min(begin, end), max(begin, end) + 1))
            if begin != end:
                return

    @property
    def pattern(self) -> bytes:
        """A regular expression, without groups, for each of its forms (and perhaps others of the same letters)."""
        forms = [re.escape(form) for form in self.special.values()]
        if self.kind == "words":
            forms += [re.escape(word) for word in sorted(self.words.values(), key=len, reverse=True)]
        elif self.kind == "decimal":
            sign = {"none": b"", "minus": b"-?", "always": b"[+-]"}[self.sign]
            whole = b"[0-9]{%d,%d}" % (self.least - self.point, self.size - self.point)
            forms.append(sign + whole + (rb"\.[0-9]{%d}" % self.point if self.point else b""))
        else:
            forms.append(b".{%d}" % self.size)
        return b"(?:" + b"|".join(forms) + b")"


def _ordered(encoding: Encoding, raw: bytes) -> bytes:
    if encoding.order == "big":
        return raw
    step = 2 if encoding.kind == "hex" else 1  # two hex digits are a byte
    return b"".join(raw[at : at + step] for at in range(len(raw) - step, -1, -step))


def _write_binary(encoding: Encoding, number: int) -> bytes:
    try:
        return number.to_bytes(encoding.size, encoding.order, signed=encoding.kind == "signed")  # type: ignore[arg-type]
    except OverflowError as error:
        raise ValueError(str(error)) from None


def _read_binary(encoding: Encoding, raw: bytes) -> int:
    return int.from_bytes(raw, encoding.order, signed=encoding.kind == "signed")  # type: ignore[arg-type]


def _within(encoding: Encoding, number: int, base: int) -> None:
    if not 0 <= number < base**encoding.size:
        raise ValueError(f"{number} does not fit")


def _write_bcd(encoding: Encoding, number: int) -> bytes:
    _within(encoding, number, 100)
    return _ordered(encoding, bytes.fromhex(f"{number:0{2 * encoding.size}d}"))


def _read_bcd(encoding: Encoding, raw: bytes) -> int:
    return _number(_ordered(encoding, raw).hex(), 10)


def _number(text: str, base: int) -> int:
    if not text.isalnum() or not text.isascii():  # int() accepts spaces, signs and underscores as well
        raise ValueError(text)
    return int(text, base)


def _write_hex(encoding: Encoding, number: int) -> bytes:
    _within(encoding, number, 16)
    text = _ordered(encoding, f"{number:0{encoding.size}X}".encode())
    return text if encoding.case == "upper" else text.lower()


def _read_hex(encoding: Encoding, raw: bytes) -> int:
    return _number(_ordered(encoding, raw).decode("latin-1"), 16)


def _write_decimal(encoding: Encoding, number: int) -> bytes:
    digits = f"{abs(number):0{encoding.least}d}"
    if len(digits) > encoding.size or (number < 0 and encoding.sign == "none"):
        raise ValueError(f"{number} does not fit")
    if encoding.point:
        digits = f"{digits[: -encoding.point]}.{digits[-encoding.point :]}"
    sign = "-" if number < 0 else "+" if encoding.sign == "always" else ""
    return (sign + digits).encode()


def _read_decimal(encoding: Encoding, raw: bytes) -> int:
    text = raw.decode("latin-1")
    sign = text[:1]
    digits = text[1:] if encoding.sign != "none" and sign in ("+", "-") else text
    number = _number(digits.replace(".", "", 1), 10)
    return -number if sign == "-" and digits != text else number


def _write_nibbles(encoding: Encoding, number: int) -> bytes:
    _within(encoding, number, 16)
    digits = f"{number:0{encoding.size}x}"
    return _ordered(encoding, bytes(16 * encoding.high + int(digit, 16) for digit in digits))


def _read_nibbles(encoding: Encoding, raw: bytes) -> int:
    number = 0
    for byte in _ordered(encoding, raw):
        number = 16 * number + (byte & 15)
    return number


def _write_seven(encoding: Encoding, number: int) -> bytes:
    _within(encoding, number, 128)
    return _ordered(encoding, bytes(number >> 7 * at & 127 for at in range(encoding.size - 1, -1, -1)))


def _read_seven(encoding: Encoding, raw: bytes) -> int:
    number = 0
    for byte in _ordered(encoding, raw):
        number = 128 * number + byte
    return number


def _write_word(encoding: Encoding, number: int) -> bytes:
    try:
        return encoding.words[number]
    except KeyError:
        raise ValueError(f"{number} has no word") from None


def _read_word(encoding: Encoding, raw: bytes) -> int:
    for number, word in encoding.words.items():
        if word == raw:
            return number
    raise ValueError(raw)


_WRITE = {
    "unsigned": _write_binary, "signed": _write_binary, "bcd": _write_bcd, "decimal": _write_decimal,
    "hex": _write_hex, "nibbles": _write_nibbles, "seven": _write_seven, "words": _write_word,
}  # fmt: skip
_READ = {
    "unsigned": _read_binary, "signed": _read_binary, "bcd": _read_bcd, "decimal": _read_decimal,
    "hex": _read_hex, "nibbles": _read_nibbles, "seven": _read_seven, "words": _read_word,
}  # fmt: skip
