"""A bare line for tests: stations with raw listeners and no framers, and the characters that each heard."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Any

from busim.foundation.units import CharFormat
from busim.recording.trace import Record
from busim.simulator.bus import Line, Listener, Setting, Station, setting
from busim.simulator.kernel import Kernel


def port(baud: int | Fraction = 9600, format: str = "8N1", ppm: float = 0.0, swapped: bool = False) -> Setting:
    return setting(Fraction(baud), CharFormat.parse(format), ppm, swapped)


class RawListener(Listener):
    """Keeps every character: (value, ns, flags). `holds`: it is never taken for one that holds nothing."""

    def __init__(self) -> None:
        super().__init__()
        self.holds = False
        self.got: list[tuple[int, int, int]] = []
        self.chunks: list[tuple[bytes, int, int, int]] = []

    def heard(
        self, data: bytes, first: int, last: int, flags: int, source: Station | None, deaf: Station | None
    ) -> None:
        self.chunks.append((data, first, last, flags))

    @property
    def fresh(self) -> bool:
        return not self.holds

    def characters(self, of: Setting) -> list[tuple[int, int, int]]:
        """(value, ns, flags) of every character, chunks taken apart."""
        return [
            (value, first + of.offset(n * of.halves) if len(data) > 1 else first, flags)
            for data, first, _, flags in self.chunks
            for n, value in enumerate(data)
        ]


class Wire:
    """A line with named stations: `send` at future instants, then `run`."""

    def __init__(self, **line: Any) -> None:
        self.kernel = Kernel()
        self.records: list[Record] = []
        self.line = Line(self.kernel, self.records.append, **line)
        self.listeners: dict[str, RawListener] = {}
        self.stations: dict[str, Station] = {}

    def station(self, name: str, metres: float = 0.0, of: Setting | None = None, **driver: Any) -> Station:
        station = self.stations[name] = Station(name, metres, of or port(), **driver)
        self.listeners[name] = RawListener()
        self.line.attach(station, self.listeners[name])
        return station

    def start(self) -> Wire:
        self.line.start()
        return self

    def at(self, when: int, what: Callable[[Any], object]) -> None:
        self.kernel.at(when, lambda _: (what(None), None)[1])

    def send(self, when: int, name: str, data: bytes) -> None:
        self.kernel.at(when, lambda _: (self.line.send(self.stations[name], data), None)[1])

    def run(self, until: int = 1_000_000_000) -> Wire:
        self.kernel.advance(until)
        self.line.finish()
        return self

    def heard(self, name: str) -> list[tuple[int, int, int]]:
        """(value, ns, flags) as this station heard them."""
        return self.listeners[name].characters(self.stations[name].setting)

    def values(self, name: str) -> bytes:
        return bytes(value for value, _, _ in self.heard(name))
