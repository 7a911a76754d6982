"""Who enables the driver of an RS-485 port while this machine sends.

HARDWARE: the adapter itself, as most USB adapters and all boxes do. KERNEL: the serial driver, by TIOCSRS485 (Linux,
Documentation/driver-api/serial/serial-rs485.rst), and RTS where it has no such mode. RTS: pyserial, around each
message; it may be late by milliseconds.
"""

from __future__ import annotations

import serial
import serial.rs485

from busim.foundation.errors import UserError

HARDWARE, KERNEL, RTS = "hardware", "kernel", "rts"
DIRECTIONS = (HARDWARE, KERNEL, RTS)


def made_for(direction: str) -> type[serial.Serial]:
    """The class of pyserial that switches the driver so. Raises UserError for an unknown direction."""
    if direction not in DIRECTIONS:
        raise UserError(
            "no such direction control", found=repr(direction[:40]), expected=" or ".join(DIRECTIONS),
            mend="leave it out for an adapter that switches by itself",
        )  # fmt: skip
    return serial.Serial if direction == HARDWARE else serial.rs485.RS485


def switch(port: serial.Serial, direction: str) -> str:
    """Have the driver of an open port, made for this direction, switched so. Returns a note for the user, or "".

    Raises UserError if the port can do neither this nor what comes in its place.
    """
    if direction == HARDWARE:
        return ""
    settings, note = serial.rs485.RS485Settings(), ""
    if direction == KERNEL:
        mode = serial.Serial.rs485_mode  # the kernel's; that of the class RS485 is by RTS
        try:
            mode.fset(port, settings)  # type: ignore[attr-defined]
        except (ValueError, OSError):  # ENOTTY: its driver has no such mode
            mode.fset(port, None)  # type: ignore[attr-defined]
            note = (
                "the driver of this port has no RS-485 mode (TIOCSRS485): RTS enables it around each message instead, "
                "and may be late by milliseconds"
            )
        else:
            return ""
    try:
        port.rts = False
    except OSError as error:
        raise UserError(
            "this port has neither an RS-485 mode nor an RTS line" if note else "this port has no RTS line",
            file=port.name, found=error.strerror or str(error), expected="a port whose driver can be enabled so",
            mend="use --direction hardware if the adapter enables its driver itself, as most USB adapters do",
        ) from error  # fmt: skip
    port.rs485_mode = settings
    return note
