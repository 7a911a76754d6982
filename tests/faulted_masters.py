"""For each fault of the catalogue a naive master, or a naive connection, and the judge that finds it by this fault.

The naive ones are mostly the broken masters of `busim.testing`; those that serve one fault alone stand here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fuzzed_halls import HALLS, MOVES, MS, STEPS

from busim.plan import Plan, read_text
from busim.protocols import WRITE, Request, find
from busim.simulator.masters import Master, Step
from busim.testing.broken_links import BROKEN_LINKS
from busim.testing.broken_masters import BROKEN
from busim.testing.fuzzing import Action
from busim.testing.fuzzing.linked import Link

_UNHEARD = 7 * MS  # a request of 8 characters takes 2.1 ms, and a reply may begin 1.75 ms later


class FlushesAfterSending(Master):
    """Clears its input when it believes that it has sent; bytes that came before are lost."""

    def heard(self, data: bytes, at: int, *, flagged: bool = False) -> Step:
        if at < self._sent + _UNHEARD:
            return (None, None)
        return super().heard(data, at, flagged=flagged)


class LooksAtTheClockFirst(Master):
    """Reads its input only after the time-out, which is too late."""

    def heard(self, data: bytes, at: int, *, flagged: bool = False) -> Step:
        if self._task is not None and at >= self._until:
            return self._ended(at, "time-out")
        return super().heard(data, at, flagged=flagged)


class WritesInPieces(Link):
    """Sends the head of a request first, and then the rest."""

    def take(self, data: bytes, client: int = 0) -> None:
        super().take(data[:2])
        super().take(data[2:])


class StaysOnASilentLink(Link):
    """Never gives up a connection without data."""

    def _look(self) -> None: ...


MASTERS: dict[str, type[Master]] = {name: one.make for name, one in BROKEN.items()} | {
    "flushes-after-sending": FlushesAfterSending,
    "looks-at-the-clock-first": LooksAtTheClockFirst,
}
LINKS: dict[str, type[Link]] = {name: one.make for name, one in BROKEN_LINKS.items()} | {
    "writes-in-pieces": WritesInPieces,
    "stays-on-a-silent-link": StaysOnASilentLink,
}


@dataclass(frozen=True, slots=True)
class Shown:
    """The way in which a fault shows that a master is naive. `more`: its parameters as in a plan; `naive`: a name of
    `MASTERS` or `LINKS`; `beside`: other faults; times in ms.
    """

    naive: str
    judge: str
    more: str = ""
    hall: str = ""
    at: int = 1500
    length: int = 1500
    run: int = 4000
    beside: tuple[str, ...] = ()
    moves: tuple[Action, ...] = MOVES
    spares_the_good: bool = False  # the fault harms only a wrong master


def boxed(hall: str) -> Plan:
    """The cameras of a hall behind a converter."""
    text = HALLS[hall].source.replace("- master: desk", "- converter: box").replace("on: [wall]", "through: [box]")
    box = "converters:\n  - {name: box, endpoint: '192.0.2.1:4001'}\n"
    return read_text(text.replace("masters:", box + "masters:"), files={"./steps.yaml": STEPS})


PLANS = {**HALLS, "boxed": boxed("rates"), "boxed-seldom": boxed("seldom")}
AT = {"camera": "c2", "converter": "box", "line": "wall"}


def with_faults(hall: str, entries: list[str]) -> Plan:
    """A hall with faults, each `{...}`."""
    faults = "".join(f"  - {entry}\n" for entry in entries)
    return read_text(f"{PLANS[hall].source}\nfaults:\n{faults}", files={"./steps.yaml": STEPS})


def master_of(naive: str) -> dict[str, Any]:
    """Its factory for `run_pure`: a master, or the good master over a naive connection."""
    return {"make": MASTERS[naive]} if naive in MASTERS else {"link": LINKS[naive]}


DROPS = "{fault: dropped-connections, on: box, at: 1500 ms, for: 200 ms, rate: 10 /s}"
STOPS = tuple(move._replace(value=0) for move in MOVES)
# a value whose acknowledgement ends with a zero byte: V1.1b3, 6.6 (the reply to a write repeats it)
_ZERO = next(v for v in range(1, 900) if find("modbus-rtu").encode_request(Request(2, WRITE, 0, 1, (v,)))[-1] == 0)
TRIMMED = tuple(sorted((*MOVES, *(move._replace(camera="c2", value=_ZERO) for move in MOVES[:8]))))

SHOWN: dict[str, Shown] = {
    # the pair of wires
    "idle-noise": Shown("never-resynchronises", "recovery", "rate: 20 /s"),
    "ghost-byte": Shown("never-resynchronises", "recovery"),
    "bit-errors": Shown("first-bytes-are-mine", "nothing-corrupt", "per_bit: 0.003"),
    "overloaded-line": Shown("retry-storm", "bounded-work", "terminators: 14"),
    "swapped-pair": Shown("retry-storm", "bounded-work"),
    "ground-shift": Shown("never-resynchronises", "recovery", "rate: 1 /s, length: 100 ms"),
    "noise-bursts": Shown("never-resynchronises", "recovery", "rate: 4 /s, hits: 0.5"),
    "stuck-transmitter": Shown("hasty-offline", "truthful-status", length=800),
    "flapping-camera": Shown("hasty-offline", "truthful-status", "period: 500 ms"),
    "sagging-supply": Shown("hasty-offline", "truthful-status", "ohms: 0.2, active: 2"),
    "hot-plug": Shown("hasty-offline", "truthful-status"),
    "clock-error": Shown("late-reply-taken", "attribution", "ppm: 60000"),
    "cut-cable": Shown("retry-storm", "bounded-work"),
    "intermittent-joint": Shown("retry-storm", "bounded-work", "rate: 1 /s, length: 500 ms", length=4000, run=6000),
    # direction control and turnaround
    "driver-released-early": Shown("never-resynchronises", "recovery"),
    "driver-enabled-late": Shown("never-resynchronises", "recovery", "by: 60 us"),
    "driver-held-long": Shown("late-reply-taken", "attribution", "by: 12 ms"),
    "request-cut-short": Shown("retry-storm", "bounded-work"),
    "request-head-lost": Shown("retry-storm", "bounded-work"),
    "request-driver-held": Shown("forgets-commands", "command-latency", "by: 12 ms"),
    "echo": Shown("first-bytes-are-mine", "no-silent-success", "part: tail"),
    "direction-jitter": Shown("forgets-commands", "command-latency"),
    "early-reply": Shown("flushes-after-sending", "recovery", "turnaround: 0"),
    "gaps-in-frame": Shown("retry-storm", "bounded-work", "gap: 5 ms"),
    # line settings
    "wrong-baud": Shown("retry-storm", "bounded-work"),
    "wrong-port-settings": Shown("forgets-commands", "command-latency"),
    "wrong-format": Shown("retry-storm", "bounded-work", "format: 8E1"),
    "lost-bytes": Shown("never-resynchronises", "recovery", "share: 0.05"),
    # cameras on the bus
    "wrong-id-reply": Shown("wrong-id-accepted", "nothing-corrupt"),
    "answers-any-id": Shown("first-bytes-are-mine", "nothing-corrupt"),
    "busy-camera": Shown("retry-storm", "bounded-work", "least: 200 ms"),
    "camera-reboot": Shown("retry-storm", "bounded-work"),
    "needs-quiet": Shown("hasty-offline", "truthful-status", "quiet: 6 ms", hall="restless"),
    "confused-bystander": Shown(
        "hasty-offline", "truthful-status", length=4000, run=6000,
        beside=("{fault: dead-camera, on: c1, at: 1500 ms, for: 8 s}",),
    ),
    "stuck-parser": Shown(
        "retry-storm", "bounded-work", length=3000, run=6000,
        beside=("{fault: bit-errors, on: wall, at: 1500 ms, for: 2 s, per_bit: 0.002}",),
    ),
    "unsolicited-message": Shown("never-resynchronises", "recovery", "rate: 10 /s"),
    "double-reply": Shown("never-resynchronises", "recovery", "later: 12 ms"),
    "malformed-reply": Shown("never-resynchronises", "recovery", "how: short"),
    "first-reply-fails": Shown("hasty-offline", "truthful-status", "idle: 50 ms"),
    "factory-reset": Shown("hasty-offline", "truthful-status"),
    # converter and network
    "slow-converter": Shown("forgets-commands", "command-latency", "by: 60 ms, way: to-net"),
    "merged-stream": Shown("forgets-commands", "command-latency", "by: 100 ms, share: 0.5"),
    "split-stream": Shown("checksum-ignored", "recovery", "how: header, pause: 1 ms"),
    "second-client": Shown("never-resynchronises", "split-invariance", "rate: 10 /s"),
    "refused-connections": Shown(
        "connects-in-a-storm", "link-hygiene", length=6000, run=16000, beside=(DROPS,), moves=()
    ),
    "ignored-clients": Shown("stays-on-a-silent-link", "recovery", length=4000, run=20000, beside=(DROPS,), moves=()),
    "dropped-connections": Shown("never-connects-again", "recovery", "rate: 1 /s", length=3000, run=12000, moves=()),
    "stale-bytes": Shown(
        "never-resynchronises", "recovery", "content: noise, bytes: 30", at=0, length=10000, run=12000, beside=(DROPS,)
    ),
    "cut-reply": Shown("never-resynchronises", "split-invariance", "share: 0.05", length=5000, run=12000, moves=()),
    "injected-bytes": Shown("first-bytes-are-mine", "nothing-corrupt", "period: 50 ms"),
    "translation-mode": Shown("forgets-commands", "command-latency", "way: to-net"),
    "busy-gateway": Shown("first-bytes-are-mine", "no-silent-success", "how: target-failed, share: 0.3, wait: 30 ms"),
    "slow-client": Shown("forgets-commands", "command-latency", "stall: 200 ms"),
    "converter-reboot": Shown("connects-in-a-storm", "link-hygiene", "down: 3 s", run=16000, moves=()),
    "delayed-ack": Shown("writes-in-pieces", "attribution", spares_the_good=True),
    "wireless-link": Shown("never-probes", "recovery", "bad: 400 ms, good_to_bad: 0.2", run=10_000),
    "trimmed-zeros": Shown("repeats-for-ever", "bounded-work", moves=TRIMMED),
    "usb-latency": Shown("repeats-for-ever", "bounded-work"),
    "unplugged-adapter": Shown("never-connects-again", "recovery", "back: 3 s", run=16000, moves=()),
    "reset-on-open": Shown(
        "success-before-acknowledge", "attribution", "boot: 600 ms", at=0, length=8000, run=8000, beside=(DROPS,)
    ),
    "second-reader": Shown("forgets-commands", "command-latency"),
    # the master, from outside
    "late-reply": Shown("late-reply-taken", "attribution", "by: 25 ms"),
    "dead-camera": Shown("retry-storm", "bounded-work"),
    "second-master": Shown("first-bytes-are-mine", "nothing-corrupt", "rate: 10 /s"),
    "lost-reply": Shown("hasty-offline", "truthful-status"),
    "damaged-reply": Shown("checksum-ignored", "nothing-corrupt"),
    "undetected-damage": Shown("first-bytes-are-mine", "no-silent-success"),
    "stalled-host": Shown("looks-at-the-clock-first", "split-invariance", "rate: 5 /s", length=2500),
    "lost-stop": Shown("success-before-acknowledge", "no-silent-success", moves=STOPS),
}  # fmt: skip
