"""The port that pyserial opens for `busim://TOKEN/converter name`. pyserial's rules give the module its name.

The port is the converter's network side, as a program opens it as a serial port. A converter reached raw has its own
settings: settings of the program are accepted and change nothing, as behind a socket. One that applies settings of
clients (`rfc2217: applies`) really sets its port, at opening and at each change, as over pyserial's `rfc2217://`. Modem
lines read as connected.
"""

from __future__ import annotations

import threading
from fractions import Fraction
from typing import Any
from urllib.parse import unquote, urlsplit

from serial.serialutil import PortNotOpenError, SerialBase, SerialException, SerialTimeoutException

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.runtime.urls.offers import Offer, find
from busim.runtime.urls.outlet import Outlet


class PortError(UserError, SerialException):
    """A port that cannot be opened, for callers of busim and of pyserial."""


class Serial(SerialBase):
    """A serial port in simulated time.

    Opening raises PortError. `read` waits in simulated time; without a time-out it raises UserError if nothing can
    come. `write` waits while the converter asks to pause, and raises SerialTimeoutException.
    """

    _outlet: Outlet
    _number: int
    _port: str | None  # pyserial's own, which its properties set
    _baudrate: int
    _bytesize: int
    _parity: str
    _stopbits: float
    _timeout: float | None
    _inter_byte_timeout: float | None
    _write_timeout: float | None

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self._thread = 0
        super().__init__(*args, **kwargs)

    def open(self) -> None:
        if self._port is None:
            raise SerialException("Port must be configured before it can be used.")
        if self.is_open:
            raise SerialException("Port is already open.")
        offer, name = _found(self._port)
        self._outlet = offer.outlets[name]
        self._thread = offer.thread
        self._check_thread()
        number = self._outlet.open()
        if number is None:
            raise PortError(
                f"converter {name!r} refused the connection",
                found="as many clients as it takes",
                mend="close another port, or raise `clients` in the plan",
            )
        self._number = number
        self.is_open = True
        self._reconfigure_port()

    def close(self) -> None:
        if self.is_open:
            self.is_open = False
            self._outlet.close(self._number)

    def __del__(self) -> None:
        """A forgotten port stays open until its world ends: the instant of garbage collection is unknown."""

    def _reconfigure_port(self) -> None:
        format = CharFormat(self._bytesize, self._parity, round(2 * self._stopbits))
        self._ready().set(self._number, Fraction(self._baudrate), format)

    def _check_thread(self) -> None:
        if threading.get_ident() != self._thread:
            raise PortError(
                "a port in virtual time was used from another thread",
                expected="the thread that opened its world",
                mend="use one thread, or serve the plan in wall time (`busim serve`)",
            )

    def _ready(self) -> Outlet:
        if not self.is_open or not self._outlet.has(self._number):  # its world may be gone
            raise PortNotOpenError()
        self._check_thread()
        return self._outlet

    # -- bytes ----------------------------------------------------------------------------------------------

    @property
    def in_waiting(self) -> int:
        """Bytes that can be read at once."""
        return len(self._ready().look(self._number))

    @property
    def out_waiting(self) -> int:
        self._ready()
        return 0

    def read(self, size: int = 1) -> bytes:
        """Up to `size` bytes: all of them, or those that came within the time-out."""
        outlet = self._ready()
        if self._timeout == 0:
            heard = outlet.look(self._number)
        else:
            until = None if self._timeout is None else outlet.now + round(self._timeout * 1e9)
            gap = None if self._inter_byte_timeout is None else round(self._inter_byte_timeout * 1e9)
            heard = outlet.wait(self._number, size, until, gap)
        data = bytes(heard[:size])
        del heard[:size]
        return data

    def write(self, b: Any, /) -> int:
        """Send; returns the number of bytes. The converter has them then, not yet the line."""
        outlet = self._ready()
        data = bytes(b)
        until = None if self._write_timeout is None else outlet.now + round(self._write_timeout * 1e9)
        sent = outlet.send(self._number, data, until)
        if sent < len(data):
            raise SerialTimeoutException("Write timeout")
        return sent

    def flush(self) -> None:
        self._ready()

    def reset_input_buffer(self) -> None:
        self._ready().heard(self._number).clear()

    def reset_output_buffer(self) -> None:
        """Nothing waits here; the converter's bytes are on their way."""
        self._ready()

    # -- lines ----------------------------------------------------------------------------------------------

    def _update_break_state(self) -> None:
        """A raw connection carries no break."""

    def _update_rts_state(self) -> None:
        """Nor modem lines."""

    def _update_dtr_state(self) -> None:
        """Nor modem lines."""

    @property
    def cts(self) -> bool:
        self._ready()
        return True

    @property
    def dsr(self) -> bool:
        self._ready()
        return True

    @property
    def ri(self) -> bool:
        self._ready()
        return False

    @property
    def cd(self) -> bool:
        self._ready()
        return True


def _found(url: str) -> tuple[Offer, str]:
    parts = urlsplit(url)
    name = unquote(parts.path.removeprefix("/"))
    offer = find(parts.netloc)
    if parts.scheme != "busim" or offer is None:
        raise PortError(
            "no world is open under this URL",
            found=url,
            expected="busim://TOKEN/CONVERTER, with the token of a world that is open",
            mend="open it inside `with busim.serial_world(plan) as world`, with the URL that `world.url(name)` gives",
        )
    if name not in offer.outlets:
        raise PortError(
            "this world has no such converter",
            found=repr(name),
            expected=" or ".join(map(repr, offer.outlets)) or "none: its plan has no converters",
            mend="name one of them behind the token",
        )
    return offer, name
