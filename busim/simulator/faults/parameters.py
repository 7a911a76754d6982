"""Parameters of faults: the meaning, unit, bounds and default of each.

A parameter reads the written text (in a plan, on a line typed into a running session, in JSON) and gives the same
bounds as JSON Schema. So a plan, the page of the handbook and the fuzzer know the same bounds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from busim.foundation.errors import UserError
from busim.foundation.units import parse_rate, parse_signed_time, show_time

Kind = Literal["time", "share", "rate", "count", "number", "word", "bytes", "name"]
Value = Any  # ns for a time, a float for a share, a rate or a number, an int, a str or bytes
Values = Mapping[str, Value]

_LONGEST = 200
_HOW = {
    "time": ("a time", "300 ms"),
    "share": ("a share or per cent", "0.1"),
    "rate": ("a number per second", "2 /s"),
    "count": ("a whole number", "3"),
    "number": ("a number", "0.5"),
    "bytes": ("pairs of hexadecimal digits", "0D 0A"),
    "name": ("a name of the plan", "rope left"),
}


@dataclass(frozen=True, slots=True)
class Parameter:
    """`default`, `low` and `high` as written; `unit` if the kind does not say it. `words`: all allowed words.

    The default "" of a `name` stands for the one that the fault chooses by itself.
    """

    name: str
    kind: Kind
    what: str
    default: str
    low: str = ""
    high: str = ""
    unit: str = ""
    words: tuple[str, ...] = ()

    def named(self, name: str) -> Parameter:
        """The same under another name."""
        return replace(self, name=name)

    def read(self, given: object) -> Value:
        """The value of a written text. Raises UserError, which names the parameter in `field`."""
        text = _text(given)
        try:
            value = self._parse(text)
            if self.low and not self._parse(self.low) <= value <= self._parse(self.high):
                raise UserError("out of bounds")
        except UserError as error:
            kind, example = _HOW.get(self.kind, ("", ""))
            raise UserError(
                f"{error.what}: `{self.name}`, {self.what}", field=self.name, found=repr(text[:60]),
                expected=self.bounds or kind, mend=f"write for example {self.default or example}",
            ) from None  # fmt: skip
        return value

    @property
    def bounds(self) -> str:
        """Its allowed values, for people."""
        if self.words:
            return "one of " + ", ".join(self.words)
        kind = _HOW[self.kind][0]
        return f"{kind} from {self.low} to {self.high}" if self.low else kind

    def written(self, value: Value) -> str:
        """A value as written."""
        if self.kind == "time":
            return exact_time(value)
        if self.kind == "bytes":
            return str(value.hex(" "))
        if self.kind == "rate":
            return f"{value:g} /s"
        return f"{value:g}" if isinstance(value, float) else str(value)

    def schema(self) -> dict[str, Any]:
        """JSON Schema of the written text."""
        about = f"{self.what}; {self.bounds}"
        if self.words:
            return {"type": "string", "enum": list(self.words), "default": self.default, "description": about}
        return {"type": ["string", "number"], "default": self.default, "description": about}

    def _parse(self, text: str) -> Value:
        if self.words:
            if text not in self.words:
                raise UserError("not one of the words")
            return text
        return _PARSERS[self.kind](text)


def exact_time(ns: int) -> str:
    """A time as text that reads back to the same nanosecond."""
    for unit, size in (("s", 10**9), ("ms", 10**6), ("us", 10**3)):
        if ns and ns % size == 0:
            return f"{ns // size} {unit}"
    return f"{ns} ns"


def shown_time(ns: float) -> str:
    """A time in the text of an effect."""
    return show_time(ns)


def _text(given: object) -> str:
    if isinstance(given, bool):
        return "yes" if given else "no"
    text = str(given) if isinstance(given, (str, int, float)) else ""
    return text.strip() if len(text) <= _LONGEST else text[: _LONGEST + 1]


def _share(text: str) -> float:
    number = text.removesuffix("%").rstrip()
    value = _number(number)
    return value / 100 if number != text else value


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise UserError("not a number") from None
    if not -1e12 < value < 1e12:  # neither infinite nor not-a-number
        raise UserError("not a number")
    return value


def _count(text: str) -> int:
    if not text.removeprefix("-").isascii() or not text.removeprefix("-").isdigit() or len(text) > 12:
        raise UserError("not a whole number")
    return int(text)


def _bytes(text: str) -> bytes:
    try:
        return bytes.fromhex(text)
    except ValueError:
        raise UserError("no bytes") from None


def _rate(text: str) -> float:
    return parse_rate(f"{text} /s" if text.replace(".", "", 1).isdigit() else text)


def _name(text: str) -> str:
    if len(text) > 60 or not text.isprintable():
        raise UserError("not a name")
    return text


_PARSERS: dict[str, Callable[[str], Value]] = {
    "time": parse_signed_time,
    "share": _share,
    "rate": _rate,
    "count": _count,
    "number": _number,
    "bytes": _bytes,
    "name": _name,
}


def time(name: str, what: str, default: str, low: str = "0", high: str = "60 s") -> Parameter:
    """A time between two bounds."""
    return Parameter(name, "time", what, default, low, high)


def share(what: str = "share of the occasions at which it takes effect", default: str = "1") -> Parameter:
    """How often it takes effect when it could."""
    return Parameter("share", "share", what, default, "0", "1")


def count(name: str, what: str, default: str, low: str = "1", high: str = "100") -> Parameter:
    """A whole number between two bounds."""
    return Parameter(name, "count", what, default, low, high)


def rate(name: str, what: str, default: str, high: str = "1000 /s") -> Parameter:
    """So many per second."""
    return Parameter(name, "rate", what, default, "0", high)


def word(name: str, what: str, default: str, *others: str) -> Parameter:
    """One of some words."""
    return Parameter(name, "word", what, default, words=(default, *others))


def octets(name: str, what: str, default: str) -> Parameter:
    """Bytes, in hexadecimal."""
    return Parameter(name, "bytes", what, default)
