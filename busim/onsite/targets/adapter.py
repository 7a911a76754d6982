"""What the system says of a serial adapter: the delay that its driver adds to each byte from the line.

A USB adapter collects bytes until its latency timer ends, 16 ms by default with one common family of chips, or until
62 bytes are there (application note AN232B-04, second-hand). So a measured turnaround has up to that much in it.
"""

from __future__ import annotations

import array
import os
import sys
from dataclasses import dataclass
from pathlib import Path

_LOW_LATENCY = 1 << 13  # ASYNC_LOW_LATENCY (Linux, include/uapi/linux/tty_flags.h)
_FLAGS = 4  # index of `flags` in struct serial_struct, in ints (Linux, include/uapi/linux/serial.h)


@dataclass(frozen=True, slots=True)
class Adapter:
    """Settings of one serial port that add delay; None: this port or its driver has no such setting.

    `latency_timer`: ms that the adapter waits for more bytes. `low_latency`: the driver hands bytes over at once.
    """

    latency_timer: int | None = None
    low_latency: bool | None = None

    @property
    def told(self) -> str:
        """A sentence for the user, "" if nothing is known."""
        parts = []
        if self.latency_timer is not None:
            parts.append(f"latency timer of the adapter: {self.latency_timer} ms (read from the system)")
        if self.low_latency is not None:
            parts.append(f"low-latency mode of its driver: {'on' if self.low_latency else 'off'} (read)")
        if self.latency_timer is not None and self.latency_timer > 1:
            parts.append("up to that much is in every measured time; 1 ms is the least")
        return "; ".join(parts)


def adapter_of(path: str, sysfs: Path = Path("/sys"), descriptor: int | None = None) -> Adapter:
    """The settings of the port at `path`; with its open `descriptor` also the mode of its driver (Linux)."""
    name = os.path.basename(os.path.realpath(path))
    timer = None
    for place in (f"bus/usb-serial/devices/{name}/latency_timer", f"class/tty/{name}/device/latency_timer"):
        try:
            timer = int((sysfs / place).read_text().strip())
            break
        except (OSError, ValueError):  # no such adapter, or a driver that says something else
            continue
    return Adapter(timer, None if descriptor is None else _low_latency(descriptor))


def _low_latency(descriptor: int) -> bool | None:
    if sys.platform != "linux":
        return None
    import fcntl
    import termios

    told = array.array("i", [0] * 32)
    try:
        fcntl.ioctl(descriptor, termios.TIOCGSERIAL, told)
    except OSError:  # not a serial port of that kind, such as a pseudo-terminal
        return None
    return bool(told[_FLAGS] & _LOW_LATENCY)
