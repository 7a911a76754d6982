"""The times of a case: a poll or a move as an exchange, with its time-out and what a failure costs.

Written once, over numbers or arrays: the budget asks for each kind of poll as plain numbers, which for the few kinds of
a line is ten times as fast as arrays of a few elements; a sweep asks for all polls at thousands of points at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from busim.analysis.budget.case import Case, Move, Poll
from busim.analysis.budget.noise import Exposed, exposed
from busim.analysis.budget.noise import failing as damaged
from busim.physics.exchange import MEAN, Exchange, Numbers, drain, exchange, larger, time_out

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Varied:
    """Values of a sweep that replace those of a case, each an array of the shape [point, 1] or None. Times in ns.

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


class Wire(NamedTuple):
    """The common part of all exchanges of a case. Times in ns.

    `bit`, `character`: at the line's own rate; `ppm`: how much faster the asker's clock is; `tail`: the part of a
    character behind the instant at which its byte is there, as far as it counts. `time_out`: None where computed.
    `at_once`: the converter knows where a reply ends and sends it on then. `sample`: share of a character after which
    its byte is there; `unseen`: bits of a reply character that nobody checks; `hears`: the master hears the line.
    """

    bit: Numbers
    character: Numbers
    ppm: float
    tail: float
    silence: Numbers
    rest: Numbers
    packing_idle: Numbers
    packing_length: float
    latency_low: Numbers
    latency_high: Numbers
    lead: float
    listen: float
    back_off: float
    time_out: float | None
    bit_error_rate: Numbers
    chatter: float
    at_once: bool
    sample: float
    unseen: int
    hears: bool


class Asked(NamedTuple):
    """The properties of one poll or move. Lengths in characters, times in ns.

    `share`: the rate of the camera's clock, as a share of the line's.
    """

    request: Numbers
    reply: Numbers
    escapes: Numbers
    spare: Numbers
    share: Numbers
    turnaround_low: Numbers
    turnaround_high: Numbers
    lead: Numbers
    hold: Numbers
    distance: Numbers = 0.0


class Timing(NamedTuple):
    """The times of a poll or move, or of many: then arrays over them. ns.

    `exchange`: an answered one, part by part. `wire`: of it, with characters on the wire; `asked`: those of the request
    alone. `tail`: what of a reply is still on the wire when its last byte is known. `time_out`: how long the
    master waits for it; `lost`: what one that is not answered takes, the drain after it included. `failing`: the
    chance that noise damages one, with what it may hit (`exposed`).
    """

    exchange: Exchange
    wire: Numbers
    asked: Numbers
    tail: Numbers
    time_out: Numbers
    lost: Numbers
    failing: Numbers
    exposed: Exposed

    def occupied(self, case: str = MEAN) -> Numbers:
        """How long the master is inside an answered exchange and the pause after it."""
        return self.exchange.total(case) + self.exchange.pause


def wire_of(case: Case, varied: Varied = _AS_PLANNED) -> Wire:
    """What all exchanges of a case have in common, with what a sweep varies in its place."""
    halves, sample = case.format.half_bits, case.format.sample_halves
    baud = float(case.baud)
    bit = 1e9 / _or(varied.baud, baud)
    silence = float(case.protocol.silence(baud)) if varied.baud is None else _silences(case, varied.baud)
    return Wire(
        bit=bit,
        character=halves * bit / 2,
        ppm=case.ppm,
        # behind a converter packing begins when the last byte is there, in the middle of its first stop bit
        tail=(halves - sample) / halves if case.converter else 0.0,
        silence=silence,
        rest=larger(_or(varied.gap, float(case.gap)), silence),
        packing_idle=_or(varied.packing_idle, float(case.packing_idle)),
        packing_length=float(case.packing_length),
        latency_low=_or(varied.latency_low, float(case.latency.low)),
        latency_high=_or(varied.latency_high, float(case.latency.high)),
        lead=float(max(0, case.lead)),
        listen=float(case.listen),
        back_off=float(case.back_off),
        time_out=None if case.time_out is None else float(case.time_out),
        bit_error_rate=_or(varied.bit_error_rate, case.bit_error_rate),
        chatter=case.chatter / 1e9,
        at_once=case.at_once,
        sample=sample / halves,
        unseen=1 + (case.format.parity != "N") if case.converter else 0,
        hears=not case.converter and (len(case.masters) == 1 or case.listen > 0),
    )


def asked_of(case: Case, one: Poll | Move) -> Asked:
    """What a poll or move of a case itself decides, as numbers, as if its camera stood beside the asker."""
    unit = case.units[one.unit]
    return Asked(
        request=float(one.request),
        reply=float(one.reply),
        escapes=float(one.escapes),
        spare=float(one.spare),
        share=(1.0 if unit.baud is case.baud else float(unit.baud / case.baud)) * (1 + unit.ppm / 1e6),
        turnaround_low=float(unit.turnaround.low),
        turnaround_high=float(unit.turnaround.high),
        lead=float(max(0, unit.lead)),
        hold=float(max(0, unit.hold)),
    )


def timed(wire: Wire, asked: Asked) -> Timing:
    """The times of an exchange."""
    # all at once and in their order: a budget makes hundreds, and names would take as long again
    (
        bit, own, ppm, tail, silence, rest, idle, length, low, high, lead, listen, back_off, planned, errors,
        chattering, at_once, sample, unseen, hears,
    ) = wire  # fmt: skip
    request, reply, escapes, spare, share, turnaround_low, turnaround_high, answer_lead, hold, distance = asked
    character, answer = own / (1 + ppm / 1e6), own / share
    quiet = larger(0.0, hold + listen - rest) if listen else 0.0
    if back_off:  # the first look after that comes later by the mean wait, which has no memory
        quiet = quiet + back_off * np.greater(quiet, 0.0)
    parts = exchange(
        request, reply, character, answer, silence, turnaround_low, turnaround_high, rest, answer * tail, idle, length,
        low, high, distance, lead, answer_lead, quiet, escapes, spare,
    )  # fmt: skip
    if at_once:
        parts = parts._replace(packing=0.0 * parts.packing)
    sent = request * character
    on_wire = sent + reply * answer
    waits: Numbers
    if planned is None:
        waits = time_out((request + reply + escapes) * own, silence, turnaround_high, idle, high)
    else:
        waits = planned
    # one behind the reply makes the converter wait anew: too long if it comes this late
    late = None if at_once else waits - parts.mean - distance - sample * answer
    hit = exposed(
        parts, bit=bit, sample=sample * character, end=(1 - sample) * character, request=sent,
        reply=reply * (answer - unseen * bit), hears=hears, late=late,
    )  # fmt: skip
    lost = waits + drain(rest, idle, high)
    return Timing(parts, on_wire, sent, answer * tail, waits, lost, damaged(hit, errors, chattering), hit)


def timing(case: Case, asked: Sequence[Poll] | Sequence[Move], varied: Varied = _AS_PLANNED) -> Timing:
    """The times of many polls or moves of a case as arrays of one shape; [point, poll] where something is varied."""
    columns = [np.array(column, dtype=float) for column in zip(*(asked_of(case, one) for one in asked), strict=True)]
    each = Asked(*columns) if columns else Asked(*np.zeros((len(Asked._fields), 0)))
    each = each._replace(
        turnaround_low=_or(varied.turnaround_low, each.turnaround_low),
        turnaround_high=_or(varied.turnaround_high, each.turnaround_high),
        distance=np.array([case.units[one.unit].distance for one in asked], dtype=float),
    )
    found = timed(wire_of(case, varied), each)
    exchange, *rest, hit = found
    shape = np.broadcast_shapes(*(np.shape(part) for several in (exchange, rest, hit) for part in several))
    parts = Exchange(*(np.broadcast_to(part, shape) for part in exchange))
    wire, sent, tail, waits, lost, failing = (np.broadcast_to(part, shape) for part in rest)
    hit = Exposed(*(np.broadcast_to(part, shape) for part in hit))
    return Timing(parts, wire, sent, tail, waits, lost, failing, hit)


def _or(varied: Array | None, planned: Numbers) -> Numbers:
    return planned if varied is None else varied


def _silences(case: Case, bauds: Array) -> Array:
    """ns by which a camera knows that a request is whole, at each baud, in whole ns as the protocol has it."""
    distinct, places = np.unique(bauds, return_inverse=True)
    silences = np.array([case.protocol.silence(baud) for baud in distinct.tolist()], dtype=float)
    return np.asarray(silences[places].reshape(bauds.shape))


def missing_quiet(timing: Timing, packing: Numbers, latency: Numbers) -> Numbers:
    """ns by which the quiet behind the reply is too short for a request; `latency`: both ways."""
    exchange = timing.exchange
    return exchange.silence + timing.tail - exchange.pause - packing - latency
