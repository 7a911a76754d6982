"""How long requests and replies are on average, in protocols whose numbers take as many characters as they need.

An operator moves a control evenly over its range, so its value is evenly spread; all other values stay at their
defaults. The mean length of a reply is its length with all values at their defaults, plus for each spread value the
mean of what that value alone adds. This is exact where values add independently, as digits and escaped bytes do, but
for the escaped bytes of a check.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

from busim.foundation.errors import Defect
from busim.installation import Spoken
from busim.plan import CameraPlan
from busim.protocols import READ, WRITE, Reply, Request

_SAMPLES = 256  # of a range: digits of numbers from 0 to 65535 are then right to 0.01 characters on average
_COUNTER = 0xFFFF  # the highest count of a 16-bit counter


class Lengths(NamedTuple):
    """Characters of a request and its reply: the mean of each, and how much longer and shorter both together can be."""

    request: float
    reply: float
    more: float
    less: float


class _Added(NamedTuple):
    """Characters that a varying value adds to its default: on average, and at least (0 or less)."""

    mean: float
    least: float


@dataclass
class Talk:
    """The lengths of what a camera model is asked under its protocol. `moved`: the controls that operators move.

    Cameras of one model with the same moved controls share one, and with it what was worked out.
    """

    spoken: Spoken
    moved: frozenset[str]
    _added: dict[tuple[str, int], _Added] = field(default_factory=dict)
    _same: dict[tuple[int, int], bool] = field(default_factory=dict)

    @cached_property
    def spans(self) -> Mapping[int, tuple[int, int]]:
        """Key -> lowest and highest value, of each value that varies: moved ones, and those that a moved one moves."""
        parameters, keys = self.spoken.parameters, self.spoken.keys
        spans = {name: (parameters[name].low, parameters[name].high) for name in self.moved}
        for control in self.spoken.model.controls:
            if control.name in spans:
                low, high = (bound - parameters[control.name].default for bound in spans[control.name])
                ways = [(name, low, high) for name in control.moves] + [(name, -high, -low) for name in control.against]
                for name, down, up in ways:
                    one = parameters[name]
                    spans.setdefault(name, (max(one.low, one.default + down), min(one.high, one.default + up)))
        spans |= {"requests": (0, _COUNTER)} if "requests" in parameters else {}
        return {keys[name]: span for name, span in spans.items() if name in keys}

    @cached_property
    def defaults(self) -> Mapping[int, int]:
        """Key -> default of each value."""
        return {key: self.spoken.parameters[name].default for name, key in self.spoken.keys.items()}

    def poll(self, camera: CameraPlan, request: Request) -> Lengths:
        """Of a read."""
        asked, longest, more = self.spoken.protocol.lengths(request)
        if not more and self._fixed(request.key, request.size, longest):
            return Lengths(asked, longest, 0.0, 0.0)
        keys = self.spoken.keys
        own = {keys.get("bus_id", -1): camera.bus_id, keys.get("serial", -1): camera.serial & 0xFFFF}
        run = range(request.key, request.key + request.size)
        usual = tuple(own.get(key, self.defaults.get(key, 0)) for key in run)
        base = self._size(Reply(request.address, READ, request.key, usual))
        if base is None:
            return Lengths(asked, longest, more, 0.0)
        added = [self._adds(READ, place, request, usual) for place, key in enumerate(run) if key in self.spans]
        reply = base + sum(one.mean for one in added)
        return Lengths(asked, reply, longest + more - reply, reply - base - sum(one.least for one in added))

    def move(self, request: Request) -> Lengths:
        """Of a write of one value: both request and reply carry it."""
        asked, answered, more = self.spoken.protocol.lengths(request)
        if not more and self._size(Reply(request.address, WRITE, request.key, request.values)) == answered:
            return Lengths(asked, answered, 0.0, 0.0)
        protocol, values = self.spoken.protocol, _sampled(self.spans[request.key])
        requests = [protocol.request_bytes(request._replace(values=(value,))) for value in values]
        replies = [self._size(Reply(request.address, WRITE, request.key, (value,))) for value in values]
        known = [size for size in replies if size is not None]
        if len(known) < len(values):
            return Lengths(asked, answered, more, 0.0)
        mean, back = sum(requests) / len(values), sum(known) / len(values)
        least = min(map(sum, zip(requests, known, strict=True)))
        return Lengths(mean, back, asked + answered + more - mean - back, mean + back - least)

    def _fixed(self, key: int, size: int, longest: int) -> bool:
        """Whether a reply to a read has its longest length even with all values at 0, the fewest digits there are."""
        if (key, size) not in self._same:
            self._same[key, size] = self._size(Reply(1, READ, key, (0,) * size)) == longest
        return self._same[key, size]

    def _adds(self, verb: str, place: int, request: Request, usual: tuple[int, ...]) -> _Added:
        key = request.key + place
        if (verb, key) not in self._added:
            sizes = [
                self._size(Reply(request.address, verb, request.key, (*usual[:place], value, *usual[place + 1 :])))
                for value in _sampled(self.spans[key])
            ]
            base = self._size(Reply(request.address, verb, request.key, usual)) or 0
            found = [size - base for size in sizes if size is not None]
            self._added[verb, key] = _Added(sum(found) / len(found), min(found)) if found else _Added(0.0, 0.0)
        return self._added[verb, key]

    def _size(self, reply: Reply) -> int | None:
        """Bytes of a reply; None where the protocol cannot carry it."""
        try:
            return len(self.spoken.protocol.encode_reply(reply)) or None
        except Defect:
            return None


def _sampled(span: tuple[int, int]) -> Sequence[int]:
    """Values evenly over a range: all of a short one."""
    low, high = span
    if high - low < _SAMPLES:
        return range(low, high + 1)
    return [low + int((place + 0.5) * (high - low + 1) / _SAMPLES) for place in range(_SAMPLES)]
