"""Blocks at rising baud rates from each end to the other, until one of them is not clean.

The cameras are off the pair and the supplies are off: the caller has said so and asked. Bytes while nobody sends end
the test before it drives the pair.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.onsite.line_test.bounds import bound
from busim.onsite.line_test.pattern import VALUES, Tally, block, compared, reversed_pair
from busim.onsite.line_test.signs import FAILS, HOLDS, INCONCLUSIVE, Sign
from busim.onsite.targets import Link

SCHEMA = 1
RATES = (9600, 19200, 38400, 57600, 115200, 230400)
_SLACK = 400_000_000  # ns beyond the wire time until bytes count as lost: adapters and boxes keep them for a while
_BREAK = 2  # zero bytes that an idle pair with exchanged wires makes
_QUIET = 60_000_000  # ns after the last expected byte in which added ones still come


@dataclass(frozen=True, slots=True)
class Run:
    """Blocks at one baud in one direction (`way`)."""

    baud: int
    way: str
    tally: Tally

    @property
    def clean(self) -> bool:
        return not self.tally.errors

    @property
    def rate(self) -> tuple[float, float]:
        """Bounds of the error rate at 95 %."""
        return bound(self.tally.errors, self.tally.bits)


@dataclass(frozen=True, slots=True)
class CableTest:
    """`signs` of the pair, and the `runs` in order. `echo`: names of the ends that hear themselves."""

    signs: tuple[Sign, ...]
    runs: tuple[Run, ...]
    echo: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())

    @property
    def good_to(self) -> int | None:
        """The highest baud up to which every run was clean, None if the first was not."""
        good = None
        for baud in dict.fromkeys(run.baud for run in self.runs):
            if not all(run.clean for run in self.runs if run.baud == baud):
                break
            good = baud
        return good

    @property
    def bits(self) -> int:
        """Bits of each direction at that baud, the fewer of both."""
        return min((run.tally.bits for run in self.runs if run.baud == self.good_to), default=0)

    @property
    def holds(self) -> bool:
        return self.good_to is not None and all(sign.state != FAILS for sign in self.signs)

    def as_json(self) -> dict[str, Any]:
        """JSON form; rates per bit, measured."""
        return {
            "schema": SCHEMA, "good_to_baud": self.good_to, "bits_without_error": self.bits, "holds": self.holds,
            "echo": list(self.echo), "notes": list(self.notes),
            "signs": [{"what": one.what, "state": one.state, "said": one.said} for one in self.signs],
            "runs": [
                {"baud": run.baud, "way": run.way, "bits": run.tally.bits, "errors": run.tally.errors,
                 "flipped": run.tally.flipped, "lost": run.tally.lost, "added": run.tally.added,
                 "rate_at_least": run.rate[0], "rate_at_most": run.rate[1]}
                for run in self.runs
            ],
        }  # fmt: skip


def prove_cable(
    near: Link, far: Link, format: CharFormat, *, rates: Sequence[int] = RATES, bits: int = 50_000,
    listening: int = 2_000_000_000, told: Callable[[Run], None] = lambda _: None,
) -> CableTest:  # fmt: skip
    """Test the pair between two adapters. `bits` per baud and direction at least; `listening`: ns before anything;
    `told` gets each run at once. Raises UserError if a link fails.
    """
    signs = [_idle((near, far), listening)]
    if signs[0].state == FAILS:
        return CableTest(tuple(signs), ())
    bench = _Bench(format)
    runs: list[Run] = []
    for baud in rates:
        for link in (near, far):
            link.set(baud)
        for source, sink in ((near, far), (far, near)):
            runs.append(bench.run(source, sink, baud, bits))
            told(runs[-1])
        if not all(run.clean for run in runs[-2:]):
            break
    signs += [bench.connection(runs), bench.polarity()]
    return CableTest(tuple(signs), tuple(runs), tuple(sorted(bench.echo)), (*near.notes, *far.notes))


def loop_back(
    link: Link, format: CharFormat, wires: int, person: Callable[[str], bool] | None, *,
    rates: Sequence[int] = RATES, bits: int = 50_000, listening: int = 2_000_000_000,
) -> CableTest:  # fmt: skip
    """Test a four-wire line with one adapter and a plug at the far end that joins its pairs. `person` moves the plug.

    Raises UserError on a two-wire line, without a person, and where bytes come back without the plug.
    """
    if wires != 4:
        raise UserError(
            "a loop proves nothing about a two-wire line", found=f"{wires} wires",
            expected="4 wires, a pair for each direction: on two, what comes back is the adapter's own echo",
            mend="use an adapter at each end: busim line-test NEAR FAR",
        )  # fmt: skip
    if person is None:
        raise UserError(
            "nobody is there to move the plug", found="no terminal on standard input", expected="a person at both",
            mend="run it at a terminal",
        )  # fmt: skip
    if not person("Take the loop plug off the far end, so that nothing can come back. Done?"):
        raise UserError("the plug was not taken off", mend="start again, or use an adapter at each end")
    sign = _idle((link,), listening)
    if sign.state == FAILS:
        return CableTest((sign,), ())
    bench = _Bench(format)
    link.set(rates[0])
    if bench.exchange(link, link, block(0), rates[0]):
        raise UserError(
            "bytes come back without the plug", found="the adapter's own echo, or a joined pair",
            expected="silence, or the loop proves nothing", mend="switch the echo of the adapter off, or use two",
        )  # fmt: skip
    if not person("Put the loop plug on: it joins the pair of one direction to that of the other. Done?"):
        raise UserError("the plug was not put on", mend="start again, or use an adapter at each end")
    runs: list[Run] = []
    for baud in rates:
        link.set(baud)
        runs.append(bench.run(link, link, baud, bits))
        if not runs[-1].clean:
            break
    return CableTest((sign, bench.connection(runs), bench.polarity()), tuple(runs), (), link.notes)


def _idle(links: Sequence[Link], listening: int) -> Sign:
    """Bytes while nobody sends: noise on a pair without bias, or somebody else."""
    heard = {link.name: link.hear(listening if link is links[0] else 0).data for link in links}
    for link in links[1:]:  # what came meanwhile waits in its buffer
        heard[link.name] += link.hear(_QUIET).data
    came = {name: data for name, data in heard.items() if data}
    if came and all(len(data) <= _BREAK and not any(data) for data in came.values()):
        said = f"a break at {' and '.join(came)}: exchanged wires, or no bias. The next lines tell"
        return Sign("the pair is idle while nobody sends", INCONCLUSIVE, said)
    if came:
        said = "; ".join(f"{len(data)} bytes at {name}" for name, data in came.items())
        return Sign(
            "the pair is idle while nobody sends", FAILS,
            f"{said}. Nothing was sent. Bias or terminators may be missing, or somebody else transmits",
        )  # fmt: skip
    return Sign(
        "fail-safe bias", INCONCLUSIVE,
        "no byte came while nobody sent; fail-safe receivers hide a missing bias: measure the idle pair (200 mV)",
    )  # fmt: skip


class _Bench:
    """Sends blocks and keeps what shows besides errors. `echo`: names of links that heard themselves."""

    def __init__(self, format: CharFormat) -> None:
        self._format = format
        self.echo: set[str] = set()
        self._samples: list[tuple[bytes, bytes]] = []

    def run(self, source: Link, sink: Link, baud: int, bits: int) -> Run:
        """Blocks in one direction; it ends early once half of a block is wrong."""
        tally, number = Tally(), 0
        while tally.bits < bits:
            sent = block(number)
            came = self.exchange(source, sink, sent, baud)
            if number == 0:
                self._samples.append((sent, came))
            one = compared(sent, came)
            tally, number = tally + one, number + 1
            if one.errors * 2 > VALUES:
                break
        return Run(baud, f"{source.name} to {sink.name}", tally)

    def exchange(self, source: Link, sink: Link, sent: bytes, baud: int) -> bytes:
        """Send a block; the bytes that came to the other end."""
        count = 0

        def enough(packet: Any) -> int | None:
            nonlocal count
            count += len(packet.data)
            return packet.at + _QUIET if count >= len(sent) else None

        source.send(sent)
        wire = len(sent) * self._format.half_bits * 10**9 // (2 * baud)
        came = sink.hear(wire + _SLACK, enough=enough).data
        if sink is not source and len(source.hear(_QUIET).data) * 2 > len(sent):
            self.echo.add(source.name)
        return came

    def connection(self, runs: Sequence[Run]) -> Sign:
        """Whether anything arrived at all."""
        silent = sorted({run.way for run in runs if run.tally.lost == run.tally.characters})
        if silent:
            return Sign("both ends are connected", FAILS, f"nothing arrived from {' nor from '.join(silent)}")
        return Sign("both ends are connected", HOLDS, "bytes arrived in every direction")

    def polarity(self) -> Sign:
        """Whether the two wires are exchanged somewhere between."""
        what = "the wires of the pair are not exchanged"
        if any(reversed_pair(sent, came, self._format) for sent, came in self._samples):
            return Sign(what, FAILS, "bytes arrive as inverted levels: exchange the two wires at one end")
        if any(came and compared(sent, came).errors * 4 > len(sent) for sent, came in self._samples):
            return Sign(what, INCONCLUSIVE, "too little arrived whole to tell")
        return Sign(what, HOLDS if any(came for _, came in self._samples) else INCONCLUSIVE, "bytes arrive as sent")
