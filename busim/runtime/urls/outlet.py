"""An outlet: one converter for programs without an event loop, which advance the kernel themselves.

There is one thread and one clock: simulated time passes while a program waits for bytes, and stands still while it
computes. A program that only looks (nothing waiting? nothing read?) and finds nothing advances by a millisecond, or
less if something happens earlier; otherwise a loop of looks would never see anything come.
"""

from __future__ import annotations

from collections.abc import Sized
from fractions import Fraction

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.runtime.urls.drive import Drive
from busim.simulator.world import ConverterPort

_LOOK = 1_000_000  # ns that pass at a look that finds nothing
_PATIENCE = 3600 * 10**9  # ns after which a wait without a time-out counts as vain
_CHUNK = 4096  # bytes sent to the converter at once, as from a socket


class Outlet:
    """One converter for such programs. All methods raise Defect if an event of the kernel fails."""

    def __init__(self, name: str, drive: Drive, port: ConverterPort) -> None:
        self.name = name
        self._drive = drive
        self._port = port
        self._arrived = 0
        self._heard: dict[int, bytearray] = {}
        self._paused = False
        self._going_on: list[None] = []
        self._asked = port.setting
        port.flow = self._flow

    # -- clients --------------------------------------------------------------------------------------------

    def open(self) -> int | None:
        """A client's number, or None: the converter admits no more."""
        self._arrived += 1
        number = self._arrived
        if not self._drive.enter(self._port.open, number, self._deliver, True):  # plain: no network in between
            return None
        self._heard[number] = bytearray()
        return number

    def set(self, number: int, baud: Fraction, format: CharFormat) -> None:
        """A client sets the port; without effect unless the converter applies settings."""
        if self._port.obeys and (baud, format) != self._asked:
            self._asked = baud, format
            self._drive.enter(self._port.set, number, baud, format)

    def close(self, number: int) -> None:
        """The client leaves; after a failed run nothing else happens."""
        if self._heard.pop(number, None) is not None and self._drive.failure is None:
            self._drive.enter(self._port.close, number)

    def has(self, number: int) -> bool:
        """Whether this client is connected."""
        return number in self._heard

    def close_all(self) -> None:
        for number in list(self._heard):
            self.close(number)

    # -- bytes ----------------------------------------------------------------------------------------------

    def heard(self, number: int) -> bytearray:
        """The unread bytes of a client; the caller removes them."""
        return self._heard[number]

    def look(self, number: int) -> bytearray:
        """As `heard`; without bytes a moment passes first."""
        heard = self._heard[number]
        if not heard:
            self._drive.go_until(self._drive.now + _LOOK, heard)
        return heard

    def wait(self, number: int, count: int, until: int | None, gap: int | None = None) -> bytearray:
        """Wait for this many bytes, or until the simulated instant `until` (None: no limit).

        `gap`: ns after the last byte after which it stops waiting, once there are some. Raises UserError if it would
        wait for ever.
        """
        drive, heard = self._drive, self._heard[number]
        given_up = drive.now + _PATIENCE
        while (before := len(heard)) < count:
            limit = until
            if gap is not None and before:
                limit = drive.now + gap if limit is None else min(limit, drive.now + gap)
            if limit is None and drive.next_deadline() is None:
                raise self._in_vain(number, count)
            drive.go_until(given_up if limit is None else limit, _Grown(heard, before))
            if len(heard) == before:
                if limit is None:
                    raise self._in_vain(number, count)
                break
        return heard

    def send(self, number: int, data: bytes, until: int | None) -> int:
        """Give bytes to the converter, waiting while it asks to pause. Returns the number taken by `until`."""
        for start in range(0, len(data), _CHUNK):
            if self._paused:
                self._going_on.clear()
                self._drive.go_until(self._drive.now + _PATIENCE if until is None else until, self._going_on)
                if self._paused:
                    return start
            self._drive.enter(self._port.chunk, number, data[start : start + _CHUNK])
        return len(data)

    @property
    def now(self) -> int:
        """The simulated instant, ns."""
        return self._drive.now

    def _deliver(self, number: int, data: bytes) -> None:
        heard = self._heard.get(number)
        if heard is not None:
            heard += data

    def _flow(self, on: bool) -> None:
        self._paused = not on
        if on:
            self._going_on.append(None)

    def _in_vain(self, number: int, count: int) -> UserError:
        return UserError(
            "the program waits for something that never comes",
            found=f"{len(self._heard[number])} of {count} bytes from {self.name!r}, and nothing under way",
            expected="a reply",
            mend="give the port a time-out, or find out why there is no answer",
        )


class _Grown(Sized):
    """Holds something once there are more bytes than before."""

    def __init__(self, heard: bytearray, before: int) -> None:
        self._heard = heard
        self._before = before

    def __len__(self) -> int:
        return len(self._heard) - self._before
