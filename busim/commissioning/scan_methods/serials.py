"""By serial number: all cameras are asked at once whose serial lies within bounds, whatever their IDs.

Silence is nobody, garble is several, and one clean reply is one - or several whose collision decodes cleanly, as where
the nearer driver wins. So a clean reply is not believed to be the only one: the bounds on both sides of it are asked as
well, and only their silence proves it. That costs two questions a camera, and with it both procedures here find every
camera that answers searches, whatever its ID and however collisions decode. Lost requests (noise) they do not see.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from busim.commissioning.scan_methods.questions import Answer, Found, Pace, Procedure, Question
from busim.protocols import SERIALS, BusProtocol, assignment, search

MOST_ROUNDS = 64  # slotted rounds; what they have not told apart is halved
IDLE_ROUNDS = 2  # rounds that bring nobody new, after which the spans are asked


@dataclass(frozen=True, slots=True)
class Searched:
    """`found` in order of serial numbers; `unclear`: serials asked alone whose answers were no good, and what they
    were; `questions` put, of which `rounds` were slotted."""

    found: tuple[Found, ...]
    unclear: tuple[tuple[int, str], ...]
    questions: int
    rounds: int = 0


@dataclass(frozen=True, slots=True)
class Given:
    """Whether the camera with this serial answers at its new ID now; `seen`: what it did, where not."""

    serial: int
    bus_id: int
    done: bool
    seen: str = ""


def by_serial(
    protocol: BusProtocol, pace: Pace, *, low: int = 0, high: int = SERIALS - 1, only: int | None = None
) -> Procedure[Searched]:
    """Search by halves from `low` to `high`, both included; `only`: cameras with this bus ID.

    Takes `pace.probe` times the number of probes: 1 where nobody is, 3 for one camera, `probes(n)` on average for n
    serials anywhere, `probes_of` for those known, and never more than `most_probes(n)` (all derived there).
    """
    found: dict[int, int] = {}
    unclear: dict[int, str] = {}
    questions = yield from _spans(protocol, pace, [(low, high)], found, unclear, only)
    return Searched(_in_order(found), tuple(unclear.items()), questions)


def _spans(
    protocol: BusProtocol, pace: Pace, spans: list[tuple[int, int]], found: dict[int, int], unclear: dict[int, str],
    only: int | None = None, garbled: list[tuple[int, int]] | None = None,
) -> Procedure[int]:  # fmt: skip
    """Search each of these spans; the number of questions. `found` (serial to ID) and `unclear` are filled in.

    `garbled`: where to put spans in which several answered, instead of halving them.
    """
    questions = 0
    waiting = spans[::-1]
    while waiting:
        low, high = waiting.pop()
        answer = yield Question(search(protocol, low, high, only=only), pace.probe)
        questions += 1
        if answer.silent:
            continue
        told = _note(answer, found)
        if answer.clean:
            waiting += gaps(told, low, high)[::-1]
        elif low == high:
            unclear[low] = "asked alone it is garbled: two cameras with this number, or noise"
        elif garbled is not None:
            garbled.append((low, high))
        else:
            middle = (low + high) // 2
            waiting += [(middle + 1, high), (low, middle)]
    return questions


def slotted(protocol: BusProtocol, pace: Pace, slots: int) -> Procedure[Searched]:
    """Slotted broadcasts: each camera answers in a slot that its serial and the draw give it, until a round is without
    garble or two in a row bring nobody new; then the spans between the serials found are asked, whose silence proves
    that these are all. A span that is garbled has rounds of its own.

    Framed slotted ALOHA without silencing those heard (slotted ALOHA: any text on computer networks; the expected
    rounds here are derived, `rounds`). Takes rounds x `pace.round(slots)` and then probes x `pace.probe`: on average
    `slotted_time`, never more than MOST_ROUNDS rounds and `most_probes` + 1 probes.
    """
    found: dict[int, int] = {}
    unclear: dict[int, str] = {}
    questions = draw = 0
    waiting = [(0, SERIALS - 1)]
    while waiting:
        low, high = waiting.pop()
        told: set[int] = set()
        garbled, idle = True, 0
        while garbled and idle < IDLE_ROUNDS and draw < MOST_ROUNDS:
            request = search(protocol, low, high, slots=slots, slot=pace.slot, draw=draw)
            answer = yield Question(request, pace.round(slots))
            draw += 1
            new = set(_note(answer, found)) - told
            told |= new
            garbled, idle = bool(answer.rest), 0 if new else idle + 1
        if told or not garbled:
            between = gaps(sorted(told), low, high)
            questions += yield from _spans(protocol, pace, between, found, unclear, garbled=waiting)
        else:
            questions += yield from _spans(protocol, pace, [(low, high)], found, unclear)
    return Searched(_in_order(found), tuple(unclear.items()), questions + draw, draw)


def give_ids(protocol: BusProtocol, pace: Pace, ids: Iterable[tuple[int, int]]) -> Procedure[tuple[Given, ...]]:
    """Give bus IDs to serial numbers, (serial, ID) one after the other, and ask each where it answers now.

    Keeping it through a loss of power is the model's business: most want a save.
    """
    given = []
    for serial, bus_id in ids:
        taken = yield Question(assignment(protocol, serial, bus_id), pace.probe)
        asked = yield Question(search(protocol, serial, serial), pace.probe)
        now = [reply.address for reply in asked.replies]
        seen = ""
        if taken.silent:
            seen = "did not answer: not there, busy, or not able to take an ID by its serial"
        elif now != [bus_id] or asked.rest:
            where = " and ".join(map(str, now)) or "none that can be read"
            seen = f"took it, and answers at ID {where} as yet: see when its model changes"
        given.append(Given(serial, bus_id, not seen, seen))
    return tuple(given)


def gaps(serials: list[int], low: int, high: int) -> list[tuple[int, int]]:
    """What lies between these serials (in order), from `low` to `high`."""
    edges = [low - 1, *serials, high + 1]
    return [(one + 1, other - 1) for one, other in pairwise(edges) if one + 1 <= other - 1]


def _note(answer: Answer, found: dict[int, int]) -> list[int]:
    """Note who answered; their serials in order."""
    for reply in answer.replies:
        found[reply.values[0]] = reply.address
    return sorted({reply.values[0] for reply in answer.replies})


def _in_order(found: dict[int, int]) -> tuple[Found, ...]:
    return tuple(Found(bus_id, serial) for serial, bus_id in sorted(found.items()))
