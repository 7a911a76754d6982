"""The times of a case: every poll and every move as an exchange, with its time-out and what a failure costs.

Arrays, one entry for each poll (or move) of the case, so that the arithmetic is done once for all of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from busim.budget.case import Case, Move, Poll
from busim.exchange import MEAN, Exchange, Terms, drain, exchange, time_out

Array = npt.NDArray[np.float64]

_SURELY = 1 - 1e-9  # lost, short of certainty: what never comes has no mean
_NAMES = tuple(field.name for field in fields(Exchange))


@dataclass(frozen=True, slots=True)
class Timing:
    """Arrays over the polls (or moves) of a case, ns.

    `exchange`: an answered one, part by part. `wire`: of it, with characters on the wire. `time_out`: how long the
    master waits for it; `lost`: what one that is not answered takes, the drain after it included. `failing`: the
    chance that noise damages one, `bits` those it may hit with the line's bit error rate, `chatter` the mean number of
    false characters that hit one. `unit`: whose it is.
    """

    exchange: Exchange
    wire: Array
    time_out: Array
    lost: Array
    failing: Array
    bits: Array
    chatter: Array
    unit: npt.NDArray[np.int64]

    def noisy(self, bit_error_rate: float) -> Timing:
        """The same at another bit error rate."""
        return replace(self, failing=_failing(self.bits * bit_error_rate + self.chatter))

    def occupied(self, case: str = MEAN) -> Array:
        """How long the master is inside an answered exchange and the pause after it."""
        return np.asarray(getattr(self.exchange, case) + self.exchange.pause)


def pause(case: Case) -> int:
    """ns a master leaves between a reply and the next request."""
    return max(case.gap, case.dialect.silence(float(case.baud)))


def timing(case: Case, asked: Sequence[Poll] | Sequence[Move]) -> Timing:
    """The times of polls or moves of a case."""
    units = [case.units[one.unit] for one in asked]
    halves, baud = case.format.half_bits, float(case.baud)
    bit = 1e9 / baud
    character = halves * bit / 2 / (1 + case.ppm / 1e6)
    answer = np.array([halves * 1e9 / (2 * float(unit.baud) * (1 + unit.ppm / 1e6)) for unit in units])
    request = np.array([one.request for one in asked], dtype=float)
    reply = np.array([one.reply for one in asked], dtype=float)
    high = np.array([unit.turnaround.high for unit in units], dtype=float)
    silence = float(case.dialect.silence(baud))
    rest = float(pause(case))
    hold = np.array([max(0, unit.hold) for unit in units], dtype=float)
    terms = Terms(
        request=request,
        reply=reply,
        character=character,
        answer_character=answer,
        silence=silence,
        turnaround_low=np.array([unit.turnaround.low for unit in units], dtype=float),
        turnaround_high=high,
        pause=rest,
        # behind a converter packing begins when the last byte is there, in the middle of its first stop bit
        tail=answer * (halves - case.format.sample_halves) / halves if case.converter else 0.0,
        packing_idle=float(case.packing_idle),
        packing_length=float(case.packing_length),
        latency_low=float(case.latency.low),
        latency_high=float(case.latency.high),
        distance=np.array([unit.distance for unit in units]),
        lead=float(max(0, case.lead)),
        answer_lead=np.array([max(0, unit.lead) for unit in units], dtype=float),
        quiet=np.maximum(0.0, hold + case.listen - rest) if case.listen else 0.0,
    )
    wire = request * character + reply * answer
    nominal = (request + reply) * (halves * bit / 2)
    packing, latency = float(case.packing_idle), float(case.latency.high)
    if case.time_out:
        waits = np.full(len(asked), float(case.time_out))
    else:
        waits = np.asarray(time_out(nominal, silence, high, packing, latency))
    none = np.zeros(len(asked))  # makes an array of what is the same for all
    # Noise hurts where it hits a character, and where it makes one that runs into a frame: in the silence before and
    # behind the request, and a character's length before request and reply.
    open_time = 2 * (silence + character)
    bits = (wire + open_time) / bit
    chatter = case.chatter / 1e9 * open_time + none
    return Timing(
        exchange=Exchange(*(part + none for part in _times(exchange(terms)))),
        wire=wire,
        time_out=waits,
        lost=waits + drain(rest, packing, latency),
        failing=_failing(case.bit_error_rate * bits + chatter),
        bits=bits,
        chatter=chatter,
        unit=np.array([one.unit for one in asked], dtype=np.int64),
    )


def _failing(hits: Array) -> Array:
    """Chance of at least one hit where so many come on average."""
    return np.minimum(_SURELY, -np.expm1(-hits))


def joined(one: Exchange, other: Exchange) -> Exchange:
    """Two sets of exchanges as one."""
    return Exchange(*(np.concatenate(pair) for pair in zip(_times(one), _times(other), strict=True)))


def _times(exchange: Exchange) -> list[Array]:
    return [getattr(exchange, name) for name in _NAMES]
