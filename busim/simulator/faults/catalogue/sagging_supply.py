"""The supply at the end of a powered chain sags when cameras work, and the last ones brown out."""

from __future__ import annotations

from busim.protocols import READ, SAVE, Request
from busim.simulator.fault_hooks import CameraRequest, Remove, remove_all
from busim.simulator.faults.benches import CameraBench, LineBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Parameter, Values, share, time

_SAVING = 200_000_000  # ns after a save in which a brown-out may cost the configuration


def voltages(volts: float, ohms: float, metres: list[float], amperes: list[float]) -> list[float]:
    """The voltage at each load of a chain that draws these currents, fed at metre 0 (Ohm's law, both wires in `ohms`
    per metre).
    """
    found, at, here = [], 0.0, volts
    for number, place in enumerate(metres):
        here -= (place - at) * ohms * sum(amperes[number:])
        at = place
        found.append(here)
    return found


class _Load:
    """One camera as a load; `works` until so many ns."""

    inner: CameraRequest

    def __init__(self, chain: _Chain, bench: CameraBench) -> None:
        self._chain = chain
        self.bench = bench
        self.works = -1
        self.saved = -_SAVING
        self.on = True

    def __call__(self, request: Request, at: int, /) -> None:
        self.inner(request, at)
        if request.verb == SAVE:
            self.saved = at
        if request.verb != READ:
            self._chain.work(self)


class _Chain:
    def __init__(self, bench: LineBench, values: Values) -> None:
        self._kernel = bench.kernel
        self._values = values
        self._metres = [one.station.metres for one in bench.cameras]
        self.loads = [_Load(self, one) for one in bench.cameras]
        self._live = True

    def work(self, load: _Load) -> None:
        """A camera has something to do: it draws more for a while."""
        load.works = self._kernel.now + self._values["works"]
        self._kernel.at(load.works, self._look)
        self._look(None)

    def _look(self, _: object) -> None:
        if not self._live:
            return
        now, values = self._kernel.now, self._values
        working = any(one.on and one.works > now for one in self.loads)
        for one in self.loads:  # those that fell out come back when the load is gone
            if not one.on and not working:
                one.on = True
                one.bench.power(True)
        drawn = [(values["active"] if one.works > now else values["idle"]) if one.on else 0.0 for one in self.loads]
        there = voltages(values["volts"], values["ohms"], self._metres, drawn)
        for one, volts in zip(self.loads, there, strict=True):
            if one.on and volts < values["least"]:
                self._fall(one, volts)

    def _fall(self, load: _Load, volts: float) -> None:
        load.on = False
        load.works = -1
        load.bench.effect(f"{volts:.2f} V")
        lost = self._kernel.now - load.saved < _SAVING and load.bench.happens(self._values["loss"])
        if lost:
            load.bench.factory_reset()
        load.bench.power(False)

    def end(self) -> None:
        self._live = False
        for one in self.loads:
            if not one.on:
                one.on = True
                one.bench.power(True)


def _put(bench: LineBench, values: Values) -> Remove:
    chain = _Chain(bench, values)
    return remove_all(chain.end, *[one.bench.request.cover(one) for one in chain.loads])


FAULT = Fault(
    name="sagging-supply",
    code="P9",
    title="The supply of a chain sags",
    on="line",
    hook="supply",
    wire="A camera that moves or writes draws more; where the voltage behind it falls too low, the last cameras lose "
    "their power in the middle of a reply, boot, and may have forgotten their configuration.",
    seen="The same cameras drop out together with commands to others; a truncated reply, silence, defaults.",
    parameters=(
        Parameter("volts", "number", "at the begin of the line, V", "12", "5", "60"),
        Parameter("ohms", "number", "per metre of the supply pair, both wires, ohm", "0.05", "0.001", "1"),
        Parameter("idle", "number", "a camera draws at rest, A", "0.2", "0", "5"),
        Parameter("active", "number", "a camera draws while it works, A", "0.8", "0", "10"),
        Parameter("least", "number", "below it a camera has no power, V", "10.5", "0", "60"),
        time("works", "how long a command keeps a camera at work", "500 ms", "1 ms", "60 s"),
        share("chance that one which loses its power while it saves has its factory state", "0.1").named("loss"),
    ),
    put=_put,
)
