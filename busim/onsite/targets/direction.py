"""Who enables the driver of an RS-485 port while this machine sends.

HARDWARE: the adapter itself, as most USB adapters and all boxes do. KERNEL: the serial driver, by TIOCSRS485 (Linux,
Documentation/driver-api/serial/serial-rs485.rst). RTS: pyserial, around each message; it may be late by milliseconds.
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
    return serial.rs485.RS485 if direction == RTS else serial.Serial


def switch(port: serial.Serial, direction: str) -> None:
    """Have the driver of an open port switched so. Raises UserError if its driver cannot."""
    if direction == HARDWARE:
        return
    try:
        port.rs485_mode = serial.rs485.RS485Settings()
    except (ValueError, OSError) as error:
        raise UserError(
            "the driver of this port has no RS-485 mode", file=port.name, found=str(error)[:120],
            expected="a driver that takes TIOCSRS485",
            mend="use --direction rts where RTS enables the driver, or --direction hardware where the adapter does",
        ) from error  # fmt: skip
