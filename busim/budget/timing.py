"""The times of a case: every poll and every move as an exchange, with its time-out and what a failure costs.

Arrays, one entry for each poll (or move) of the case, so that the arithmetic is done once for all of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from busim.budget.case import Case, Move, Poll
from busim.exchange import MEAN, Exchange, Numbers, Terms, drain, exchange, time_out

Array = npt.NDArray[np.float64]

_SURELY = 1 - 1e-9  # lost, short of certainty: what never comes has no mean
_NAMES = tuple(field.name for field in fields(Exchange))


@dataclass(frozen=True, slots=True)
class Varied:
    """What a sweep puts in place of a case's own, each an array of the shape [point, 1] or None. Times in ns.

    Stations with a baud of their own keep their distance from the line's.
    """

    baud: Array | None = None
    turnaround_low: Array | None = None
    turnaround_high: Array | None = None
    packing_idle: Array | None = None
    latency_low: Array | None = None
    latency_high: Array | None = None
    gap: Array | None = None
    bit_error_rate: Array | None = None


_AS_PLANNED = Varied()


@dataclass(frozen=True, slots=True)
class Timing:
    """Arrays over the polls (or moves) of a case, ns.

    `exchange`: an answered one, part by part. `wire`: of it, with characters on the wire; `asked`: those of the request
    alone. `tail`: what of a reply is still on the wire when its last byte is known. `time_out`: how long the
    master waits for it; `lost`: what one that is not answered takes, the drain after it included. `failing`: the
    chance that noise damages one, `bits` those it may hit with the line's bit error rate, `chatter` the mean number of
    false characters that hit one. `unit`: whose it is.
    """

    exchange: Exchange
    wire: Array
    asked: Array
    tail: Array
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


def timing(case: Case, asked: Sequence[Poll] | Sequence[Move], varied: Varied = _AS_PLANNED) -> Timing:
    """The times of polls or moves of a case; [point, poll] where something is varied."""
    units = [case.units[one.unit] for one in asked]
    halves = case.format.half_bits
    baud = _or(varied.baud, float(case.baud))
    bit = 1e9 / baud
    character = halves * bit / 2 / (1 + case.ppm / 1e6)
    shares = np.array([float(unit.baud / case.baud) * (1 + unit.ppm / 1e6) for unit in units])
    answer = halves * bit / 2 / shares
    request = np.array([one.request for one in asked], dtype=float)
    reply = np.array([one.reply for one in asked], dtype=float)
    escapes = np.array([one.escapes for one in asked], dtype=float)
    high = _or(varied.turnaround_high, np.array([unit.turnaround.high for unit in units], dtype=float))
    silence = _silence(case, varied.baud)
    rest = np.maximum(_or(varied.gap, float(case.gap)), silence)
    hold = np.array([max(0, unit.hold) for unit in units], dtype=float)
    packing, latency = (
        _or(varied.packing_idle, float(case.packing_idle)),
        _or(varied.latency_high, float(case.latency.high)),
    )
    # behind a converter packing begins when the last byte is there, in the middle of its first stop bit
    tail = answer * (halves - case.format.sample_halves) / halves if case.converter else 0.0
    terms = Terms(
        request=request,
        reply=reply,
        character=character,
        answer_character=answer,
        silence=silence,
        turnaround_low=_or(varied.turnaround_low, np.array([unit.turnaround.low for unit in units], dtype=float)),
        turnaround_high=high,
        pause=rest,
        tail=tail,
        packing_idle=packing,
        packing_length=float(case.packing_length),
        latency_low=_or(varied.latency_low, float(case.latency.low)),
        latency_high=latency,
        distance=np.array([unit.distance for unit in units]),
        lead=float(max(0, case.lead)),
        answer_lead=np.array([max(0, unit.lead) for unit in units], dtype=float),
        quiet=np.maximum(0.0, hold + case.listen - rest) if case.listen else 0.0,
        escapes=escapes,
    )
    wire = request * character + reply * answer
    nominal = (request + reply + escapes) * (halves * bit / 2)
    waits = time_out(nominal, silence, high, packing, latency) if case.time_out is None else float(case.time_out)
    # makes arrays of one shape of what is the same for all
    none = np.zeros(np.broadcast_shapes(*(np.shape(one) for one in (wire, high, packing, latency, rest))))
    # Noise hurts where it hits a character, and where it makes one that runs into a frame: in the silence before and
    # behind the request, and a character's length before request and reply.
    open_time = 2 * (silence + character)
    bits = (wire + open_time) / bit
    chatter = case.chatter / 1e9 * open_time + none
    waits = np.asarray(waits + none)
    return Timing(
        exchange=Exchange(*(part + none for part in _times(exchange(terms)))),
        wire=wire + none,
        asked=request * character + none,
        tail=tail + none,
        time_out=waits,
        lost=waits + drain(rest, packing, latency),
        failing=_failing(_or(varied.bit_error_rate, case.bit_error_rate) * bits + chatter),
        bits=bits + none,
        chatter=chatter,
        unit=np.array([one.unit for one in asked], dtype=np.int64),
    )


def _or(varied: Array | None, planned: Numbers) -> Numbers:
    return planned if varied is None else varied


def _silence(case: Case, bauds: Array | None) -> Numbers:
    """ns by which a camera knows that a request is whole, in whole ns as the dialect has it."""
    if bauds is None:
        return float(case.dialect.silence(float(case.baud)))
    distinct, places = np.unique(bauds, return_inverse=True)
    silences = np.array([case.dialect.silence(baud) for baud in distinct.tolist()], dtype=float)
    return np.asarray(silences[places].reshape(bauds.shape))


def _failing(hits: Array) -> Array:
    """Chance of at least one hit where so many come on average."""
    return np.minimum(_SURELY, -np.expm1(-hits))


def joined(one: Exchange, other: Exchange) -> Exchange:
    """Two sets of exchanges as one."""
    return Exchange(*(np.concatenate(pair) for pair in zip(_times(one), _times(other), strict=True)))


def _times(exchange: Exchange) -> list[Array]:
    return [getattr(exchange, name) for name in _NAMES]
