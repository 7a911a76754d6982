"""How the pair of a line is laid, from a trace: all an export needs to draw the levels at a receiver."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from busim.foundation.errors import UserError
from busim.recording.trace import INPUT, Trace

_NOT_DRAWN = {
    "cut": "the pair was cut", "join": "the pair was joined", "unplug": "a camera was unplugged",
    "plug": "a camera was plugged in", "swap": "the pair of a camera was swapped",
    "straight": "the pair of a camera was put right",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Place:
    """A station on the pair: `number` in the trace, `order` along the line, `at` ns of propagation from its end.

    `echo`: it hears its own characters; `fail_safe`: it reads an undriven pair as mark; `inverted`: its pair is
    swapped.
    """

    number: int
    order: int
    at: int
    echo: bool
    fail_safe: bool
    inverted: bool


@dataclass(frozen=True, slots=True)
class Cable:
    """The pair of a line: `contention` and the key of its coin, and the `places` on it."""

    contention: str
    coin_key: int
    places: tuple[Place, ...]

    def place(self, number: int) -> Place | None:
        """The place of a station by its number in the trace; None if it is not on the line."""
        return next((place for place in self.places if place.number == number), None)


def cables(trace: Trace) -> dict[int, Cable]:
    """The cables of a trace by line number. Raises UserError if the trace lacks them or is damaged."""
    text = trace.head.get("cables")
    if text is None:
        raise UserError(
            "the trace does not say where the stations of its lines are, so levels cannot be drawn",
            file=trace.path,
            found=f"a trace of schema {trace.head.get('schema')}",
            expected="a trace of schema 3 or later",
            mend="record the run again with this version",
        )
    try:
        return {int(number): _cable(laid) for number, laid in json.loads(str(text)).items()}
    except (AttributeError, KeyError, TypeError, ValueError, RecursionError) as error:
        raise UserError(
            "the trace is damaged", file=trace.path, found=f"cables: {error!r}"[:200], mend="use a copy of it"
        ) from error


def _cable(laid: dict[str, Any]) -> Cable:
    places = []
    for order, (number, at, echo, fail_safe, inverted) in enumerate(laid["stations"]):
        places.append(Place(int(number), order, int(at), bool(echo), bool(fail_safe), bool(inverted)))
    contention = laid["contention"]
    if contention not in ("space-wins", "nearer-wins", "random"):
        raise ValueError(f"contention {contention!r}")
    return Cable(contention, int(laid["coin_key"]), tuple(places))


def refuse_changed(trace: Trace, line: int, name: str, cable: Cable) -> None:
    """Raises UserError if the pair of a line was changed by hand during the run: exports do not draw that."""
    concerned = {line} | {place.number for place in cable.places}
    for record in trace.records(INPUT, by_time=True):
        _, at, number, _, what, _ = record
        if what in _NOT_DRAWN and number in concerned:
            raise UserError(
                f"the levels of line {name!r} cannot be drawn: {_NOT_DRAWN[what]} during the run",
                file=trace.path,
                found=f"{what} at {at / 1e9:.6f} s",
                expected="a line that nobody rewired while it was recorded",
                mend="export another line with --line, or use pcapng, which needs no levels",
            )
