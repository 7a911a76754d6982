"""An open target: bytes out and in, each arrival with its nanosecond.

The port is pyserial's, for every kind of target; its reads wait at most `TICK`, so a deadline is met to 2 ms while an
arrival is stamped as soon as the system hands it over. Every error of pyserial and of the system leaves as UserError.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from types import TracebackType
from typing import Any

import serial

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.simulator.world import Packet

TermiosError: type[Exception] = OSError  # what the system's serial calls raise
with contextlib.suppress(ImportError):  # a system without termios, where pyserial raises its own errors alone
    import termios

    TermiosError = termios.error

TICK = 0.002  # seconds that one read waits at most
WRITE = 2.0  # seconds after which a port that takes no bytes counts as blocked
_TAKE = 2_000_000  # ns that one packet may take to read: bytes that never end must not hold up a deadline
_MOST = 1 << 20  # bytes kept of one wait: a target that never stops sending fills no memory


@dataclass(frozen=True, slots=True)
class Heard:
    """The result of one wait. `sent` (b"": listened only) was handed over at `since` ns; it ended at `until` ns.

    `flooded`: more came than is kept.
    """

    sent: bytes
    since: int
    until: int
    packets: tuple[Packet, ...]
    flooded: bool = False

    @property
    def data(self) -> bytes:
        return b"".join(packet.data for packet in self.packets)

    @property
    def first(self) -> int | None:
        """ns from `since` to the first byte, None for silence."""
        return self.packets[0].at - self.since if self.packets else None

    @property
    def last(self) -> int | None:
        """ns from `since` to the last byte, None for silence."""
        return self.packets[-1].at - self.since if self.packets else None


def format_settings(format: CharFormat) -> tuple[tuple[str, Any], ...]:
    """A character format as pyserial names its parts."""
    return ("bytesize", format.data_bits), ("parity", format.parity), ("stopbits", format.stop_halves / 2)


class Link:
    """One open target. A context manager: leaving closes it. Every method raises UserError if the target fails.

    `name`: for messages. `clock`: ns, never going back. `notes`: what the port does otherwise than asked.
    `bare`: a pseudo-terminal, which has neither parity nor data bits.
    """

    def __init__(
        self, port: serial.SerialBase, name: str, clock: Callable[[], int] = time.monotonic_ns,
        notes: tuple[str, ...] = (), *, bare: bool = False,
    ) -> None:  # fmt: skip
        self.name = name
        self.notes = notes
        self._port: Any = port  # pyserial's ports share these methods, which its types do not say
        self._clock = clock
        self._bare = bare

    @property
    def now(self) -> int:
        return self._clock()

    def send(self, data: bytes) -> int:
        """Hand bytes over. Returns the instant just before, ns."""
        with self._guarded():
            since = self._clock()
            if data and self._port.write(data) not in (len(data), None):  # pyserial's RS485 returns None
                raise self._failed("the target takes no more bytes", "a part of the message")
            return since

    def hear(self, length: int, *, enough: Callable[[Packet], int | None] | None = None) -> Heard:
        """Listen for `length` ns. `enough` sees each packet and may return the instant at which to stop, ns."""
        return self._hear(b"", self._clock(), length, enough)

    def exchange(self, data: bytes, length: int, *, enough: Callable[[Packet], int | None] | None = None) -> Heard:
        """Send, then listen for `length` ns from then on; `enough` as in `hear`."""
        return self._hear(data, self.send(data), length, enough)

    def take(self) -> Packet | None:
        """What there is after at most 2 ms, None for nothing."""
        with self._guarded():
            data = self._port.read(1)
            if not data:
                return None
            at = self._clock()
            packet = bytearray(data)
            while (waiting := self._port.in_waiting) and len(packet) < _MOST and self._clock() - at < _TAKE:
                more = self._port.read(waiting)
                if not more:
                    break
                packet += more
            return Packet(at, bytes(packet))

    def set(self, baud: int, format: CharFormat | None = None) -> None:
        """Set the baud of the port from now on, and the format if one is given."""
        with self._guarded():
            if self._port.baudrate != baud:
                self._port.baudrate = baud
            for name, value in () if format is None or self._bare else format_settings(format):
                if getattr(self._port, name) != value:
                    setattr(self._port, name, value)

    @property
    def descriptor(self) -> int | None:
        """The descriptor of a port or socket, None where there is none to ask."""
        port = getattr(self._port, "_socket", None) or self._port  # pyserial's RFC 2217 port has no `fileno`
        with contextlib.suppress(AttributeError, OSError, ValueError):
            return int(port.fileno())
        return None

    def close(self) -> None:
        """Close the port; one that has failed too."""
        with contextlib.suppress(serial.SerialException, OSError, TermiosError):
            self._port.close()

    def __enter__(self) -> Link:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _hear(self, sent: bytes, since: int, length: int, enough: Callable[[Packet], int | None] | None) -> Heard:
        until, packets, kept = since + length, [], 0
        while (now := self._clock()) < until:
            packet = self.take()
            if packet is None:
                continue
            if kept < _MOST:
                packets.append(packet)
                kept += len(packet.data)
            end = None if enough is None else enough(packet)
            if end is not None:
                until = min(until, end)
        return Heard(sent, since, max(now, since), tuple(packets), kept >= _MOST)

    @contextmanager
    def _guarded(self) -> Iterator[None]:
        try:
            yield
        except UserError:
            raise
        except serial.SerialTimeoutException as error:
            raise self._failed("the target takes no bytes", f"nothing taken within {WRITE:g} s") from error
        except (serial.SerialException, OSError, TermiosError, ValueError, TypeError, AttributeError) as error:
            # pyserial raises the last two where a port was closed under its hands
            raise self._failed("the target is gone", str(error)[:160] or type(error).__name__) from error

    def _failed(self, what: str, found: str) -> UserError:
        return UserError(
            f"{what}: {self.name}", found=found, expected="a port or a box that stays there",
            mend="look at plug, cable and power of the adapter or box, and whether another client took it; then start "
            "again",
        )  # fmt: skip
