"""The stations of a line at an instant: cameras, converters and masters, from the records of a trace up to it. Values
come from change records, else from the defaults of the camera's model; the page says which. The queue of a real
controller is not on the wire, so a queue shows only requests that were wanted before the instant and sent after it.
"""

from __future__ import annotations

from typing import Any

from busim.installation import Asker, ResolvedCamera
from busim.plan.models import Parameter
from busim.recording.trace import EXCHANGE, INPUT, Record, Trace
from busim.web.picture import LaidLine, Stand, Story

_BACK = 10_000_000_000  # ns that are searched for the last exchange; older ones are called older
_AHEAD = 5_000_000_000
_GOOD = ("ok", "refused")
_LOST = ("time-out", "damaged", "ran-together")
_MOST = 400  # parameters of a camera


class StationStates:
    """The stations of one line at `at` ns. Raises UserError if the trace is damaged."""

    def __init__(self, trace: Trace, line: LaidLine, story: Story, at: int) -> None:
        self._line = line
        self._at = at
        self._values = story.values(trace, at)
        self._power: dict[int, bool] = {}
        self._plugged: dict[int, bool] = {}
        self._clients: dict[int, set[int]] = {}
        for record in story.until(at):
            if record[0] == INPUT:
                self._take(record)
        exchanges = trace.records(EXCHANGE, max(0, at - _BACK), at + _AHEAD, line=line.number, by_time=True)
        self._before: list[Record] = []
        self._waiting: list[Record] = []
        for record in exchanges:
            if record[10] <= at:
                self._before.append(record)
            elif record[8] <= at < record[9]:
                self._waiting.append(record)

    def _take(self, record: Record) -> None:
        _, _, number, client, what, _ = record
        if what in ("power", "no power"):
            self._power[number] = what == "power"
        elif what in ("plug", "unplug"):
            self._plugged[number] = what == "plug"
        elif what == "open":
            self._clients.setdefault(number, set()).add(client)
        elif what in ("close", "reset"):
            self._clients.get(number, set()).discard(client)

    def as_json(self) -> dict[str, Any]:
        """JSON-ready."""
        resolved = self._line.resolved
        cameras = {} if resolved is None else {one.name: one for one in resolved.cameras}
        stands = self._line.stands
        return {
            "at": self._at,
            "cameras": [self._camera(one, cameras.get(one.name)) for one in stands if one.kind == "camera"],
            "converters": [self._converter(one) for one in stands if one.kind == "converter"],
            "masters": [] if resolved is None else [self._master(one) for one in resolved.askers],
        }

    def _camera(self, stand: Stand, camera: ResolvedCamera | None) -> dict[str, Any]:
        mine = [record for record in self._before if record[3] == stand.number]
        good = next((one for one in reversed(mine) if one[12] in _GOOD and one[13] >= 0), None)
        state = "present" if stand.number else "not there"
        if not self._plugged.get(stand.number, True):
            state = "unplugged"
        elif not self._power.get(stand.number, True):
            state = "no power"
        parameters = self._parameters(stand, camera)
        return {
            "number": stand.number, "name": stand.name, "metres": stand.metres, "state": state,
            "bus_id": None if camera is None else camera.camera.bus_id,
            "age": None if good is None else self._at - good[13],
            "last": mine[-1][12] if mine else "",
            "exchanges": len(mine), "lost": sum(one[12] in _LOST for one in mine), "over": min(self._at, _BACK),
            "parameters": parameters, "locks": _locks(camera, {one["name"]: one["count"] for one in parameters}),
            "motors": [] if camera is None or camera.known is None else [one.moves for one in camera.known.motors],
        }  # fmt: skip

    def _parameters(self, stand: Stand, camera: ResolvedCamera | None) -> list[dict[str, Any]]:
        known = () if camera is None or camera.known is None else camera.known.parameters
        found = []
        for one in known[:_MOST]:
            at, text = self._values.get((stand.number, one.name), (-1, str(one.default)))
            count = int(text) if text.lstrip("-").isdigit() and len(text) < 12 else one.default
            found.append({"name": one.name, "group": one.group, "value": spoken(one, count), "count": count, "at": at})
        return found

    def _converter(self, stand: Stand) -> dict[str, Any]:
        return {
            "number": stand.number, "name": stand.name, "metres": stand.metres,
            "clients": len(self._clients.get(stand.number, ())),
        }  # fmt: skip

    def _master(self, asker: Asker) -> dict[str, Any]:
        mine = [one for one in self._before if self._asks(asker, one[2])]
        waiting = [one for one in self._waiting if self._asks(asker, one[2])]
        overdue = []
        for group in asker.master.groups:
            if group.every:
                last = max(
                    (one[10] for one in mine if one[5] == "poll" and one[6].startswith(group.name)), default=None
                )
                late = None if last is None else self._at - last - group.every
                if late is not None and late > 0:
                    overdue.append(f"{group.name}, by {late / 1e9:.2f} s")
        return {
            "name": asker.master.name, "through": "" if asker.box is None else asker.box.name,
            "exchanges": len(mine), "lost": sum(one[12] in _LOST for one in mine), "over": min(self._at, _BACK),
            "waiting": [f"{one[6]} of {self._named(one)}" for one in waiting if one[5] == "command"][:20],
            "polls": sum(one[5] == "poll" for one in waiting), "overdue": overdue,
        }  # fmt: skip

    def _named(self, record: Record) -> str:
        stand = self._line.stand(record[3])
        return f"address {record[4]}" if stand is None else stand.name

    def _asks(self, asker: Asker, master: int) -> bool:
        stand = self._line.stand(master)
        if stand is not None:
            return stand.name == asker.master.name
        return asker.box is not None


def spoken(parameter: Parameter, count: int) -> str:
    """A count of a parameter as text: its choice, or scaled with its unit."""
    if parameter.choices:
        place = count - parameter.low
        return parameter.choices[place] if 0 <= place < len(parameter.choices) else str(count)
    if parameter.kind == "switch":
        return "on" if count else "off"
    number = f"{count * parameter.scale:g}"
    return f"{number} {parameter.unit}" if parameter.unit else number


def _locks(camera: ResolvedCamera | None, counts: dict[str, int]) -> list[str]:
    if camera is None or camera.known is None:
        return []
    return [
        f"{', '.join(one.locks)}: {one.reason}" for one in camera.known.locks if counts.get(one.when) == one.equals
    ]  # fmt: skip
