"""Which protocol, baud and format explain what was heard, how sure that is, and what else fits.

A protocol fits if its requests and replies make up the bytes. How much of that is chance says the same count on the
same bytes in a random order: a strong check explains nothing there, a weak one a few per cent. Baud and format can be
tried only on a serial port. A capture gives bytes alone; its times give bounds: characters take time.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from busim.foundation.units import CharFormat
from busim.onsite.captures import BOTH, Piece
from busim.onsite.heard import Exchange
from busim.onsite.listening.overheard import Overheard
from busim.onsite.listening.survey import Survey
from busim.protocols import BusProtocol
from busim.simulator.kernel import Chance

SURE, LIKELY, WEAK, NONE = "sure", "likely", "weak", "no"
_ENOUGH = 5  # exchanges with replies
SAME = 0.9  # share of the best one's bytes from which another fits as well
BAUDS = (38400, 9600, 115200, 19200, 57600, 4800, 2400)  # in the order of trying (common practice, no source)
FORMATS = ("8N1", "8E1", "8O1", "7E1", "8N2")


@dataclass(frozen=True, slots=True)
class Fit:
    """How one protocol explains the bytes. `explained`: share of them; `by_chance`: share of them shuffled;
    `answered`: exchanges with a sound reply. `setting`: baud and format at which they were heard, "" if not known.
    """

    protocol: str
    explained: float
    by_chance: float
    answered: int
    setting: str = ""

    @property
    def confidence(self) -> str:
        """SURE, LIKELY, WEAK or NONE."""
        if not self.answered or self.explained <= 2 * self.by_chance:
            return NONE
        if self.answered >= _ENOUGH and self.explained >= 0.9 and self.by_chance < 0.05:
            return SURE
        return LIKELY if self.explained >= 0.5 and self.answered >= _ENOUGH else WEAK


def fits(pieces: Sequence[Piece], protocols: Iterable[BusProtocol], setting: str = "") -> list[Fit]:
    """Every protocol beside these pieces, the best first."""
    found = []
    shuffled = _shuffled(pieces)
    for protocol in protocols:
        survey, chance = _surveyed(protocol, pieces), _surveyed(protocol, shuffled)
        answered = sum(camera.reply.count for camera in survey.watched.cameras.values())
        found.append(Fit(protocol.name, survey.explained, chance.explained, answered, setting))
    return sorted(found, key=lambda one: (one.confidence == NONE, -(one.explained - one.by_chance), one.protocol))


def as_well(best: Fit, others: Iterable[Fit]) -> list[Fit]:
    """Those that fit about as well as the best one."""
    return [
        one for one in others if one is not best and one.confidence != NONE and one.explained >= SAME * best.explained
    ]


def least_baud(pieces: Iterable[Piece], protocol: BusProtocol, bits: int) -> float | None:
    """The least baud that carries each request, of `bits` per character, before the end of its reply; None where
    nothing was answered. The line is faster than that.
    """
    spans: list[float] = []

    def take(one: Exchange) -> None:
        if one.reply is not None and one.ended > one.sent:
            spans.append(len(one.raw) * bits * 1e9 / (one.ended - one.sent))

    overheard = Overheard(protocol, take)
    overheard.take(pieces)
    return max(spans, default=None)


def _surveyed(protocol: BusProtocol, pieces: Iterable[Piece]) -> Survey:
    survey = Survey(protocol)
    survey.take(pieces)
    survey.end()
    return survey


def _shuffled(pieces: Sequence[Piece]) -> list[Piece]:
    """The same bytes in a random order, in pieces of the same lengths."""
    data = bytearray(b"".join(piece.data for piece in pieces))
    draws = Chance(1).stream("guess")
    for place in range(len(data) - 1, 0, -1):
        other = draws.between(0, place)
        data[place], data[other] = data[other], data[place]
    found, place = [], 0
    for piece in pieces:
        found.append(Piece(piece.at, BOTH, bytes(data[place : place + len(piece.data)])))
        place += len(piece.data)
    return found


def settings() -> list[tuple[int, CharFormat]]:
    """Baud and format in the order of trying: each baud with the most usual format first."""
    return [(baud, CharFormat.parse(format)) for format in FORMATS for baud in BAUDS]
