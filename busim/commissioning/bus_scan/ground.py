"""Facts about a line from the plan, before any request: listening time, time-outs, available ways.

A laptop on site has the plan too, so it knows the slowest poll of any master and the slowest turnaround of any camera.
If the site differs from the plan, silence may not mean that the line is free.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from busim.commissioning.scan_methods import Pace, best_slots
from busim.foundation.errors import UserError
from busim.foundation.units import show_time
from busim.installation import POLICY, Installation, ResolvedLine, resolve
from busim.plan import CameraPlan, Plan
from busim.plan.models import Model
from busim.protocols import READ, BusProtocol, Request, search, searches
from busim.simulator.bus import Setting
from busim.simulator.world import way_through

SCAN, SLOTS, SERIALS = "scan", "slots", "serials"
WAYS = (SCAN, SLOTS, SERIALS)
_LEAST_LISTENING = 2_000_000_000  # ns, if the plan has no master
_TENTH = 100_000  # ns: slots are whole tenths of a millisecond


class Ground:
    """One line of a plan, for a laptop at its first converter or real port (`at`, as in the plan `converter`). With
    `adapter` it may have neither: the laptop has an adapter of its own across the pair.

    `listening`: ns to listen before sending, and `why`; `pace`: time-outs; `slots`: best for the planned cameras;
    `key`, `counter`: keys of serial number and request count (None: no model has them); `ways`: available ways, and
    `missing`: why not, for the others. Raises UserError for an unknown line or one without a way in, and
    Findings as `resolve` does.
    """

    def __init__(self, plan: Plan | Installation, line: str | None = None, *, adapter: bool = False) -> None:
        site = resolve(plan)
        resolved = _line(site, line)
        self.line = resolved.line
        here = [camera for camera in site.cameras.values() if camera.line == resolved.name]
        self.cameras: list[CameraPlan] = [camera.camera for camera in here]
        if not resolved.ways_in and not adapter:
            raise UserError(
                "there is no converter on this line to connect a laptop to", found=repr(self.line.name),
                mend="name another line with --line, or add a converter to its order; a laptop's own adapter is a "
                "`port`, as `- port: /dev/ttyUSB0`",
            )  # fmt: skip
        self.at = resolved.ways_in[0] if resolved.ways_in else resolved.adapter
        self.converter = self.at.converter
        self.protocol: BusProtocol = resolved.speaks
        self.models: dict[str, Model] = {camera.name: camera.model for camera in here}
        self.key = self._most("serial")
        counter = self._most("requests")
        together = self.key is not None and counter == self.key + 1 and self.protocol.most_values > 1
        self.counter = counter if together else None
        self.listening, self.why = listening(site.plan)
        self.pace = self._pace()
        self.slots = best_slots(min(32, max(1, len(self.cameras))), self.pace)
        self.missing = self._missing()
        self.ways = tuple(way for way in WAYS if way not in self.missing)

    def _most(self, name: str) -> int | None:
        """The key of a parameter in most of the models here."""
        keys = Counter(
            model.keys[self.protocol.name][name]
            for model in self.models.values()
            if name in model.keys[self.protocol.name]
        )
        return keys.most_common(1)[0][0] if keys else None

    def tune(self, to: Setting) -> None:
        """Ask at this setting from now on."""
        self.pace = self._pace(to)

    def _pace(self, to: Setting | None = None) -> Pace:
        way = way_through(self.at)
        way = way if to is None else replace(way, setting=to)
        slowest = max((camera.turnaround.high for camera in self.cameras), default=0)
        quickest = min((camera.turnaround.low for camera in self.cameras), default=0)
        read = Request(self.protocol.addresses[0], READ, self.key or 0, 2 if self.counter is not None else 1)
        of_read = way.time_out(self.protocol, read, slowest)
        if not searches(self.protocol):
            return Pace(of_read, of_read, _TENTH)
        probe = search(self.protocol)
        wire = way.setting.offset(self.protocol.reply_bytes(probe) * way.setting.halves)
        slot = slowest - quickest + wire + self.protocol.silence(float(way.setting.baud))
        return Pace(of_read, way.time_out(self.protocol, probe, slowest), -(-slot // _TENTH) * _TENTH)

    def _missing(self) -> dict[str, str]:
        missing = {}
        if self.key is None:
            missing[SCAN] = "no camera model here has a readable serial number"
        why = ""
        if not searches(self.protocol):
            why = f"{self.protocol.name} has no message for a search by serial number"
        elif self.converter.clients.sharing == "arbitrated":
            why = "the converter arbitrates: it passes one reply per request, and none to a broadcast"
        elif not any("search" in model.capabilities for model in self.models.values()):
            why = "no camera model here answers searches"
        if why:
            missing[SLOTS] = missing[SERIALS] = why
        elif not searches(self.protocol, slots=self.slots, slot=self.pace.slot):
            slot = show_time(self.pace.slot)
            missing[SLOTS] = f"a reply needs a slot of {slot} here, longer than a search of {self.protocol.name} allows"
        return missing

    @property
    def deaf(self) -> tuple[str, ...]:
        """Planned cameras whose models answer no search: only a scan can find them."""
        return tuple(name for name, model in self.models.items() if "search" not in model.capabilities)


def _line(site: Installation, name: str | None) -> ResolvedLine:
    for line in site.lines:
        if name is None or line.name == name:
            return line
    raise UserError(
        "no such line", found=repr(name), expected=" or ".join(repr(line.name) for line in site.lines)[:300] or "none",
        mend="name a line of the plan with --line",
    )  # fmt: skip


def listening(plan: Plan) -> tuple[int, str]:
    """Listening time before sending, ns, and why. Any master of the plan may be on this line by mistake."""
    polls = [(group.every, master.name, group.name) for master in plan.masters for group in master.groups]
    if not polls:
        return _LEAST_LISTENING, "the plan has no master; 2 s assumed to be enough"
    every, master, group = max(polls)
    longest = POLICY.longest_pause
    if every >= longest:
        return every + every // 4, f"the slowest poll of the plan, {group!r} of {master!r}, and a quarter more"
    return longest + longest // 4, (
        f"masters probe offline cameras every {longest / 10**9:g} s, slower than any poll of the plan, and a "
        "quarter more"
    )
