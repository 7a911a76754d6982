"""What of an exchange can be told apart from outside, by arithmetic on arrival times.

From sending to the last byte an exchange takes wire time, which baud and lengths give, and a rest: the camera's
turnaround, the packing of the converter, and two passages (there and back through converter, adapter and network). One
read shows only the sum of the rest. Three signs tell more:

- a reply that arrives in several bursts: between its last full burst and the remainder lie the remainder's characters
  and the packing idle; bytes that arrive one by one mean no packing;
- the tool's own echo: it takes both passages and the packing, and no turnaround;
- without either sign, the plan's packing and latency can be taken off: computed, as good as the plan.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import fmean, median, pvariance

from busim.foundation.units import Spread
from busim.onsite.measure.intervals import Interval, interval

MEASURED, COMPUTED, BOUND = "measured", "computed", "bound"
_BURST = 300_000  # ns: a shorter pause between bytes is the system's own


@dataclass(frozen=True, slots=True)
class Sample:
    """One answered read, times in ns from sending. `asked` and `answered`: bytes of request and reply.

    `arrivals`: instant and number of bytes of each packet of the reply; `echoed`: its echo was whole, None: no echo.
    """

    asked: int
    answered: int
    arrivals: tuple[tuple[int, int], ...]
    echoed: int | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the exchange. `how`: MEASURED, COMPUTED (with values of the plan, which `why` names) or BOUND (then
    only its least and most are known). `value`: ns, or bytes for a packing length.
    """

    name: str
    how: str
    value: Interval
    why: str


@dataclass(frozen=True, slots=True)
class Wire:
    """The wire: ns of a character, of its end after the byte is complete, and of the silence that ends a request."""

    character: int
    tail: int
    silence: int


def separate(
    samples: Sequence[Sample], wire: Wire, packing: int | None = None, latency: Spread | None = None
) -> tuple[Part, ...]:
    """The parts, the sum of the rest first. `packing` and `latency`: as planned, None: unknown.

    Raises ValueError without samples.
    """
    rest = [_last(one) - _on_the_wire(one, wire) for one in samples]
    parts = [Part("rest", MEASURED, interval(rest), "turnaround, packing and both passages together")]
    idle, length = _packing(samples, wire)
    if length is not None:
        parts.append(Part("packing length", MEASURED, length, "full bursts of the reply, in bytes"))
    size = 0 if length is None else round(length.middle)
    known = idle.middle if idle is not None else None if packing is None else float(packing)

    def wait(count: int) -> float:
        """The packing idle of so many bytes: none after full bursts alone. Where it is unknown, it cancels out."""
        return 0.0 if known is None or (size and count % size == 0) else known

    echo = _echo(samples, wire, wait)
    if echo is not None:
        turnaround = [
            _last(one) - one.echoed - wait(one.answered) + wait(one.asked)
            - wire.silence - one.answered * wire.character
            for one in samples if one.echoed is not None
        ]  # fmt: skip
        parts.append(Part("turnaround", MEASURED, interval(turnaround), "from the echo of the request to the reply"))
    if idle is not None:
        why = "bytes arrive one by one" if idle.most == 0 else "from the last full burst to the remainder"
        parts.append(Part("packing idle", MEASURED, idle, why))
    if echo is not None:
        if known is None:
            parts.append(Part("packing and passages", MEASURED, echo, "of the echo, which takes both"))
        else:
            how = MEASURED if idle is not None else COMPUTED
            why = "of the echo, less the packing" + ("" if idle is not None else " as planned")
            parts.append(Part("passages", how, echo, why))
    else:
        bare = [time - wait(one.answered) for time, one in zip(rest, samples, strict=True)]
        parts.append(_turnaround(bare, idle is not None, known is not None, latency))
    return tuple(parts)


def _turnaround(times: Sequence[float], packed: bool, known: bool, latency: Spread | None) -> Part:
    """The turnaround without an echo. `times`: less the packing idle, if that is `known`, by measuring if `packed`."""
    rest = interval(times)
    if not known or latency is None:
        most = Interval(0, rest.middle / 2, rest.high, 0, rest.most, rest.count)
        return Part("turnaround", BOUND, most, "no sign tells it from packing and passages")
    found = _less(times, latency)
    if found.most < 0:
        nothing = Interval(0, 0, 0, 0, 0, rest.count)
        return Part("turnaround", BOUND, nothing, "packing and latency of the plan are longer than the whole rest")
    why = "the rest, less latency as planned" if packed else "the rest, less packing and latency as planned"
    return Part("turnaround", COMPUTED, found, why)


def _less(times: Sequence[float], latency: Spread) -> Interval:
    """The times less two passages. A latency that varies takes its part of the variance too, both uniform."""
    found, mean = interval(times), 2 * latency.mean
    least, most = found.least - mean, found.most - mean
    if not latency.fixed:
        width = (max(0.0, 12 * pvariance(times) - 2 * (latency.high - latency.low) ** 2)) ** 0.5
        middle = fmean(times) - mean
        least, most = middle - width / 2, middle + width / 2
    return Interval(found.low - mean, found.middle - mean, found.high - mean, least, most, found.count)


def _last(sample: Sample) -> int:
    return sample.arrivals[-1][0]


def _on_the_wire(sample: Sample, wire: Wire) -> int:
    return (sample.asked + sample.answered) * wire.character + wire.silence - wire.tail


def _echo(samples: Sequence[Sample], wire: Wire, wait: Callable[[int], float]) -> Interval | None:
    """Time of the passages by the echo, and of the packing where it is unknown; None without an echo that came apart
    from its reply.
    """
    times = [
        one.echoed - one.asked * wire.character + wire.tail - wait(one.asked)
        for one in samples if one.echoed is not None and one.echoed < one.arrivals[0][0] - _BURST
    ]  # fmt: skip
    return interval(times) if len(times) * 2 > len(samples) else None


def _packing(samples: Sequence[Sample], wire: Wire) -> tuple[Interval | None, Interval | None]:
    """Packing idle and packing length, each None if no sign shows it."""
    gap = max(2 * wire.character, _BURST)
    alone, idles, lengths = 0, [], []
    for one in samples:
        bursts = _bursts(one, gap)
        spread = _last(one) - one.arrivals[0][0]
        full = (one.answered - 1) * wire.character
        if len(bursts) == 1:
            alone += 0.6 * full < spread < 1.6 * full and len(one.arrivals) > 1
            continue
        sizes = [size for _, size in bursts]
        if len(set(sizes[:-1])) == 1 and sizes[-1] < sizes[0]:
            lengths.append(float(sizes[0]))
            idles.append(float(bursts[-1][0] - bursts[-2][0] - sizes[-1] * wire.character))
    if alone * 2 > len(samples):
        return interval([0.0] * alone), None
    if not lengths or lengths.count(median(lengths)) * 2 < len(lengths):
        return None, None
    return interval(idles), interval(lengths)


def _bursts(sample: Sample, gap: int) -> list[tuple[int, int]]:
    """Last instant and bytes of each run of packets without a pause of `gap` ns."""
    bursts: list[tuple[int, int]] = []
    for at, size in sample.arrivals:
        if bursts and at - bursts[-1][0] < gap:
            bursts[-1] = (at, bursts[-1][1] + size)
        else:
            bursts.append((at, size))
    return bursts
