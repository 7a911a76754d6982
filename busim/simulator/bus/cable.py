"""The pair as laid: stations along it, propagation, bias, contention, and cuts."""

from __future__ import annotations

from busim.physics.electric import propagation_ns
from busim.simulator.bus.cable_segments import CableSegments
from busim.simulator.bus.stations import Station


class Cable:
    """`stations` in the order of attachment. `span`: propagation from end to end, ns, known after `measure`.

    `biased_at`: numbers of the stations that hold the bias if the pair is `biased`. `contention`: the level that wins
    between drivers that disagree; `coin_key`: the key of its coin. `segments`: the pieces of a cut pair, None while it
    is whole.
    """

    def __init__(self, *, contention: str, biased: bool, velocity: float, coin_key: int) -> None:
        self.contention = contention
        self.biased = biased
        self.coin_key = coin_key
        self.stations: list[Station] = []
        self.span = 0
        self.biased_at: tuple[int, ...] = (0,)
        self.segments: CableSegments | None = None
        self._ns_per_metre = propagation_ns(1.0, velocity)

    def measure(self) -> None:
        """Compute the delays between stations, once all are attached."""
        for station in self.stations:
            station.delays = [self.delay(other, station) for other in self.stations]
        self.span = max((max(station.delays) for station in self.stations), default=0)

    def delay(self, one: Station, other: Station) -> int:
        """Propagation from one station to another, ns.

        A difference of whole nanoseconds from the cable's end: delays then add up along the cable, and no signal
        overtakes another.
        """
        return abs(self.delay_over(one.metres) - self.delay_over(other.metres))

    def delay_over(self, metres: float) -> int:
        """Propagation from the cable's end to a position, ns."""
        return round(metres * self._ns_per_metre)

    def connects(self, one: Station, other: Station) -> bool:
        """Whether two stations are on one segment now."""
        return self.segments is None or self.segments.together(one, other)

    @property
    def floats(self) -> bool:
        """Whether the pair, or one segment of it, has no bias."""
        return not self.biased if self.segments is None else self.segments.floats()

    def cut_up(self) -> CableSegments:
        """The segments of the pair, for a change now; made at the first change."""
        if self.segments is None:
            held = [number for number in self.biased_at if self.biased and number < len(self.stations)]
            self.segments = CableSegments(len(self.stations), held)
        return self.segments
