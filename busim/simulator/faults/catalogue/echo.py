"""A converter hears its own characters, or a part of them."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.fault_hooks import Remove, remove_all
from busim.simulator.faults.benches import ConverterBench
from busim.simulator.faults.declaration import Fault
from busim.simulator.faults.parameters import Values, count, share, time, word
from busim.simulator.faults.passages import cover_down


def _put(bench: ConverterBench, values: Values) -> Remove:
    if values["part"] == "all" and not values["delay"] and not values["damaged"]:
        return _from_the_line(bench)

    def handle(data: bytes, pass_on: Callable[[bytes, int], None]) -> None:
        pass_on(data, 0)
        back = data if values["part"] == "all" else data[-values["bytes"] :]
        if bench.happens(values["damaged"]):
            at = bench.stream.between(0, 8 * len(back) - 1)
            back = bytes(one ^ (1 << at % 8) * (number == at // 8) for number, one in enumerate(back))
        setting = bench.station.setting
        sent = bench.kernel.now + setting.offset(len(data) * setting.halves)
        bench.kernel.at(sent + values["delay"], come_back, back)

    def come_back(data: bytes) -> None:
        bench.effect(data.hex(" "))
        bench.put_up(data)

    return cover_down(bench, handle)


def _from_the_line(bench: ConverterBench) -> Remove:
    """The receiver is never off: each character comes back from the pair, as the pair has it."""
    bench.echo(True)

    def told(own: bool) -> None:
        if own:
            bench.effect()

    return remove_all(lambda: bench.echo(False), bench.bursts(told))


FAULT = Fault(
    name="echo",
    code="D4",
    title="Echo of one's own transmission",
    on="converter",
    hook="receiver",
    wire="The converter receives its own characters from the pair and passes them to its clients: all of them, or the "
    "tail.",
    seen="The request comes back before the reply; a master may take it for the reply. A partial echo puts a few bytes "
    "before the reply.",
    parameters=(
        word("part", "what comes back", "all", "tail"),
        count("bytes", "how many bytes a tail has", "2", "1", "256"),
        time("delay", "how long after the request it comes", "0", "0", "5 ms"),
        share("chance of each echo to come back with one wrong bit, as after a collision", "0").named("damaged"),
    ),
    put=_put,
)
