"""The scalar fields of a plan: quantities as text with a unit, endpoints.

Each is a pydantic type that uses a parser of busim.foundation.units. Its JSON Schema holds examples for editors.
A quantity can be text or a bare number, because YAML reads `0`, `38400` and even `8E1` as numbers.
"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from pydantic import PlainValidator, WithJsonSchema

from busim.foundation.errors import UserError
from busim.foundation.schema import offered, quantity
from busim.foundation.units import (
    CharFormat,
    FrameRate,
    Range,
    Spread,
    parse_baud,
    parse_capacitance,
    parse_coordinate,
    parse_current,
    parse_frame_rate,
    parse_gauge,
    parse_length,
    parse_power,
    parse_range,
    parse_rate,
    parse_resistance,
    parse_shutter,
    parse_signed_time,
    parse_spread,
    parse_time,
    parse_voltage,
    show_time,
)

_PPM = re.compile(r"([+-]?[0-9]+(?:\.[0-9]+)?)\s*ppm")
_MS, _SECOND, _HOUR = 10**6, 10**9, 3600 * 10**9
MOST_PPM = 100_000


def _at_most(limit: int) -> Callable[[int], str | None]:
    return lambda value: None if value <= limit else f"at most {show_time(limit)}"


def _never_or_from(shortest: int, limit: int) -> Callable[[int], str | None]:
    expected = f"0, or {show_time(shortest)} to {show_time(limit)}"
    return lambda value: None if value == 0 or shortest <= value <= limit else expected


def _from(shortest: int, limit: int) -> Callable[[int], str | None]:
    return lambda value: None if shortest <= value <= limit else f"{show_time(shortest)} to {show_time(limit)}"


def _spread_at_most(limit: int) -> Callable[[Spread], str | None]:
    return lambda value: None if value.high <= limit else f"at most {show_time(limit)}"


def _within_a_second(value: int) -> str | None:
    return None if abs(value) <= _SECOND else "between -1 s and 1 s"


def _ppm(text: str) -> float:
    if text.strip() == "0":
        return 0.0
    match = _PPM.fullmatch(text.strip())
    value = float(match[1]) if match else 0.0
    if match is None or abs(value) > MOST_PPM:
        raise UserError(
            "not a clock error",
            expected=f"a number of ppm between -{MOST_PPM} and {MOST_PPM}",
            mend="write 200 ppm, for example",
        )
    return value


def _time_out(text: str) -> int | None:
    if text == "computed":
        return None
    try:
        value = parse_time(text)
    except UserError as error:
        raise UserError(error.what, expected="`computed`, or a time", mend="write 250 ms, for example") from None
    if not 0 < value <= _HOUR:
        raise UserError("the time-out is out of bounds", expected="more than 0 and at most 1 h, or `computed`")
    return value


@dataclass(frozen=True, slots=True)
class Endpoint:
    """Where a converter listens: an IPv4 address in its usual form and a TCP port."""

    host: str
    port: int


def _endpoint(text: str) -> Endpoint:
    host, colon, port = text.partition(":")
    expected = "an IPv4 address, a colon and a port of 1 to 65535"
    problem = UserError("not an endpoint", expected=expected, mend="write 198.51.100.44:15001, for example")
    if not colon or not re.fullmatch("[1-9][0-9]{0,4}", port) or int(port) > 65535:
        raise problem
    try:
        address = ipaddress.IPv4Address(host)
    except ValueError:
        raise problem from None
    if address.is_unspecified or address.is_multicast or address == ipaddress.IPv4Address("255.255.255.255"):
        raise UserError(
            "not the address of one device", expected=expected, mend="write the address of the device itself"
        )
    return Endpoint(str(address), int(port))


def _host(text: str) -> str:
    try:
        return str(ipaddress.IPv4Address(text))
    except ValueError:
        raise UserError(
            "not an IPv4 address",
            expected="four numbers from 0 to 255 with dots between them",
            mend="write 198.51.100.1, for example",
        ) from None


def _network(text: str) -> str:
    problem = UserError(
        "not an IPv4 network",
        expected="an address, a slash and the prefix length in bits",
        mend="write 198.51.100.0/24, for example",
    )
    if "/" not in text:
        raise problem
    try:
        return str(ipaddress.IPv4Network(text, strict=False))
    except ValueError:
        raise problem from None


def _range(parse: Callable[[str], float]) -> Callable[[str], Range]:
    return lambda text: parse_range(text, parse)


def _up_to(limit: float, unit: str) -> Callable[[float], str | None]:
    return lambda value: None if value <= limit else f"at most {limit:g} {unit}"


def _more_than_nothing(limit: float, unit: str) -> Callable[[float], str | None]:
    return lambda value: None if 0 < value <= limit else f"more than 0 and at most {limit:g} {unit}"


def _volts(value: Range) -> str | None:
    return None if value.low > 0 and value.high <= 1000 else "more than 0 and at most 1000 V"


def _octets(text: str) -> bytes:
    digits = text.replace(" ", "")
    if not re.fullmatch("(?:[0-9A-Fa-f]{2})*", digits):
        raise UserError(
            "not bytes in hexadecimal",
            expected="pairs of hexadecimal digits",
            mend='write "0D 0A", in quotes, for example',
        )
    return bytes.fromhex(digits)


def _some_octets(text: str) -> bytes:
    octets = _octets(text)
    if not octets:
        raise UserError(
            "no bytes", expected="one byte or more, as pairs of hexadecimal digits", mend='write "00", for example'
        )
    return octets


Octets = Annotated[bytes, PlainValidator(quantity(_octets)), offered("0D 0A", "")]
SomeOctets = Annotated[bytes, PlainValidator(quantity(_some_octets)), offered("00")]
Baud = Annotated[Fraction, PlainValidator(quantity(parse_baud)), offered("38400 Bd", "115200 Bd")]
Format = Annotated[CharFormat, PlainValidator(quantity(CharFormat.parse)), offered("8N1", "8E1")]
Length = Annotated[
    float,
    PlainValidator(quantity(parse_length, lambda metres: None if metres <= 10_000 else "at most 10 km")),
    offered("12 m", "40 ft"),
]
Chatter = Annotated[
    float,
    PlainValidator(quantity(parse_rate, lambda rate: None if rate <= 1000 else "at most 1000 /s")),
    offered("0", "20 /s"),
]
Moves = Annotated[
    float,
    PlainValidator(quantity(parse_rate, lambda rate: None if rate <= 1000 else "at most 1000 /s")),
    offered("0.5 /s", "0"),
]
Positions = Annotated[
    float,
    PlainValidator(quantity(parse_rate, lambda rate: None if 0 < rate <= 1000 else "more than 0 and at most 1000 /s")),
    offered("25 /s"),
]
Time = Annotated[int, PlainValidator(quantity(parse_time, _at_most(24 * _HOUR))), offered("1 s", "0")]
# A converter that acts by itself without a pause would take all the time of the machine.
OwnPace = Annotated[int, PlainValidator(quantity(parse_time, _never_or_from(_MS, 24 * _HOUR))), offered("60 s", "0")]
Redial = Annotated[int, PlainValidator(quantity(parse_time, _from(10 * _MS, 24 * _HOUR))), offered("1 s")]
ShortTime = Annotated[int, PlainValidator(quantity(parse_time, _at_most(60 * _SECOND))), offered("4 ms", "0")]
SignedTime = Annotated[int, PlainValidator(quantity(parse_signed_time, _within_a_second)), offered("20 us", "-5 us")]
TimeSpread = Annotated[
    Spread, PlainValidator(quantity(parse_spread, _spread_at_most(60 * _SECOND))), offered("5 ms", "2..6 ms")
]
Ppm = Annotated[float, PlainValidator(quantity(_ppm)), offered("200 ppm", "-50 ppm")]
TimeOut = Annotated[int | None, PlainValidator(quantity(_time_out)), offered("computed", "250 ms")]
Address = Annotated[
    Endpoint,
    PlainValidator(quantity(_endpoint)),
    WithJsonSchema({"type": "string", "examples": ["198.51.100.44:15001"], "pattern": r"^[0-9.]+:[0-9]{1,5}$"}),
]
Host = Annotated[str, PlainValidator(quantity(_host)), offered("192.0.2.10")]
Network = Annotated[str, PlainValidator(quantity(_network)), offered("198.51.100.0/24")]
Coordinate = Annotated[float, PlainValidator(quantity(parse_coordinate)), offered("12 m", "-4 m")]
Gauge = Annotated[float, PlainValidator(quantity(parse_gauge)), offered("AWG 24", "0.25 mm2")]
Ohms = Annotated[float, PlainValidator(quantity(parse_resistance, _more_than_nothing(1e6, "ohm"))), offered("120 ohm")]
Farads = Annotated[float, PlainValidator(quantity(parse_capacitance, _more_than_nothing(1e-3, "F"))), offered("1 nF")]
Watts = Annotated[float, PlainValidator(quantity(parse_power, _more_than_nothing(1e6, "W"))), offered("60 W")]
Amperes = Annotated[float, PlainValidator(quantity(parse_current, _more_than_nothing(1e4, "A"))), offered("3.15 A")]
Volts = Annotated[float, PlainValidator(quantity(parse_voltage, _more_than_nothing(1e3, "V"))), offered("5 V")]
VoltRange = Annotated[
    Range, PlainValidator(quantity(_range(parse_voltage), _volts)), offered("12 V", "11.4..12.6 V", "44..57 V")
]
read_watts = quantity(_range(parse_power), lambda watts: _up_to(1e6, "W")(watts.high))
WattRange = Annotated[Range, PlainValidator(read_watts), offered("6 W", "4..7 W", "0.5 A at 12 V")]
Frames = Annotated[FrameRate, PlainValidator(quantity(parse_frame_rate)), offered("50p", "59.94p", "50i")]
Shutter = Annotated[Fraction, PlainValidator(quantity(parse_shutter)), offered("1/50 s", "10 ms")]
