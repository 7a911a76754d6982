"""Too many terminators, biases or receivers: the level falls towards the threshold at the far end."""

from __future__ import annotations

from busim.physics.electric import Bias, Hung, driver_load
from busim.protocols import Reply, Request
from busim.simulator.fault_hooks import CameraReply, CameraRequest, Remove, remove_all
from busim.simulator.faults.benches import CameraBench, LineBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Parameter, Values, count

_OPEN = 3.0  # V of a driver without a load; with 54 ohm in it, 1.5 V over 54 ohm as TIA/EIA-485-A demands
_WITHIN = 54.0
_LOOP = 0.1684  # ohm per metre, both wires of AWG 24 (check: 25.67 ohm per 1000 ft and wire)
_SURE, _LOST = 0.4, 0.2  # V: above nothing is lost, below everything
_BIAS = Bias(5.0, 560.0)


def margin(values: Values, metres: float) -> float:
    """Volts between the wires at a distance from the driver."""
    hung = Hung((_BIAS,) * values["biases"], (120.0,) * values["terminators"], values["unit_loads"])
    load = driver_load((hung,))
    if load == float("inf"):
        return _OPEN
    return _OPEN * load / (load + _WITHIN + _LOOP * metres)


def lost_share(volts: float) -> float:
    """The chance of a character to be lost at this voltage."""
    return min(1.0, max(0.0, (_SURE - volts) / (_SURE - _LOST)))


class _Weak:
    """Requests that reach a far camera."""

    inner: CameraRequest

    def __init__(self, bench: CameraBench, share: float) -> None:
        self._bench = bench
        self._share = share

    def __call__(self, request: Request, at: int, /) -> None:
        size = len(self._bench.protocol.encode_request(request))
        if any(self._bench.happens(self._share) for _ in range(size)):
            self._bench.effect(f"{request.verb} of {request.key} is not understood")
            return
        self.inner(request, at)


class _Faint:
    """Replies of a far camera."""

    inner: CameraReply

    def __init__(self, bench: CameraBench, share: float) -> None:
        self._bench = bench
        self._share = share

    def answer(self, raw: bytes, reply: Reply) -> tuple[int, bytes]:
        delay, raw = self.inner.answer(raw, reply)
        bench, setting = self._bench, self._bench.station.setting
        for number in range(len(raw)):
            if bench.happens(self._share):
                bench.effect(f"character {number + 1} of a reply")
                at = bench.kernel.now + delay + setting.offset(number * setting.halves + 5)
                bench.kernel.at_or_now(at, lambda _: bench.line.pulse(2 * setting.char // 10, False))
        return delay, raw


def _put(bench: LineBench, values: Values) -> Remove:
    removes = []
    for camera in bench.cameras:
        share = lost_share(margin(values, camera.station.metres))
        if share:
            removes += [camera.request.cover(_Weak(camera, share)), camera.reply.cover(_Faint(camera, share))]
    return remove_all(*removes)


FAULT = Fault(
    name="overloaded-line",
    code="P4",
    title="An overloaded line",
    on="line",
    hook="line level",
    wire="Loads pull the level between the wires down, and the cable takes the rest: far cameras miss requests, and "
    "characters of their replies are damaged. Near ones notice nothing. `busim check` warns of such a line.",
    seen="The last cameras of a line fail, from the moment when one more load was added.",
    parameters=(
        count("terminators", "terminators of 120 ohm on the pair", "8", "0", "32"),
        Parameter("unit_loads", "number", "unit loads on the pair", "8", "0", "512"),
        count("biases", "biases of 560 ohm at 5 V", "1", "0", "16"),
    ),
    put=_put,
    source="TIA/EIA-485-A for 1.5 V over 54 ohm and thresholds of 200 mV, second-hand; the ramp of lost characters "
    "from 400 to 200 mV is common practice, no source",
)
