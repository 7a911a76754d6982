"""Bus scan of one line: listen, stop or go on, find the cameras one way, check doubtful IDs, compare all ways.

Each way runs in its own world, built and listened to in the same way, so that times can be compared. Facts that the
laptop learns (`rows`) and facts that only the emulator knows (`hidden`, `Row.where`) stay apart to the end.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from typing import Any

from busim.commissioning.bus_scan.following import Followed, follow
from busim.commissioning.bus_scan.ground import SCAN, SERIALS, SLOTS, WAYS, Ground
from busim.commissioning.bus_scan.result import BusScan, Row, Unseen, Way
from busim.commissioning.scan_methods import (
    CHECKS,
    Checked,
    Found,
    Quiet,
    Scanned,
    Searched,
    by_serial,
    duplicates,
    listen_first,
    most_probes,
    most_slotted,
    probes_of,
    scan,
    scan_questions,
    slotted,
    slotted_time,
    spans_of,
)
from busim.foundation.errors import UserError
from busim.installation import Installation, resolve
from busim.plan import Plan
from busim.protocols import READ, Request
from busim.simulator.world import Tool, World, build

_ALL = 2**32 - 1


def scan_bus(
    plan: Plan | Installation, line: str | None = None, *, way: str | None = None, seed: int = 1,
    stopped: Collection[str] = (), at: int = 0, listening: int | None = None,
) -> BusScan:  # fmt: skip
    """Listen on a line of the plan from `at` ns on; if it is quiet, find its cameras and compare the ways.

    `way`: the way that gives `rows`, None: the fastest. `stopped`: masters that do not run.
    Raises UserError for an unknown line, way or master or a line without a converter, and Findings as `resolve` does.
    """
    site = resolve(plan)
    unknown = sorted(set(stopped) - set(site.masters))
    if unknown:
        raise UserError(
            "no such master to stop", found=repr(unknown[0][:60]),
            expected=" or ".join(map(repr, site.masters))[:300] or "none: the plan has no masters",
            mend="name a master of the plan",
        )  # fmt: skip
    ground = Ground(site, line)
    if way is not None and way not in ground.ways:
        raise UserError(
            "there is no such way on this line", found=repr(way[:60]),
            expected=" or ".join(ground.ways) or "none: " + "; ".join(ground.missing.values()),
            mend=ground.missing.get(way, f"name one of {', '.join(WAYS)}"),
        )  # fmt: skip
    called = _Called(site, ground, seed, stopped, at, listening)
    return called.all(way)


class _Called:
    def __init__(
        self, site: Installation, ground: Ground, seed: int, stopped: Collection[str], at: int, listening: int | None
    ) -> None:
        self._site, self._ground, self._seed, self._at = site, ground, seed, at
        self._played = [name for name in site.masters if name not in stopped]
        self._listening = listening or ground.listening
        self._why = ground.why if listening is None else "as asked"

    def all(self, wanted: str | None) -> BusScan:
        ground = self._ground
        world, tool, quiet, began = self._begin()
        told = BusScan(
            ground.line.name, self._seed, tuple(self._played), self._listening, self._why, quiet, began,
            _polled(tool, quiet),
        )  # fmt: skip
        if not quiet.safe:
            return told
        computed = [self._computed(name) for name in WAYS]
        best = min((one for one in computed if not one.missing and one.name != SCAN), key=lambda one: one.mean,
                   default=None)  # fmt: skip
        name = wanted or (best.name if best else SCAN)
        ways: list[Way] = []
        for one in computed:
            if one.missing:
                ways.append(one)
                continue
            if one.name != name:
                other, at_it, _, _ = self._begin()
                done, _ = self._try(one.name, at_it)
                ways.append(_tried(one, done, *self._missed(other, _found(done.result), one.name)))
                continue
            done, looks = self._try(name, tool)
            if done.others is not None:
                return replace(told, others=done.others, way=name)
            assert done.result is not None
            ways.append(_tried(one, done, *self._missed(world, done.result.found, name)))
            closer, took = looks
            rows = tuple(self._rows(world, name, done.result, closer))
            unseen = tuple(self._unseen(rows, way=name))
            told = replace(told, rows=rows, looks=closer, checked=took, unseen=unseen)
        return replace(told, way=name, ways=tuple(ways), advice=self._advice(best, ways))

    def _begin(self) -> tuple[World, Tool, Quiet, int]:
        """A new world, its laptop, and the result and start (ns) of listening."""
        world = build(self._site, self._seed, lambda _: None, played=self._played)
        world.start()
        tool = Tool(world, self._ground.line.name)
        tool.wait(self._at)
        heard = follow(tool, listen_first(self._listening))
        assert heard.result is not None  # listening is never stopped
        return world, tool, heard.result, heard.since

    def _try(self, name: str, tool: Tool) -> tuple[Followed[Any], tuple[tuple[Checked, ...], int]]:
        """Find the cameras one way; after `scan`, look closer at each ID found."""
        ground, protocol, pace = self._ground, self._ground.protocol, self._ground.pace
        if name == SLOTS:
            return follow(tool, slotted(protocol, pace, ground.slots)), ((), 0)
        if name == SERIALS:
            return follow(tool, by_serial(protocol, pace)), ((), 0)
        assert ground.key is not None
        done = follow(
            tool,
            scan(range(protocol.addresses[0], protocol.addresses[1] + 1), ground.key, pace, counter=ground.counter),
        )
        looks: list[Checked] = []
        since = tool.now
        for bus_id in sorted({one.bus_id for one in _found(done.result)}):
            look = follow(
                tool,
                duplicates(bus_id, ground.key, pace, protocol, counter=ground.counter, searches=SERIALS in ground.ways),
            )
            looks += [] if look.result is None else [look.result]
        return done, (tuple(looks), tool.now - since)

    # -- computed -----------------------------------------------------------------------------------------------

    def _computed(self, name: str) -> Way:
        """Best, mean and longest time for the present cameras of this line."""
        ground, pace = self._ground, self._ground.pace
        if name in ground.missing:
            return Way(name, missing=ground.missing[name])
        present = [camera for camera in ground.cameras if camera.present]
        if name == SCAN:
            ids = ground.protocol.addresses[1] - ground.protocol.addresses[0] + 1
            best, mean, most = (
                scan_questions(ids, answering, CHECKS) * pace.read
                for answering in (min(1, len(present)), len({camera.bus_id for camera in present}), len(present))
            )
            return Way(name, best, mean, most)
        serials = {camera.serial for camera in present if camera.name not in ground.deaf}
        count, spans = len(serials), spans_of(serials)
        if name == SERIALS:
            few = 1 + spans if count else 1
            return Way(
                name, few * pace.probe, probes_of(serials, 0, _ALL) * pace.probe, most_probes(count) * pace.probe
            )
        one_round = pace.round(ground.slots)
        return Way(
            name, one_round + spans * pace.probe, slotted_time(count, ground.slots, pace, spans),
            most_slotted(count, ground.slots, pace),
        )  # fmt: skip

    def _advice(self, best: Way | None, ways: list[Way]) -> str:
        if best is None:
            why = self._ground.missing.get(SERIALS, "")
            return f"scan: {why}. It finds IDs; a second camera on an ID may stay hidden"
        word = {SLOTS: "slotted broadcasts", SERIALS: "the search by serial numbers"}[best.name]
        took = {way.name: way.took for way in ways}
        other = took.get(SCAN)
        beside = f" against {other / 1e9:.1f} s of a scan," if other else ""
        text = (
            f"{best.name}: {word} take {best.mean / 1e9:.1f} s on average (computed){beside} and find every camera "
            "that answers searches, whatever its ID"
        )
        if self._ground.deaf:
            text += "; add a scan, because these cameras answer no search: " + ", ".join(self._ground.deaf[:6])
        return text

    # -- cameras found, and facts only the emulator knows -----------------------------------------------------------

    def _rows(self, world: World, way: str, result: Scanned | Searched, looks: Iterable[Checked]) -> Iterable[Row]:
        looked = {look.bus_id: look for look in looks}
        found = list(result.found)
        for look in looked.values():  # a proven closer look replaces the result of the scan
            if look.proven:
                found = [one for one in found if one.bus_id != look.bus_id] + [
                    Found(look.bus_id, one) for one in look.serials
                ]
        for one in sorted(found, key=lambda one: (one.bus_id, one.serial or 0)):
            short = way == SCAN and not (one.bus_id in looked and looked[one.bus_id].proven)
            doubt, sure = _doubt(one, found, result, looked.get(one.bus_id), self._ground.deaf)
            yield Row(
                one.bus_id, one.serial, self._planned(one.serial, short), doubt, sure, self._where(world, one, short)
            )

    def _unseen(self, rows: Sequence[Row], *, way: str) -> Iterable[Unseen]:
        """Planned cameras that are in no row: by serial number where all have one, else by bus ID. Cameras that answer
        no search are not expected in the result of one."""
        stands = {place.name: place.metres for place in self._ground.line.order if place.kind == "camera"}
        serials = {row.serial for row in rows}
        for camera in self._ground.cameras:
            if way != SCAN and camera.name in self._ground.deaf:
                continue
            told = {camera.serial, camera.serial & 0xFFFF} if way == SCAN else {camera.serial}
            by_serial = camera.serial and None not in serials
            if told.isdisjoint(serials) if by_serial else all(row.bus_id != camera.bus_id for row in rows):
                place, metres = camera.place or "", stands[camera.name]
                yield Unseen(camera.name, camera.bus_id, camera.serial, place, metres, camera.present)

    def _planned(self, serial: int | None, short: bool) -> str:
        cameras = [one for one in self._ground.cameras if serial is not None and _same(one.serial, serial, short)]
        return cameras[0].model if cameras else ""

    def _where(self, world: World, found: Found, short: bool) -> str:
        stands = {place.name: place.metres for place in self._ground.line.order if place.kind == "camera"}
        return " or ".join(
            f"{name!r} at {stands[name]:g} m"
            for name in self._here(world)
            if found.serial is None or _same(world.cameras[name].camera.serial, found.serial, short)
            if world.cameras[name].camera.bus_id == found.bus_id
        )

    def _here(self, world: World) -> list[str]:
        names = [camera.name for camera in self._ground.cameras if camera.name in world.cameras]
        return [name for name in names if world.cameras[name].powered]

    def _missed(self, world: World, found: Collection[Found], way: str) -> tuple[int, tuple[str, ...]]:
        """Number of cameras found, and names of those missed."""
        told = {(one.bus_id, one.serial) for one in found}
        at = Counter(world.cameras[name].camera.bus_id for name in self._here(world))
        hidden = []
        for name in self._here(world):
            camera = world.cameras[name].camera
            serial = camera.serial & 0xFFFF if way == SCAN else camera.serial
            if (camera.bus_id, serial) not in told and ((camera.bus_id, None) not in told or at[camera.bus_id] > 1):
                hidden.append(name)
        return len(told), tuple(hidden)


def _found(result: Scanned | Searched | None) -> tuple[Found, ...]:
    return () if result is None else result.found


def _tried(way: Way, done: Followed[Any], found: int, hidden: tuple[str, ...]) -> Way:
    took = done.length if done.others is None else None
    return replace(way, took=took, questions=done.questions, found=found, hidden=hidden)


def _same(planned: int, told: int, short: bool) -> bool:
    return (planned & 0xFFFF if short else planned) == told


def _doubt(
    one: Found, found: list[Found], result: Scanned | Searched, look: Checked | None, deaf: tuple[str, ...]
) -> tuple[str, bool]:
    """Why the ID of a camera is or may be shared, and whether two were seen there. `deaf`: planned cameras that answer
    no search."""
    unproven = "a camera that answers no search may share this ID" if deaf else ""
    if look is not None and look.several:
        return "; ".join(look.seen), True
    same = sorted(other.serial or 0 for other in found if other.bus_id == one.bus_id)
    if len(same) > 1:
        return f"{len(same)} serial numbers answer at ID {one.bus_id}", True
    if isinstance(result, Searched):
        unclear = [what for serial, what in result.unclear if serial == one.serial]
        return (unclear[0], True) if unclear else (unproven, False)
    if look is not None and look.proven:
        return unproven, False
    doubts = [doubt for doubt in result.doubts if doubt.bus_id == one.bus_id]
    return "; ".join(doubt.seen for doubt in doubts), any(doubt.sure for doubt in doubts)


def _polled(tool: Tool, quiet: Quiet) -> tuple[int, ...]:
    """Bus IDs heard: of requests, and of replies that can be recognised without their requests."""
    protocol, heard = tool.protocol, quiet.heard[:600]
    ids = {request.address for request in quiet.requests}
    for size in range(1, min(protocol.most_values, 32) + 1):
        whole = protocol.reply_bytes(Request(protocol.addresses[0], READ, 0, size))
        for start in range(len(heard) - whole + 1):
            piece = heard[start : start + whole]
            asked = Request(piece[0], READ, 0, size)
            if (
                protocol.addresses[0] <= piece[0] <= protocol.addresses[1]
                and protocol.decode_reply(piece, asked) is not None
            ):
                ids.add(piece[0])
    return tuple(sorted(ids))
