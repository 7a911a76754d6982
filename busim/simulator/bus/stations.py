"""Stations of a line (each a driver and a receiver), their bursts, and the groups in which they receive.

All receivers with the same setting and listener form one group. On the fast path their bytes are the same, so they are
decoded once, however many cameras are on the line.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from mypy_extensions import mypyc_attr

from busim.simulator.bus.settings import Setting
from busim.simulator.bus.uart import Uart
from busim.simulator.bus.wave import Wave

NEVER: Final = 1 << 62  # ns: later than the end of any run


@mypyc_attr(allow_interpreted_subclasses=True)
class Listener:
    """Takes the characters that a receiver, or a group of them, heard. This one, the base of all, ignores them.

    `stops`: whether `stop` must be called; `shows`: whether what it hears may show outside before a camera answers. A
    base class, since the compiled core would look a method of a Protocol up by its name at each call.
    """

    __slots__ = ("shows", "stops")

    def __init__(self) -> None:
        self.stops = False
        self.shows = True

    @property
    def fresh(self) -> bool:
        """Whether it holds no earlier characters (no half frame), so that the past does not affect it."""
        return True

    @property
    def quiet_until(self) -> int | None:
        """The instant (ns) up to which the line must stay quiet to end its frame; None: it holds nothing."""
        return None

    def heard(
        self, data: bytes, first: int, last: int, flags: int, source: Station | None, deaf: Station | None
    ) -> None:
        """Characters without a gap; `first` and `last`: ns at which the first and the last one were complete.

        With `source` None these instants hold at the listener's only station. Otherwise they hold at `source`, and each
        station adds its delay from there. `deaf`: the station of this group that missed the characters because it sent
        them.
        """

    def fork(self, station: Station, blank: bool) -> Listener:
        """A listener for this one station, with the same state, or an empty one with `blank`."""
        return self

    def clear(self) -> None:
        """Forget the held characters: its stations went on with forks, which are fresh by now."""

    def stop(self, burst: Burst, held: int, delay: int) -> int:
        """After how many more characters of a burst `heard` must be called; 0: not before it ends.

        `held`: its characters already delivered; `delay`: ns from its sender to where they are heard.
        """
        return 0

    def leave(self, station: Station) -> None:
        """One of its several stations hears with a fork from now on."""
        raise NotImplementedError

    def unite(self, other: Listener) -> None:
        """The stations of another one, which is alike and holds nothing, hear with this one from now on."""
        raise NotImplementedError


class Station:
    """A driver and a receiver at a position of a line.

    `lead` and `hold` in ns as in the plan; `delays[n]`: propagation from station n in ns; `label` and `setting_label`:
    its own number and that of its setting in the trace.
    """

    __slots__ = (
        "burst",
        "delays",
        "echo",
        "fail_safe",
        "group",
        "hold",
        "label",
        "lead",
        "metres",
        "name",
        "number",
        "setting",
        "setting_label",
        "uart",
    )

    def __init__(
        self, name: str, metres: float, setting: Setting, *, lead: int = 0, hold: int = 0, echo: bool = False,
        fail_safe: bool = False,
    ) -> None:  # fmt: skip
        self.name = name
        self.metres = metres
        self.setting = setting
        self.lead = lead
        self.hold = hold
        self.echo = echo
        self.fail_safe = fail_safe
        self.number = -1  # its place in the line's list of stations
        self.label = 0
        self.setting_label = 0
        self.delays: list[int] = []
        self.group: ReceiverGroup | None = None
        self.burst: Burst | None = None
        self.uart = Uart(setting)


class Burst:
    """A run of characters without a gap. `on`..`off`: the driver is enabled; `start`..`end`: the characters.

    Without characters it is a break: space from `start` to `end`, which is `NEVER` while it lasts. `first` and `whole`:
    when the first and the last character are complete at the sender's position. `off_before`: when the station's driver
    was last off before.
    """

    __slots__ = (
        "begun",
        "closed",
        "data",
        "deliver_to",
        "driven",
        "driven_for",
        "end",
        "exact",
        "first",
        "off",
        "off_before",
        "on",
        "setting",
        "setting_label",
        "start",
        "station",
        "whole",
    )

    def __init__(self, station: Station, data: bytes, on: int) -> None:
        setting = station.setting
        lead = station.lead
        start = on + lead if lead > 0 else on
        last, end = setting.reach(len(data))
        self.station = station
        self.setting = setting
        self.setting_label = station.setting_label
        self.data = data
        self.start = start
        self.on = start - lead
        self.first = start + setting.sample
        self.whole = start + last
        self.end = end = start + end
        self.off = end + station.hold
        self.deliver_to = 0  # characters covered by the delivery now scheduled
        self.exact = 0
        self.off_before = 0
        self.driven: Sequence[tuple[int, int]] = ()  # the result of `wave.drive`, and the length and end it holds for
        self.driven_for = (-1, -1)
        self.begun = False
        self.closed = False

    @classmethod
    def space(cls, station: Station, on: int) -> Burst:
        """A break that begins."""
        burst = cls(station, b"", on)
        burst.start = burst.on = on
        burst.first = burst.whole = burst.end = burst.off = NEVER
        burst.begun = True
        burst.exact = 1
        return burst

    @classmethod
    def behind(cls, other: Burst, data: bytes, gap: int) -> Burst:
        """A burst that follows another of the same station after `gap` ns; 0: the driver stays enabled."""
        burst = cls(other.station, data, other.end)
        burst.start = burst.on = other.end + gap
        burst.first = burst.start + burst.setting.sample
        burst.stretch()
        return burst

    def stretch(self) -> None:
        """Compute the end again after characters were added."""
        last, end = self.setting.reach(len(self.data))
        self.whole = self.start + last
        self.end = self.start + end
        self.off = self.end + self.station.hold

    def cut(self, now: int) -> None:
        """The driver is off from `now` on: characters that have not begun are never sent, the last may be a part.

        Where none has begun, none ever does: `start` is `NEVER`.
        """
        count, begun = len(self.data), self.arrived(now)
        if begun < count and self.start + self.setting.reach(begun)[1] < now:
            begun += 1
        self.off = min(self.off, now)
        if begun:
            self.data = self.data[:begun]
            self.end = min(self.start + self.setting.reach(begun)[1], self.off)
            self.whole = min(self.whole, now)
        else:
            self.start = NEVER
            self.end = now
        self.deliver_to = begun

    def sampled(self, count: int) -> int:
        """When character `count` (from 1) is complete at the sender's position, ns."""
        return self.start + self.setting.reach(count)[0]

    def arrived(self, now: int) -> int:
        """The number of characters complete at `now` ns, at the sender's position."""
        most = len(self.data)
        count = max(0, min(most, (now - self.start) // self.setting.char + 1))  # an estimate: `char` is rounded
        while count and self.sampled(count) > now:
            count -= 1
        while count < most and self.sampled(count + 1) <= now:
            count += 1
        return count


class Receiver:
    """One station on the exact path: its receiver, its listener, and the characters heard since its last record."""

    __slots__ = ("data", "first", "flags", "last", "listener", "skip", "station", "token", "version", "wave")

    def __init__(self, station: Station, listener: Listener, skip: dict[Burst, int]) -> None:
        self.station = station
        self.listener = listener
        self.skip = skip  # characters of a burst that it heard before, on the fast path
        self.wave: Wave | None = None
        self.version = -1  # the version of the line's levels from which `wave` was made
        self.token = 0  # the wake-up that counts
        self.data = bytearray()
        self.flags = bytearray()
        self.first = 0
        self.last = 0


class ReceiverGroup:
    """Stations that share one listener. `receivers` is empty on the fast path, else one per station.

    `origin`: the same number in groups that were split from one and could merge again.

    `burst`: the one it hears or heard last on the fast path; `delivered`: the number of its characters that the
    listener has; `deliver_to`: that number after the next delivery; `source`: their sender; `deaf`: the station of this
    group that missed them because it sent them.
    """

    __slots__ = (
        "burst",
        "deaf",
        "deliver_to",
        "delivered",
        "listener",
        "members",
        "origin",
        "receivers",
        "setting",
        "shared",
        "source",
    )

    def __init__(self, setting: Setting, listener: Listener, origin: int) -> None:
        self.setting = setting
        self.listener = listener
        self.origin = origin
        self.members: list[Station] = []
        self.shared = False
        self.receivers: list[Receiver] = []
        self.burst: Burst | None = None
        self.delivered = 0
        self.deliver_to = 0
        self.source: Station | None = None
        self.deaf: Station | None = None

    def quiet_for(self, burst: Burst) -> bool:
        """Whether the listener of a shared group holds nothing when this burst begins, at any of its stations.

        A frame that ends by silence ends first at its sender. A station that sends after that silence comes later at
        every position.
        """
        until = self.listener.quiet_until
        return until is None or (
            self.source is not None and until + burst.station.delays[self.source.number] <= burst.on
        )
