"""Helpers of tests with live sessions: a plan served by another process, plain clients, and MODBUS frames.

Frames are made with crccheck's CRC-16/MODBUS, which is not the project's.
"""

from __future__ import annotations

import json
import os
import select
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path
from types import TracebackType

import pytest
from crccheck.crc import CrcModbus

from busim.cli import main

WITHIN = 20.0  # s, the longest wait for any state on a busy machine

WALL = """
busim: 1
name: training wall
lines:
  - name: wall line
    baud: 115200 Bd
    format: 8E1
    protocol: modbus-rtu
    order:
      - terminator
      - converter: wall box
      - {camera: wall low, after: 12 m}
      - {camera: wall high, after: 8 m}
      - {camera: wall mats, after: 15 m}
      - {master: laptop, after: 2 m}
      - terminator
converters:
  - {name: wall box, endpoint: "198.51.100.48:15001", packing: {idle: 1 ms}, latency: 200..900 us, clients: MOST}
cameras:
  - {name: wall low, bus_id: 1, turnaround: 1..3 ms}
  - {name: wall high, bus_id: 2, turnaround: 1..3 ms}
  - {name: wall mats, bus_id: 3, turnaround: 1..3 ms}
masters:
  - name: controller
    through: [wall box]
    groups: [{name: fast, values: [iris, gain], every: 30 ms}]
  - name: laptop
    on: [wall line]
    cameras: [wall mats]
    groups: [{name: watch, values: [temperature], every: STEP}]
    starts_at: START
"""


def wall(*, laptop: bool = False, every: str = "70 ms", clients: int = 3) -> str:
    """The plan of the training wall: one line, three cameras; with the second master polling, or idle for an hour."""
    return WALL.replace("MOST", str(clients)).replace("STEP", every).replace("START", "0 s" if laptop else "1 h")


def read_frame(camera: int, register: int, count: int = 1) -> bytes:
    """MODBUS Application Protocol V1.1b3, 6.3: read holding registers."""
    return with_crc(bytes((camera, 3, *register.to_bytes(2, "big"), *count.to_bytes(2, "big"))))


def write_frame(camera: int, register: int, value: int) -> bytes:
    """MODBUS Application Protocol V1.1b3, 6.6: write single register; the reply is its echo."""
    return with_crc(bytes((camera, 6, *register.to_bytes(2, "big"), *value.to_bytes(2, "big"))))


def value_frame(camera: int, *values: int) -> bytes:
    """The reply to a read (V1.1b3, 6.3)."""
    return with_crc(bytes((camera, 3, 2 * len(values))) + b"".join(value.to_bytes(2, "big") for value in values))


def with_crc(frame: bytes) -> bytes:
    return frame + CrcModbus.calc(frame).to_bytes(2, "little")


class Client:
    """A plain blocking socket, as many controllers use."""

    def __init__(self, address: tuple[str, int]) -> None:
        self.socket = socket.create_connection(address, timeout=WITHIN)

    def ask(self, request: bytes, length: int, *, patience: float = WITHIN) -> bytes:
        """The bytes that arrive within `patience` seconds, at most `length`."""
        self.socket.sendall(request)
        return self.hear(length, patience=patience)

    def hear(self, length: int, *, patience: float = WITHIN) -> bytes:
        heard = b""
        end = time.monotonic() + patience
        while len(heard) < length and (left := end - time.monotonic()) > 0:
            self.socket.settimeout(left)
            try:
                data = self.socket.recv(length - len(heard))
            except (TimeoutError, ConnectionResetError):
                break
            if not data:
                break
            heard += data
        return heard

    def insist(self, request: bytes, reply: bytes) -> None:
        """Repeat the request until this reply arrives: others may poll the same line."""
        end = time.monotonic() + WITHIN
        heard = b""
        while time.monotonic() < end:
            self.socket.sendall(request)
            heard = b""
            once = time.monotonic() + 0.1
            while (left := once - time.monotonic()) > 0:
                heard += self.hear(1, patience=left)
                if heard.endswith(reply):
                    return
        raise AssertionError(f"no {reply.hex()} within {WITHIN:g} s; last heard {heard.hex()}")

    def vanish(self) -> None:
        """Reset the connection, like a program that is killed with unread bytes."""
        self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\x00\x00\x00\x00\x00\x00\x00")
        self.socket.close()

    def close(self) -> None:
        self.socket.close()

    def is_closed(self) -> bool:
        """Whether the other side closes within the patience of the tests."""
        self.socket.settimeout(WITHIN)
        try:
            while self.socket.recv(4096):
                pass
        except ConnectionResetError:
            return True
        return True

    def __enter__(self) -> Client:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


class Served:
    """`busim serve` in another process, ready to serve. Killed at the end if it still runs."""

    def __init__(self, folder: Path, plan: str, *options: str, input: bool = False) -> None:
        self.folder = folder
        self.trace = folder / "live.trace"
        plan_path = folder / "plan.yaml"
        plan_path.write_text(plan)
        ready = folder / "ready.json"
        self._errors = folder / "errors.txt"
        with self._errors.open("wb") as errors:
            self.process = subprocess.Popen(
                [
                    sys.executable, "-m", "busim", "serve", str(plan_path), "--port", "0", "--ready", str(ready),
                    "--trace", str(self.trace), *options,
                ],
                stdin=subprocess.PIPE if input else subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=errors,
                env={**os.environ, "COLUMNS": "1000"},  # so that no sentence is broken
            )  # fmt: skip
        try:
            self.until(lambda line: line.startswith(b"ready"))
        except BaseException:
            self.__exit__(None, None, None)  # no `with` has begun that would end it
            raise
        self.where = json.loads(ready.read_text())

    def address(self, converter: str = "wall box") -> tuple[str, int]:
        place = self.where["converters"][converter]
        return place["host"], place["port"]

    def until(self, wanted: Callable[[bytes], bool]) -> bytes:
        """The first wanted line on standard output; earlier lines are dropped."""
        assert self.process.stdout is not None
        line, descriptor = b"", self.process.stdout.fileno()
        end = time.monotonic() + WITHIN
        while select.select([descriptor], [], [], max(0.0, end - time.monotonic()))[0]:
            byte = os.read(descriptor, 1)
            if not byte:
                raise AssertionError(f"the program ended: {self.errors()}")
            line += byte
            if byte == b"\n":
                if wanted(line):
                    return line
                line = b""
        raise AssertionError(f"nothing wanted came within {WITHIN:g} s; the last was {line!r}: {self.errors()}")

    def errors(self) -> str:
        return self._errors.read_text()

    def memory(self) -> int:
        """Resident bytes."""
        pages = int(Path(f"/proc/{self.process.pid}/statm").read_text().split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE")

    def interrupt(self, how: signal.Signals = signal.SIGINT) -> str:
        """End it as Ctrl-C does; returns the rest of its output. Asserts a good exit code and no defect."""
        self.process.send_signal(how)
        return self.end()

    def end(self) -> str:
        out, _ = self.process.communicate(timeout=WITHIN)
        assert self.process.returncode == 0, self.errors()
        assert "Traceback" not in self.errors()
        assert "at fault" not in self.errors()
        return out.decode()

    def __enter__(self) -> Served:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.process.poll() is None:
            self.process.kill()
        for stream in (self.process.stdin, self.process.stdout):
            if stream is not None:
                stream.close()
        self.process.wait()


def wait_for(condition: Callable[[], bool], *, polling: socket.socket | None = None) -> None:
    """Wait until the condition holds; check after each event on a socket, or every 10 ms."""
    end = time.monotonic() + WITHIN
    while not condition():
        if time.monotonic() > end:
            raise AssertionError(f"did not come within {WITHIN:g} s")
        select.select([] if polling is None else [polling], [], [], 0.01)


def busim_here(*arguments: str) -> subprocess.CompletedProcess[str]:
    """As `busim`, in this process: where a process of its own is not what is tested, it would only cost its start."""
    out, errors, code = StringIO(), StringIO(), 0
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(errors):
        patch.setattr(sys, "argv", ["busim", *arguments])
        patch.setenv("COLUMNS", "1000")
        try:
            main()
        except SystemExit as ended:
            code = ended.code if isinstance(ended.code, int) else int(ended.code is not None)
    return subprocess.CompletedProcess(arguments, code, out.getvalue(), errors.getvalue())


def busim(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run a command to its end in another process, with these variables added to the environment. Lines are not
    wrapped, unless `COLUMNS` gives a width.
    """
    return subprocess.run(
        [sys.executable, "-m", "busim", *arguments],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        timeout=60,
        env={**os.environ, "COLUMNS": "1000", **environment},  # so that no sentence is broken
    )
