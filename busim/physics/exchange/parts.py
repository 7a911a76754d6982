"""The time of one exchange, part by part.

It is a sum of a few times, written once for numbers and arrays: the budget passes the tasks of one plan, a sweep passes
ten thousand plans. Times are ns (float). A turnaround or latency is a pair of bounds; for a mean it is uniform between
them.

    sent      the master sends the request
      | converter  network to line
      | request    lead, characters, along the cable
      | silence    ends the request for the camera, which reads the value here
      | turnaround
      | reply      lead, characters, along the cable; behind a converter up to the last byte
      | packing    the converter waits for more bytes
      | converter  line to network
    ended     the reply is whole at the master
      | pause      required by the protocol, or longer by choice of the master
    free      the master may send the next request
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from busim.physics.exchange.packets import Numbers, last_of

PARTS = {
    "request": "request, along the cable to the camera",
    "silence": "silence that ends the request",
    "turnaround": "the camera's turnaround",
    "reply": "reply, along the cable back",
    "packing": "packing: the converter waits for more bytes",
    "converter": "converter and network, both ways",
    "pause": "the master's pause before the next request",
}
BEST, MEAN, WORST = "best", "mean", "worst"


class Exchange(NamedTuple):
    """The parts of an answered exchange, ns. `latency_*` is one of two passages; the rest as in `PARTS`.

    `back_mean`, `back_width`: of the passage back, counted from the last packet of the reply (`packets.last_of`).
    `escaped`, `spared`: where lengths vary, `request`, `reply` and `packing` are means; by so much both messages
    together can be longer or shorter. They count at worst and at best.
    """

    request: Numbers
    silence: Numbers
    turnaround_low: Numbers
    turnaround_high: Numbers
    reply: Numbers
    packing: Numbers
    latency_low: Numbers
    latency_high: Numbers
    pause: Numbers
    back_mean: Numbers
    back_width: Numbers
    escaped: Numbers = 0.0
    spared: Numbers = 0.0

    @property
    def fixed(self) -> Numbers:
        """The constant parts: request, silence, reply, packing."""
        return self.request + self.silence + self.reply + self.packing

    @property
    def best(self) -> Numbers:
        """Time from sent to ended with every unknown at its lower bound."""
        fixed = self.request + self.silence + self.reply + self.packing
        return fixed + self.turnaround_low + 2 * self.latency_low - self.spared

    @property
    def worst(self) -> Numbers:
        """Time from sent to ended with every unknown at its upper bound."""
        fixed = self.request + self.silence + self.reply + self.packing
        return fixed + self.turnaround_high + 2 * self.latency_high + self.escaped

    @property
    def mean(self) -> Numbers:
        drawn = self.turnaround_low + self.turnaround_high + self.latency_low + self.latency_high
        return self.request + self.silence + self.reply + self.packing + drawn / 2 + self.back_mean

    @property
    def variance(self) -> Numbers:
        """ns^2: a turnaround and two passages, each uniform between its bounds (width^2 / 12)."""
        turnaround = self.turnaround_high - self.turnaround_low
        latency = self.latency_high - self.latency_low
        return (turnaround**2 + latency**2 + self.back_width**2) / 12

    def read(self, estimate: str) -> Numbers:
        """Time from sent until the camera reads or sets the value."""
        low, high = self.latency_low, self.latency_high
        out = low if estimate == BEST else high if estimate == WORST else (low + high) / 2
        return out + self.request + self.silence

    def delivery(self, estimate: str) -> Numbers:
        """Time from the reading of a value in the camera to its arrival at the master."""
        return self.total(estimate) - self.read(estimate)

    def total(self, estimate: str) -> Numbers:
        """Time from sent to ended in the estimate BEST, MEAN or WORST."""
        return self.mean if estimate == MEAN else self.worst if estimate == WORST else self.best

    def parts(self, estimate: str) -> dict[str, Numbers]:
        """Every part by its name in `PARTS`, in the estimate BEST, MEAN or WORST."""
        low, high = self.turnaround_low, self.turnaround_high
        return {
            "request": self.request,
            "silence": self.silence,
            "turnaround": low if estimate == BEST else high if estimate == WORST else (low + high) / 2,
            "reply": self.reply + (self.escaped if estimate == WORST else -self.spared if estimate == BEST else 0.0),
            "packing": self.packing,
            "converter": self.latency(estimate),
            "pause": self.pause,
        }

    def latency(self, estimate: str) -> Numbers:
        """Time of both passages."""
        low, high = self.latency_low, self.latency_high
        return 2 * low if estimate == BEST else 2 * high if estimate == WORST else (low + high) / 2 + self.back_mean


def exchange(
    request: Numbers, reply: Numbers, character: Numbers, answer_character: Numbers, silence: Numbers,
    turnaround_low: Numbers, turnaround_high: Numbers, pause: Numbers, tail: Numbers = 0.0,
    packing_idle: Numbers = 0.0, packing_length: Numbers = 0.0, latency_low: Numbers = 0.0,
    latency_high: Numbers = 0.0, distance: Numbers = 0.0, lead: Numbers = 0.0, answer_lead: Numbers = 0.0,
    quiet: Numbers = 0.0, escapes: Numbers = 0.0, spare: Numbers = 0.0,
) -> Exchange:  # fmt: skip
    """The parts of an exchange from its parameters: numbers, or arrays that broadcast to one shape. Times in ns.

    `request` and `reply` are lengths in characters; `character` is ns of one character of the master,
    `answer_character` of the camera, and `tail` the part of it after its byte is complete. `distance`:
    propagation one way. `lead` and `answer_lead`: from driver enable to the first start bit. `quiet`: wait of
    the master for a quiet line, beyond its pause. `escapes`, `spare`: characters by which both messages together can be
    longer and shorter, where their lengths are means. A master on the line itself has no packing, no latency, and hears
    a reply to its end (`tail` 0).
    """
    packed = packing(packing_idle, packing_length, reply, answer_character)
    slower = larger(character, answer_character)
    longer, shorter = escapes * slower, spare * slower
    if not isinstance(escapes, float) or escapes:  # lengths vary, and with them whether packing waits
        varies = np.greater(escapes, 0)
        longer = longer + varies * np.maximum(0.0, packing_idle - packed)
        shorter = shorter + varies * np.greater(packing_length, 0) * packed
    back_mean, back_width = last_of(latency_low, latency_high, packing_idle, packing_length, reply, answer_character)
    return Exchange(
        quiet + lead + request * character + distance,
        silence,
        turnaround_low,
        turnaround_high,
        answer_lead + reply * answer_character + distance - tail,
        packed,
        latency_low,
        latency_high,
        pause,
        back_mean,
        back_width,
        longer,
        shorter,
    )


def larger(one: Numbers, other: Numbers) -> Numbers:
    """The element-wise maximum. Plain numbers are compared without numpy, which is ten times as fast."""
    if isinstance(one, float) and isinstance(other, float):
        return one if one > other else other
    return np.maximum(one, other)


def packing(idle: Numbers, length: Numbers, characters: Numbers, character: Numbers) -> Numbers:
    """Time in ns from the last byte of a reply until the converter forwards it.

    `idle`: silence in ns after which it forwards its bytes; `length`: number of bytes that it forwards at once, 0: no
    limit. A reply whose length is a multiple of `length` goes without a wait. If `idle` is shorter than a character,
    every byte goes alone, and only `length` 1 is ever reached. Where `characters` is a mean and no whole number, one
    reply in `length` is taken to be such a multiple.
    """
    if isinstance(idle + length + characters + character, float):  # numbers, all of them
        if length > 1 and idle >= character and characters % 1:
            return idle * (1 - 1 / length)
        at_once = length > 0 and (length == 1 if idle < character else length == 1 or characters % length == 0)
        return 0.0 if at_once else idle
    most = np.maximum(length, 1)
    filled = np.where(np.not_equal(np.mod(characters, 1), 0), 1 / most, np.equal(np.mod(characters, most), 0))
    whole = np.where(np.less(idle, character), np.equal(length, 1), filled)
    return np.where(np.greater(length, 0), idle * (1 - whole), idle)
