"""Opening a target, which its user has agreed to: exclusively, with its settings read back where that is possible."""

from __future__ import annotations

import contextlib
import os
import queue
import sys
import time
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import serial
import serial.rfc2217

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.onsite.targets.adapter import adapter_of
from busim.onsite.targets.address import PORT, RFC2217, SOCKET, Target
from busim.onsite.targets.direction import HARDWARE, made_for, switch
from busim.onsite.targets.link import TICK, WRITE, Link, TermiosError, format_settings

_TERMINALS = "/dev/pts/"
_PLAIN = CharFormat(8, "N", 2)
_UNREAD = 1 << 16  # bytes that came over RFC 2217 and were not read yet


def open_target(
    target: Target, baud: Fraction, format: CharFormat, *, direction: str = HARDWARE,
    clock: Callable[[], int] = time.monotonic_ns,
) -> Link:  # fmt: skip
    """The open target. Raises UserError: not there, taken, refused, or a setting that it does not take.

    `direction`: who enables the driver of a serial port of this machine. A caller asks the user first (`dangers`).
    """
    if baud.denominator != 1:
        raise UserError(
            "a serial port takes whole baud rates", found=f"{float(baud):g} Bd", expected="a whole number",
            mend="give the nearest whole number",
        )  # fmt: skip
    if direction != HARDWARE and target.kind != PORT:
        raise UserError(
            "a box switches the driver of its port itself", found=f"--direction {direction} with {target.text}",
            expected="hardware", mend="leave --direction out",
        )  # fmt: skip
    kind = made_for(direction)
    try:
        if target.kind == PORT:
            return _port(target, kind, int(baud), format, direction, clock)
        return _box(target, int(baud), format, clock)
    except (serial.SerialException, OSError, TermiosError, ValueError) as error:
        raise _refused(target, error, baud, format) from error


def _settings(baud: int, format: CharFormat) -> dict[str, Any]:
    return {
        "baudrate": baud, **dict(format_settings(format)), "timeout": TICK, "write_timeout": WRITE,
    }  # fmt: skip


def _port(
    target: Target, kind: type[serial.Serial], baud: int, format: CharFormat, direction: str,
    clock: Callable[[], int],
) -> Link:  # fmt: skip
    notes = []
    terminal = os.path.realpath(target.where).startswith(_TERMINALS)
    if terminal and (format.data_bits, format.parity) != (8, "N"):
        notes.append(f"a pseudo-terminal has neither parity nor data bits: {format} is assumed, not set")
        format = CharFormat(_PLAIN.data_bits, _PLAIN.parity, format.stop_halves)
    port = kind()
    for name, value in _settings(baud, format).items():
        setattr(port, name, value)
    port.port = target.where
    port.exclusive = os.name == "posix" or None  # elsewhere a port is exclusive by itself
    port.rts = False  # before opening, so that it is not raised a second time
    port.open()
    try:
        notes += [note for note in (switch(port, direction),) if note]
        notes += _read_back(port, baud)
        told = adapter_of(target.where, descriptor=port.fileno() if os.name == "posix" else None).told
        return Link(port, target.where, clock, tuple(notes + ([told] if told else [])), bare=terminal)
    except BaseException:
        port.close()
        raise


def _box(target: Target, baud: int, format: CharFormat, clock: Callable[[], int]) -> Link:
    settings = _settings(baud, format)
    port: serial.SerialBase
    if (
        target.kind == RFC2217
    ):  # pyserial has no write time-out there and refuses one; its socket blocks for 5 s at most
        del settings["write_timeout"]
        port = _Rfc2217(target.text, **settings)
    else:
        port = serial.serial_for_url(target.text, **settings)
    if target.kind == SOCKET:
        note = f"baud and format are those of the box; {baud} Bd {format} is assumed, not set"
    else:
        note = f"the box acknowledged {baud} Bd {format} (RFC 2217); whether its port has it shows on the line alone"
    return Link(port, target.where, clock, (note,))


class _Rfc2217(serial.rfc2217.Serial):
    """pyserial's port, whose reading thread ends without a traceback on bytes that are no Telnet: the next read says
    that it has ended. The thread stops reading while `_UNREAD` bytes wait: the box must wait then, as TCP has it.
    """

    _read_buffer: queue.Queue[bytes | None]  # not in pyserial's types

    def _telnet_read_loop(self) -> None:
        self._read_buffer.maxsize = _UNREAD
        with contextlib.suppress(Exception):  # whatever a box makes it raise
            super()._telnet_read_loop()  # type: ignore[misc]  # not in its types

    def close(self) -> None:
        """Close the port. A thread that waits for room gets it, and sees that the port is closed."""
        if (waiting := getattr(self, "_read_buffer", None)) is not None:
            with waiting.not_full:
                waiting.maxsize = sys.maxsize
                waiting.not_full.notify_all()
        super().close()


def _read_back(port: serial.Serial, baud: int) -> list[str]:
    """A port that says it has another baud than it was given."""
    try:
        import termios

        code = termios.tcgetattr(port.fileno())[5]
        named = getattr(termios, f"B{baud}", None)
    except (ImportError, OSError, TermiosError):
        return []
    if named is None or code == named:
        return []
    return [f"the port was set to {baud} Bd and says that it has another rate: its times and bytes are in doubt"]


def _refused(target: Target, error: Exception, baud: Fraction, format: CharFormat) -> UserError:
    said = " ".join(str(error).split())[:200] or type(error).__name__
    if "exclusively lock" in said:
        return UserError(
            "another program has this port open", file=target.where, found=said,
            expected="a port for this command alone", mend="end the other program; `fuser -v` names it",
        )  # fmt: skip
    if target.kind == RFC2217 and isinstance(error, serial.SerialException) and error.__context__ is None:  # connected
        mend = f"use socket://{target.where} if the box serves its port raw and has {baud} Bd {format} already"
        return UserError("the box cannot be used over RFC 2217", file=target.text, found=said, mend=mend)
    if target.remote:
        mend = "see that the box is on, that its address and port are right, and that no other client fills it"
        return UserError("the box cannot be reached", file=target.text, found=said, mend=mend)
    if "Inappropriate ioctl" in said:
        said = "no serial port"
    elif isinstance(error, OSError) and error.errno:  # pyserial's own words say the port and the reason twice
        said = os.strerror(error.errno)
    return UserError(
        "the serial port cannot be used", file=target.where, found=said,
        mend="see that the adapter is plugged, that its path is right and that you may use it (on Linux often the "
        "group `dialout`)",
    )  # fmt: skip
