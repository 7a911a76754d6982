"""A camera writes its serial number in another byte order than the others when it is searched for."""

from __future__ import annotations

from collections.abc import Callable

from busim.protocols import ASSIGN, SEARCH, Request
from busim.simulator.fault_hooks import CameraRequest, Remove, remove_all
from busim.simulator.faults.benches import CameraBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, word


def _little(serial: int) -> int:
    return int.from_bytes(serial.to_bytes(4, "big"), "little")


def _decimal(serial: int) -> int:
    """Two decimal digits in each byte; a number of more than eight digits keeps the last eight."""
    return int(f"{serial % 10**8:08d}", 16)


def _decimal_little(serial: int) -> int:
    return _little(_decimal(serial))


_ORDERS: dict[str, Callable[[int], int]] = {"little": _little, "bcd": _decimal, "bcd-little": _decimal_little}


class _Other:
    inner: CameraRequest

    def __init__(self, bench: CameraBench) -> None:
        self._bench = bench

    def __call__(self, request: Request, at: int, /) -> None:
        if request.verb in (SEARCH, ASSIGN):
            self._bench.effect(request.verb)
        self.inner(request, at)


def _put(bench: CameraBench, values: Values) -> Remove:
    bench.read_serial(_ORDERS[values["order"]])
    return remove_all(lambda: bench.read_serial(None), bench.request.cover(_Other(bench)))


FAULT = Fault(
    name="serial-byte-order",
    code="B12",
    title="A serial number in another byte order",
    on="camera",
    hook="camera request",
    wire="In searches and assignments the camera reads and writes its serial number in another order of bytes, or as "
    "decimal digits.",
    seen="A search finds a serial number that is on no label; an assignment by the label reaches nobody.",
    parameters=(word("order", "how it writes the number", "little", "bcd", "bcd-little"),),
    put=_put,
)
