"""Many uncoordinated stations on one pair: the throughput of the emulated line against the published laws.

Pure ALOHA: Abramson 1970. Carrier sense: Kleinrock and Tobagi, IEEE Trans. Comm. 23(12), 1975 (formula second-hand).

Both laws have stations without number, so a start takes a station that is idle, and a new one where all are busy: who
sends makes no difference. All stand at one place. A frame is 64 characters, distinct from every other, and counts as
received when one receiver heard every character of it right, at its instant, without a flag. The receiver is a
plain UART with no framer behind it. Two frames that touch only by the second half of a stop bit do not hurt each
other, which shortens a frame of 640 bits by half a bit; a receiver that a collision leaves in the middle of a false
character may miss the first character of the next frame, which costs about as little. Both are far inside 2 %.
"""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from small_plans import KeepingListener

from busim.experiments.measurement_run import measure
from busim.foundation.units import CharFormat
from busim.plan import read_text
from busim.recording.trace import Record
from busim.simulator.bus import Line, Station, setting
from busim.simulator.kernel import Chance, Kernel

PORT = setting(Fraction(115200), CharFormat.parse("8N1"))
CHARACTERS = 64
FRAME = PORT.offset(CHARACTERS * PORT.halves)  # ns


class Crowd:
    """Stations that start frames at Poisson instants. `sensing`: ns from a look to sending; None: no look."""

    def __init__(self, load: float, starts: int, *, sensing: int | None = None) -> None:
        chance = Chance(1)
        self._gaps = chance.stream("starts")
        self._bytes = chance.stream("frames")
        self._mean = FRAME / load
        self._left = starts
        self._sensing = sensing
        self._kernel = Kernel()
        self._line = Line(self._kernel, self._note)
        self._stations: list[Station] = []
        self._receiver = self._station()
        self._listener = KeepingListener(self._receiver)
        self._line.attach(self._receiver, self._listener)
        for _ in range(12):
            station = self._station()
            station.number = len(self._line.stations)  # a driver without a receiver
            self._line.stations.append(station)
            self._stations.append(station)
        self._line.start()
        self._sent: list[tuple[int, bytes]] = []
        self.received = 0
        self.sent = 0

    def _station(self) -> Station:
        return Station("one of many", 0.0, PORT)

    def _note(self, record: Record) -> None:
        """The trace is not used: only the receiver counts."""

    def run(self) -> float:
        """Throughput: share of time that carries frames which are received."""
        self._kernel.at(self._gaps.exponential(self._mean), self._start)
        while (deadline := self._kernel.next_deadline()) is not None:
            self._kernel.advance(deadline)
            if len(self._sent) > 256 and deadline > self._sent[-1][0] + FRAME:
                self._judge()
        self._judge()
        return self.received * FRAME / self._last

    def _start(self, _: object) -> None:
        now = self._last = self._kernel.now
        self._left -= 1
        if self._left:
            self._kernel.at(now + self._gaps.exponential(self._mean), self._start)
        if self._sensing is None:
            self._send(None)
        elif not self._line.busy(self._receiver):
            self._kernel.at(now + self._sensing, self._send)

    def _send(self, _: object) -> None:
        now = self._kernel.now
        station = next(s for s in self._stations if s.burst is None or s.burst.off <= now)
        data = bytes(self._bytes.between(0, 255) for _ in range(CHARACTERS))
        self._sent.append((now, data))
        self.sent += 1
        self._line.send(station, data)

    def _judge(self) -> None:
        """Count the frames sent so far that were heard whole."""
        heard = {at: value for at, value, flags in self._listener.characters if not flags}
        for start, data in self._sent:
            there = (start + PORT.reach(number)[0] for number in range(1, CHARACTERS + 1))
            self.received += all(heard.get(at) == value for at, value in zip(there, data, strict=True))
        self._sent.clear()
        self._listener.characters.clear()


def _tolerance(crowd: Crowd, expected: float, load: float) -> float:
    """3 sigma of a count of independent successes, or 2 % where that is more."""
    return max(3 * expected / math.sqrt(expected / load * crowd.sent), 0.02 * expected)


def _aloha(load: float, starts: int) -> None:
    """Throughput G e^(-2G): Abramson 1970; 0.1839 at G = 0.5, its maximum, and 0.1353 at G = 1."""
    expected = load * math.exp(-2 * load)
    assert expected == pytest.approx({0.5: 0.1839, 1.0: 0.1353}[load], abs=1e-4)
    crowd = Crowd(load, starts)
    assert crowd.run() == pytest.approx(expected, abs=_tolerance(crowd, expected, load))


@pytest.mark.parametrize("load", [0.5, 1.0])
def test_stations_that_send_when_they_like_get_through_as_often_as_pure_aloha(load: float) -> None:
    _aloha(load, 3_000)


@pytest.mark.long
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("load", [0.5, 1.0])
def test_a_hundred_thousand_frames_of_pure_aloha(load: float) -> None:
    _aloha(load, 100_000)


def _sensed(starts: int) -> None:
    """S = G e^(-aG) / (G (1 + 2a) + e^(-aG)) = 0.4926 at a = 0.01, G = 1: Kleinrock and Tobagi 1975 (second-hand).

    The law has one sensing delay a for all pairs, which no row of stations along a cable has. Here all stand at one
    place and each looks at the line a frame times a before it would send: what it acts on is the line as it was
    then, for every pair alike. Its start is shifted by the same time for all, and a shifted Poisson process is one.
    """
    a, load = 0.01, 1.0
    expected = load * math.exp(-a * load) / (load * (1 + 2 * a) + math.exp(-a * load))
    assert expected == pytest.approx(0.4926, abs=1e-4)
    crowd = Crowd(load, starts, sensing=round(a * FRAME))
    assert crowd.run() == pytest.approx(expected, rel=0.02)


def test_stations_that_listen_first_get_through_as_often_as_non_persistent_carrier_sense() -> None:
    _sensed(20_000)


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_a_hundred_thousand_looks_of_carrier_sense() -> None:
    _sensed(100_000)


def _listeners(back_off: str, seed: int) -> tuple[int, int]:
    """Exchanges that are answered and lost, of four masters that listen first, in ten seconds."""
    names = ["one", "two", "three", "four"]
    masters = "".join(
        f"  - {{name: {name}, on: [wall], listen: 3 ms, back_off: {back_off}, retries: 0, offline_after: 10000, "
        f"starts_at: {number} ms, groups: [{{name: fast, values: [iris], every: 41 ms}}]}}\n"
        for number, name in enumerate(names)
    )
    order = "".join(f"      - {{master: {name}, after: 5 m}}\n" for name in names)
    plan = read_text(
        f"""
busim: 1
name: listeners
lines:
  - name: wall
    baud: 19200 Bd
    format: 8E1
    protocol: modbus-rtu
    order:
      - terminator
{order}      - {{camera: c1, after: 5 m}}
      - terminator
cameras: [{{name: c1, bus_id: 1, turnaround: 1..2 ms}}]
masters:
{masters}"""
    )
    seen = measure(plan, 10 * 10**9, seed)
    return sum(len(one.exchanges) for one in seen), sum(one.lost for one in seen)


def test_masters_that_stay_away_from_a_busy_line_meet_less_often_than_those_that_wait_for_its_end() -> None:
    """Whoever waits for the end of a busy line sends together with all others that wait: 1-persistent carrier sense
    carries less than non-persistent (Kleinrock and Tobagi 1975)."""
    waiting, away = _listeners("0", 1), _listeners("7 ms", 1)
    assert waiting[1] > 3 * away[1]
    assert away[0] > waiting[0]
