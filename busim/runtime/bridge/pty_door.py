"""The door for programs that open a serial port: a pseudo-terminal for each converter, and a link with its name.

The program's settings count as far as the kernel shows them: baud and stop bits. It hides data bits and parity: Linux
keeps every pseudo-terminal at eight bits without parity (`pty_set_termios`), and a program that sets parity may get
EINVAL. They stay as in the plan.

While the box is down its pseudo-terminal stays, because it belongs to this machine: a program may open it, what it
writes vanishes, and when the box is back it is served again without opening anew. `when_down` is for connections.

A pseudo-terminal does not tell its owner that a program opened it or changed its settings. So this door polls it, and
checks the settings whenever bytes come. Linux only: other systems behave differently.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import os
import re
import select
import sys
from collections.abc import Callable, Iterable
from fractions import Fraction
from functools import cache
from pathlib import Path

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.runtime.bridge.door import Enter
from busim.simulator.converters import MOST_UNREAD
from busim.simulator.world import ConverterPort

_LOOK = 0.02  # seconds of wall time between two looks
_PATIENCE = 50  # looks: a quick close and open may go unseen
_READ = 4096
_TERMINALS = "/dev/pts/"


def link_names(names: Iterable[str]) -> dict[str, str]:
    """A file name for each converter: its own, with a dash for each awkward character."""
    found: dict[str, str] = {}
    for name in names:
        safe = base = re.sub(r"[^A-Za-z0-9._-]+", "-", name).strip("-.") or "converter"
        number = 1
        while safe in found.values():
            number += 1
            safe = f"{base}-{number}"
        found[name] = safe
    return found


class PtyDoor:
    """One converter's pseudo-terminal, linked at `link` once this object exists. Raises UserError.

    `number` gives the next client number of the converter; `news` gets a few words about clients that come and go.
    """

    def __init__(
        self, name: str, port: ConverterPort, link: Path, enter: Enter, number: Callable[[], int],
        news: Callable[[str], None],
    ) -> None:  # fmt: skip
        self.link = link
        self._name = name
        self._port = port
        self._enter = enter
        self._next_number = number
        self._news = news
        self._client = 0  # 0: no program has it open
        self._refused = 0  # looks until a refused program is admitted again
        self._unread = b""
        self._paused = False
        self._closed = False
        self._away = False  # the box is down: there is no pseudo-terminal
        self._own = link
        self._timer: asyncio.TimerHandle | None = None
        self._loop: asyncio.AbstractEventLoop
        baud, self._format = port.setting
        self._master, self._target = _open(baud, self._format.stop_halves)
        self._poll = select.poll()
        self._poll.register(self._master, select.POLLIN)
        self._seen = _settings(self._master)
        try:
            _link(link, self._target)
        except BaseException:
            os.close(self._master)
            raise

    def open(self) -> None:
        """Carry bytes between kernel and program, from now on."""
        self._loop = asyncio.get_running_loop()
        before = self._port.flow

        def flow(on: bool) -> None:
            before(on)
            self._flow(on)

        dropped = self._port.clients.drop

        def drop(number: int, reset: bool) -> None:
            if number == self._client:
                self._dropped()
            else:
                dropped(number, reset)

        self._port.flow = flow
        self._port.clients.drop = drop
        told = self._port.clients.box_up

        def box_up(on: bool) -> None:
            told(on)
            self._box_up(on)

        self._port.clients.box_up = box_up
        self._look()

    def close(self) -> None:
        """Close it and remove the link; the converter does not notice, since its run is over."""
        self._closed = True
        if not self._away:
            self._take_away()

    def _take_away(self) -> None:
        """No pseudo-terminal any more: whoever has it open is told by the kernel."""
        if self._timer is not None:
            self._timer.cancel()
        if self._client:
            self._loop.remove_reader(self._master)
            self._loop.remove_writer(self._master)
        with contextlib.suppress(OSError):
            if os.readlink(self.link) == self._target:
                self.link.unlink()
        self._poll.unregister(self._master)
        os.close(self._master)

    def _box_up(self, on: bool) -> None:
        """An adapter is unplugged, or is back: with another pseudo-terminal, and another link where it was renamed.

        A box that reboots keeps its pseudo-terminal.
        """
        unplugged = self._port.clients.unplugged
        if self._closed or on is not self._away or not unplugged:
            return
        self._away = not on
        if not on:
            self._take_away()
            self._client, self._refused, self._unread = 0, 0, b""
            self._news(f"{self._name}: {self.link} is gone")
            return
        baud, self._format = self._port.setting
        self._master, self._target = _open(baud, self._format.stop_halves)
        self._poll.register(self._master, select.POLLIN)
        self._seen = _settings(self._master)
        self.link = self._own.with_name(f"{self._own.name}-again") if unplugged == "renamed" else self._own
        _link(self.link, self._target)
        self._port.clients.unplugged = ""
        self._news(f"{self._name}: {self.link} is back")
        self._look()

    # -- who has it open ----------------------------------------------------------------------------------------

    def _look(self) -> None:
        self._timer = self._loop.call_later(_LOOK, self._look)
        if self._client:
            self._look_at_settings()
            return
        events = self._poll.poll(0)
        gone = bool(events) and bool(events[0][1] & select.POLLHUP)
        if self._refused:
            self._refused = 0 if gone else self._refused - 1
            self._drain()
        elif not gone or events[0][1] & select.POLLIN:
            self._come()

    def _come(self) -> None:
        number = self._next_number()
        if not self._enter(self._port.open, number, self._deliver, True):
            self._refused = _PATIENCE
            self._news(f"{self._name}: client {number} at {self.link} refused")
            return
        self._client = number
        self._unread = b""
        self._news(f"{self._name}: client {number} opened {self.link}")
        self._look_at_settings()
        if not self._paused:
            self._loop.add_reader(self._master, self._readable)

    def _go(self) -> None:
        number = self._forget()
        self._news(f"{self._name}: client {number} closed {self.link}")
        self._enter(self._port.close, number)

    def _dropped(self) -> None:
        """The converter drops the client, as in a reboot. A serial port has no end to tell: it is let in again."""
        self._news(f"{self._name}: client {self._forget()} at {self.link} dropped by the converter")
        self._refused = _PATIENCE

    def _forget(self) -> int:
        self._loop.remove_reader(self._master)
        self._loop.remove_writer(self._master)
        number, self._client = self._client, 0
        return number

    def _drain(self) -> None:
        """The writes of a refused program go nowhere."""
        with contextlib.suppress(OSError):
            os.read(self._master, _READ)

    # -- bytes ----------------------------------------------------------------------------------------------------

    def _readable(self) -> None:
        try:
            data = os.read(self._master, _READ)
        except BlockingIOError:
            return
        except OSError as error:
            if error.errno != errno.EIO:
                raise
            data = b""
        if not data:
            self._go()
            return
        self._look_at_settings()
        self._enter(self._port.chunk, self._client, data)

    def _deliver(self, number: int, data: bytes) -> None:
        if number != self._client or self._closed:
            return
        if len(self._unread) + len(data) > MOST_UNREAD:
            self._news(f"{self._name}: client {number} does not read, {len(data)} bytes lost")
            return
        self._unread += data
        self._writable()

    def _writable(self) -> None:
        with contextlib.suppress(OSError):  # full, or closed by the program, which reading will show
            self._unread = self._unread[os.write(self._master, self._unread) :]
        if self._unread:
            self._loop.add_writer(self._master, self._writable)
        else:
            self._loop.remove_writer(self._master)

    def _flow(self, on: bool) -> None:
        self._paused = not on
        if self._client:
            if on:
                self._loop.add_reader(self._master, self._readable)
            else:
                self._loop.remove_reader(self._master)

    # -- settings -------------------------------------------------------------------------------------------------

    def _look_at_settings(self) -> None:
        seen = _settings(self._master)
        if seen is None or seen == self._seen:
            return
        self._seen = seen
        baud, stop_halves = seen
        format = CharFormat(self._format.data_bits, self._format.parity, stop_halves)
        self._news(f"{self._name}: client {self._client} sets {baud} Bd {format}")
        self._enter(self._port.set, self._client, Fraction(baud), format)


def _open(baud: Fraction, stop_halves: int) -> tuple[int, str]:
    """A new pseudo-terminal, raw, with the port's settings, opened by no program: our end of it, and the path of the
    other.
    """
    if sys.platform != "linux":
        raise UserError(
            "busim cannot serve pseudo-terminals on this system", found=sys.platform, expected="Linux",
            mend="connect over TCP, or over rfc2217:// with `rfc2217: applies` in the plan",
        )  # fmt: skip
    import pty
    import termios
    import tty

    try:
        master, slave = pty.openpty()
    except OSError as error:
        raise UserError(
            "no pseudo-terminal is free", found=error.strerror or str(error), mend="see /proc/sys/kernel/pty/max"
        ) from error
    tty.setraw(slave)
    flags = termios.tcgetattr(slave)
    code = getattr(termios, f"B{round(baud)}", None)
    if code is not None:
        flags[4] = flags[5] = code
    if stop_halves > 2:
        flags[2] |= termios.CSTOPB
    termios.tcsetattr(slave, termios.TCSANOW, flags)
    path = os.ttyname(slave)
    os.close(slave)
    os.set_blocking(master, False)
    return master, path


def _settings(master: int) -> tuple[int, int] | None:
    """Baud and stop bits in half bits; None for a baud rate without a name, which cannot be read here."""
    import termios

    flags = termios.tcgetattr(master)
    baud = _rates().get(flags[5])
    return None if baud is None else (baud, 4 if flags[2] & termios.CSTOPB else 2)


@cache
def _rates() -> dict[int, int]:
    """Baud by the kernel's code for it."""
    import termios

    return {getattr(termios, name): int(name[1:]) for name in dir(termios) if re.fullmatch("B[1-9][0-9]*", name)}


def _link(link: Path, target: str) -> None:
    try:
        link.parent.mkdir(parents=True, exist_ok=True)
        if os.path.lexists(link) and not _is_ours(link):
            raise UserError(
                "the place of the link to a pseudo-terminal is taken", file=str(link),
                mend="remove that file, or choose another folder for --pty",
            )  # fmt: skip
        beside = link.with_name(f".{link.name[:200]}.{os.getpid()}.part")
        beside.unlink(missing_ok=True)
        beside.symlink_to(target)
        beside.replace(link)
    except OSError as error:
        raise UserError(
            "the link to a pseudo-terminal cannot be made", file=str(link), found=error.strerror or str(error),
            mend="choose another folder for --pty",
        ) from error  # fmt: skip


def _is_ours(link: Path) -> bool:
    """Whether it is a link made by a session, such as one that was killed."""
    return link.is_symlink() and os.readlink(link).startswith(_TERMINALS)
