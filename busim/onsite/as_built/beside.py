"""A line as it was overheard beside the line as it was planned: where they differ, and by how much.

A poll is compared by what it asks, so names do not matter. A capture shows what was asked while it ran; a poll with a
longer period than the capture is not missed.
"""

from __future__ import annotations

from dataclasses import dataclass

from busim.installation import ResolvedLine
from busim.onsite.as_built.shown import Shown
from busim.onsite.listening import Survey
from busim.protocols import READ

_RATE = 0.1  # share by which a measured period may differ from the planned one
_LONG = 3  # periods that a capture must have had before a poll is missed
_SPOKEN = 0.5  # share of explained bytes below which the line speaks something else


@dataclass(frozen=True, slots=True)
class Differs:
    """A difference between plan and line, each in words.

    `what`: camera, poll, rate, baud, format, protocol, master or line.
    """

    what: str
    where: str
    planned: str
    found: str

    def as_json(self) -> dict[str, str]:
        return {"what": self.what, "where": self.where, "planned": self.planned, "measured": self.found}


def beside(line: ResolvedLine, survey: Survey, seen: Shown) -> list[Differs]:
    """Every difference, cameras first."""
    if not survey.overheard.bytes:
        return [Differs("line", line.name, "traffic", "not a single byte")]
    if survey.explained < _SPOKEN:
        told = f"{100 * survey.explained:.0f} % of {survey.overheard.bytes} bytes explained by it"
        return [Differs("protocol", line.name, line.speaks.name, told)]
    found = [*_cameras(line, survey), *_polls(line, survey)]
    if seen.baud is not None and seen.baud != line.line.baud:
        found.append(Differs("baud", line.name, f"{float(line.line.baud):g} Bd", f"{float(seen.baud):g} Bd"))
    if seen.format is not None and seen.format != line.line.format:
        found.append(Differs("format", line.name, str(line.line.format), str(seen.format)))
    verdict, why = survey.second_master()
    if verdict in ("seen", "likely") and len(line.askers) < 2:
        found.append(Differs("master", line.name, "one", f"a second one is {verdict}: {why}"))
    return found


def _cameras(line: ResolvedLine, survey: Survey) -> list[Differs]:
    planned = {one.camera.bus_id: one.name for one in line.cameras if one.camera.present}
    heard = survey.watched.cameras
    found = []
    for address, name in planned.items():
        camera = heard.get(address)
        if camera is None:
            found.append(Differs("camera", f"{name} (ID {address})", "polled", "never asked"))
        elif not camera.reply.count:
            found.append(Differs("camera", f"{name} (ID {address})", "answers", f"silent, {camera.exchanges} requests"))
    for address, camera in sorted(heard.items()):
        if address not in planned and address != line.speaks.broadcast:
            answers = "answers" if camera.reply.count else "silent"
            found.append(Differs("camera", f"ID {address}", "no camera", f"asked {camera.exchanges} times, {answers}"))
    return found


def _polls(line: ResolvedLine, survey: Survey) -> list[Differs]:
    names = {one.camera.bus_id: one.name for one in line.cameras}
    rates: dict[tuple[int, int, int], list[int]] = {}
    for asker in line.askers:
        for one in asker.polls:
            request = one.request
            rates.setdefault((request.address, request.key, request.size), []).append(one.run.every)
    # Two masters, or two groups, may ask the same: their rates add up. A period of 0 is as often as it goes.
    planned = {key: 1 / sum(1 / one for one in every) if all(every) else 0.0 for key, every in rates.items()}
    heard = {
        (request.address, request.key, request.size): poll
        for poll in survey.polls.values()
        if (request := poll.request).verb == READ
    }
    found = []
    for key, every in planned.items():
        where = _where(names, key)
        poll = heard.get(key)
        if poll is None:
            if survey.until > _LONG * every and key[0] in survey.watched.cameras:
                found.append(Differs("poll", where, _period(every), "never asked"))
        elif every and poll.every is not None and abs(poll.every - every) > _RATE * every:
            found.append(Differs("rate", where, _period(every), _period(poll.every)))
    for key, poll in heard.items():
        if key not in planned and key[0] in names and poll.every is not None:
            found.append(Differs("poll", _where(names, key), "none", _period(poll.every)))
    return found


def _where(names: dict[int, str], key: tuple[int, int, int]) -> str:
    address, first, size = key
    last = first + size - 1
    span = f"register {first}" if size == 1 else f"registers {first} to {last}"
    return f"{names.get(address, 'camera')} (ID {address}), {span}"


def _period(ns: float) -> str:
    return "as often as it can" if not ns else f"every {ns / 1e6:.4g} ms"
