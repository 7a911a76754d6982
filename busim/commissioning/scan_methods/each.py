"""One ID after the other: the scan, which every protocol can do, and a closer look at one ID.

A scan finds IDs and not cameras. Two cameras on one ID may give themselves away (garble, two replies, a serial that
changes), and they may not: where the nearer one wins, or answers are alike, their collision decodes cleanly each time.
Only asking for serial numbers under that ID tells (`duplicates`), where cameras can be asked so.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from busim.commissioning.scan_methods.questions import Answer, Found, Pace, Procedure, Question
from busim.commissioning.scan_methods.serials import by_serial
from busim.protocols import READ, SERIALS, BusProtocol, Reply, Request

CHECKS = 4  # how often an ID that answered is asked again


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why there is more than one camera at an ID, or may be. `sure`: two were seen; else it could not be excluded."""

    bus_id: int
    sure: bool
    seen: str


@dataclass(frozen=True, slots=True)
class Scanned:
    """What a scan found. Of every ID at which something answered there is a doubt: a scan cannot know better."""

    found: tuple[Found, ...]
    doubts: tuple[Doubt, ...]
    questions: int


@dataclass(frozen=True, slots=True)
class Checked:
    """A closer look at one ID: `serials` that answered there, and how several were seen (empty: they were not).

    `proven`: every camera there that answers searches is among `serials`, whatever collided.
    """

    bus_id: int
    serials: tuple[int, ...]
    seen: tuple[str, ...]
    proven: bool
    questions: int

    @property
    def several(self) -> bool:
        return bool(self.seen)


def scan(
    ids: Iterable[int], key: int, pace: Pace, *, counter: int | None = None, checks: int = CHECKS
) -> Procedure[Scanned]:
    """Read the serial number (`key`) of every ID, and of what answers again, `checks` times.

    `counter`: the key of a count of requests served, where it is the next one: a camera counts on by one from read to
    read, two that answer in turns do not. Takes (IDs + answering IDs x `checks`) x `pace.read` (derived).
    """
    found, doubts, questions = [], [], 0
    for bus_id in ids:
        answers = yield from _reads(bus_id, key, pace, counter, 1)
        if not answers[0].silent:
            answers += yield from _reads(bus_id, key, pace, counter, checks)
        questions += len(answers)
        if answers[0].silent:
            continue
        seen = evidence(answers, counter)
        serials = {serial for answer in answers for serial in _serials(answer.replies)}
        found += [Found(bus_id, serial) for serial in sorted(serials)] or [Found(bus_id, None)]
        doubts += [Doubt(bus_id, True, what) for what in seen]
        if not seen:
            doubts.append(Doubt(bus_id, False, "one serial each time: a second camera may be hidden behind it"))
    return Scanned(tuple(found), tuple(doubts), questions)


def duplicates(
    bus_id: int, key: int, pace: Pace, protocol: BusProtocol, *, counter: int | None = None, searches: bool = True,
    checks: int = CHECKS,
) -> Procedure[Checked]:  # fmt: skip
    """Whether there are several cameras at an ID: ask it again and compare, and (`searches`) go through all serial
    numbers under this ID, so that in the end only one is asked at a time and no collision can hide another.
    """
    answers = yield from _reads(bus_id, key, pace, counter, checks)
    seen = list(evidence(answers, counter))
    read = {serial for answer in answers for serial in _serials(answer.replies)}
    serials, proven, questions = read, False, len(answers)
    if searches:
        searched = yield from by_serial(protocol, pace, only=bus_id)
        questions += searched.questions
        told = {one.serial for one in searched.found if one.serial is not None}
        if len(told) > 1:
            seen.append(f"{len(told)} serial numbers answer under it, each asked alone")
        seen += [f"serial {serial}: {what}" for serial, what in searched.unclear]
        if told and read - {serial & 0xFFFF for serial in told}:
            seen.append("it reads out a serial number that no search under it finds")
        serials, proven = told or read, bool(told) and not searched.unclear
    return Checked(bus_id, tuple(sorted(serials)), tuple(seen), proven, questions)


def evidence(answers: list[Answer], counter: int | None) -> tuple[str, ...]:
    """What in several answers of one ID a single camera cannot have done."""
    seen = []
    if any(len(answer.replies) > 1 for answer in answers):
        seen.append("two sound replies to one question")
    garbled = sum(1 for answer in answers if answer.rest)
    if garbled:
        seen.append(f"{garbled} of {len(answers)} answers garbled")
    serials = {serial for answer in answers for serial in _serials(answer.replies)}
    if len(serials) > 1:
        seen.append("its serial number changes: " + ", ".join(map(str, sorted(serials)[:6])))
    if counter is not None and not seen and all(_counts(answer.replies) for answer in answers):
        counts = [_counts(answer.replies)[0] for answer in answers]
        if any((later - earlier) & 0xFFFF != 1 for earlier, later in pairwise(counts)):
            seen.append("its count of requests does not go on by one")
    silent = sum(1 for answer in answers if answer.silent)
    if silent and silent < len(answers) and not seen:
        seen.append(f"{silent} of {len(answers)} questions not answered")
    return tuple(seen)


def _reads(bus_id: int, key: int, pace: Pace, counter: int | None, times: int) -> Procedure[list[Answer]]:
    size = 2 if counter == key + 1 else 1
    answers = []
    for _ in range(times):
        answers.append((yield Question(Request(bus_id, READ, key, size), pace.read)))
    return answers


def _serials(replies: Iterable[Reply]) -> list[int]:
    return [reply.values[0] % SERIALS for reply in replies if reply.values]


def _counts(replies: Iterable[Reply]) -> list[int]:
    return [reply.values[1] for reply in replies if len(reply.values) > 1]
