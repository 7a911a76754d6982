"""A device in memory with a flaw at will, behind a port whose time passes only while somebody reads."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Any

from busim.foundation.units import CharFormat
from busim.onsite.targets import Link, RealTool
from busim.onsite.targets.link import TICK
from busim.plan.models import load
from busim.protocols import READ, WRITE, ModbusRtu, Reply, Request
from busim.simulator.bus import setting

MODEL = load("zoom-camera")
KEYS = MODEL.keys["modbus-rtu"]
_DELAY = 8_000_000  # ns from a message to its reply, its time on the wire among it
_STEP = round(TICK * 1e9)


class Port:
    """As much of a pyserial port as a link needs. `answer` gets each message and returns the bytes that come back."""

    def __init__(self, answer: Callable[[bytes], bytes], unasked: bytes = b"") -> None:
        self.now = 0
        self.written: list[bytes] = []
        self.baudrate = 38400
        self._answer = answer
        self._due: list[tuple[int, bytes]] = [(50_000_000, unasked)] if unasked else []

    def write(self, data: bytes) -> int:
        self.written.append(bytes(data))
        if back := self._answer(bytes(data)):
            self._due.append((self.now + _DELAY, back))
        return len(data)

    def read(self, size: int = 1) -> bytes:
        if not self._due or self._due[0][0] > self.now + _STEP:
            self.now += _STEP
            return b""
        at, data = self._due.pop(0)
        self.now = max(self.now, at)
        if data[size:]:
            self._due.insert(0, (self.now, data[size:]))
        return data[:size]

    @property
    def in_waiting(self) -> int:
        return len(self._due[0][1]) if self._due and self._due[0][0] <= self.now else 0

    def close(self) -> None:
        """There is nothing to close."""


class Fake:
    """A device with the registers of the zoom camera; `flaws` says what it does wrong."""

    def __init__(self, *flaws: str, bus_id: int = 1) -> None:
        self.flaws = flaws
        self.bus_id = bus_id
        self.values = {KEYS[one.name]: one.default for one in MODEL.parameters if one.name in KEYS}
        self.ranges = {KEYS[one.name]: (one.low, one.high) for one in MODEL.parameters if one.name in KEYS}
        self._codec = ModbusRtu()
        self._deaf = False
        self._head = b""

    def __call__(self, data: bytes) -> bytes:
        joined, self._head = self._head + data, data if "joins pieces" in self.flaws else b""
        request = self._codec.decode_request(data)
        if request is None and "joins pieces" in self.flaws:
            request = self._codec.decode_request(joined)
        deaf, self._deaf = self._deaf, request is None and "deaf after damage" in self.flaws
        if deaf and request is not None:
            return b""
        if request is None:
            if "answers damage" in self.flaws and data[:1] == b"\x01":
                return b"\x01\x83\x04\x40\xf3"
            return b"\x00" if "garbles" in self.flaws else b""
        if request.address == 0:
            return data if "answers broadcasts" in self.flaws else b""
        if request.address != self.bus_id and "answers other IDs" not in self.flaws:
            return b""
        return self._codec.encode_reply(self._serve(request))

    def _serve(self, request: Request) -> Reply:
        address, verb, key, size, values, form = request
        if verb == READ and (not size or any(one not in self.values for one in range(key, key + size))):
            code = 1 if "wrong codes" in self.flaws else 2 if size else 3
            return Reply(address, verb, key, (), code, form)
        if verb == READ:
            return Reply(address, verb, key, tuple(self.values[one] for one in range(key, key + size)), 0, form)
        low, high = self.ranges[key]
        if verb == WRITE and not low <= values[0] <= high and "takes anything" not in self.flaws:
            return Reply(address, verb, key, (), 3, form)
        if "forgets writes" not in self.flaws:
            self.values[key] = values[0]
        return Reply(address, verb, key, values, 0, form)


def fake_tool(device: Callable[[bytes], bytes], unasked: bytes = b"") -> tuple[RealTool, Port]:
    """A tool that talks to it."""
    port, form = Port(device, unasked), CharFormat.parse("8E1")
    shown: Any = port  # a stand-in has not all of pyserial's methods
    link = Link(shown, "fake", clock=lambda: port.now)
    return RealTool(link, ModbusRtu(), setting(Fraction(38400), form), time_out=50_000_000), port
