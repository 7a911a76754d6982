"""Noise: the bits of an exchange on which an error costs it, and the chance that one does.

Noise inverts the level for one bit's time, at any instant. It costs the exchange where it changes a character that
somebody checks, and where it makes a false character beside a frame. With n bits a character, its byte complete s bits
behind its start edge (in the middle of the first stop bit), silence S that ends a request, and all in ns:

    request      its characters: the camera drops a frame with a wrong parity or stop bit
    behind it    S: a false character belongs to the request
    before it    S + n: the camera takes a false character as the head of the request, since less than S lies between.
                 At most the quiet since the reply before. A master that hears the line itself waits until it is quiet:
                 then s, for a character whose byte is not there yet
    before reply s: a false character runs into its first one. At most the turnaround U: mean of min(U, s)
    reply        its characters up to s of the last one. A converter passes bytes on without flags, so an error in a
                 parity bit or in the first stop bit goes unseen there; later stop bits count, as false start bits
    packing      behind a reply a false character makes the converter wait anew. With I ns of packing time and L ns
                 that a reply may be late: no error may fall between L and the end of the packing time, which the last
                 error at T < L moves to T + I. Poisson errors at rate r: e^(-r I) (1 + r L). For L > I the first two
                 errors: with A = 2 I - L in the place of I and of L

Each of these was counted in simulated runs, with one error at a time. One in a second stop bit before a byte 00 is
harmless; it is counted here. A pair without bias makes false characters where nobody drives it.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from busim.physics.exchange import Exchange, Numbers, larger

_SURELY = 1 - 1e-9  # lost, short of certainty: what never comes has no mean


class Exposed(NamedTuple):
    """What of an exchange noise may hit. `bit` ns; `bits`: on which an error costs it; `undriven`: ns of them without a
    driver; `anew`, `late`: A or I, and L, of the packing time, ns.
    """

    bit: Numbers
    bits: Numbers
    undriven: Numbers
    anew: Numbers
    late: Numbers


def exposed(
    exchange: Exchange, *, bit: Numbers, sample: Numbers, end: Numbers, request: Numbers, reply: Numbers,
    hears: bool, late: Numbers | None,
) -> Exposed:  # fmt: skip
    """All in ns. `sample`: s; `end`: from there to the end of a character; `request`, `reply`: their characters, as far
    as an error in them is seen. `hears`: the master hears the line. `late`: L; None where nothing waits anew.
    """
    silence, low = exchange.silence, exchange.turnaround_low
    before: Numbers = sample
    if not hears:
        quiet = exchange.packing + exchange.latency_low + exchange.latency_high + exchange.pause
        before = smaller(silence + sample + end, quiet)
    width = larger(exchange.turnaround_high - low, 1.0)
    short, shorter = larger(0.0, sample - low), larger(0.0, sample - low - width)
    undriven = before + silence + sample - (short**2 - shorter**2) / (2 * width)
    anew: Numbers = 0.0
    if late is None:
        late = 0.0
    else:
        late = larger(0.0, late)
        anew = smaller(exchange.packing, larger(0.0, 2 * exchange.packing - late))
        late = smaller(late, anew)
    return Exposed(bit, (request + reply - end + undriven) / bit, undriven, anew, late)


def failing(one: Exposed, errors: Numbers, chatter: float) -> Numbers:
    """The chance that noise costs an exchange: `errors` per bit, `chatter` false characters per ns of a quiet pair."""
    rate = errors / one.bit + chatter
    waits, late = rate * one.anew, rate * one.late
    if isinstance(waits, float) and isinstance(late, float) and isinstance(one.bits, float):
        hits = errors * one.bits + chatter * one.undriven + waits - math.log1p(late)
        return min(_SURELY, -math.expm1(-float(hits)))
    hits = errors * one.bits + chatter * one.undriven + waits - np.log1p(late)
    return np.minimum(_SURELY, -np.expm1(-hits))


def smaller(one: Numbers, other: Numbers) -> Numbers:
    """The element-wise minimum, as `larger`."""
    return -larger(-one, -other)
