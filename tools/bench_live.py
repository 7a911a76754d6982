"""Benchmark of live replies: their lateness against that of a server that does nothing else.

    python tools/bench_live.py [--lines 8 --lines 32] [--rounds 5] [--seconds 3]

Every line is polled without pause by one client in another process, over a socket of its own: read 4 registers, 8 + 13
characters at 115200 Bd 8N1 (MODBUS has no 10 + 12), turnaround 5 ms, trace on. Against it stand two empty asyncio
servers on the same event loop, with the same number of sockets, that answer by `loop.call_later`: one after 5 ms, and
one after as long as busim takes, so that as many replies are asked of it. Lateness is measured at the client, for all
three alike: time from request to reply minus the time it had to be (for busim taken from fast time). All take turns in
each round; what counts is the ratio within a round.

A late reply mostly waits in the queue for one thread: stamps at each stage of the latest hundredth (32 lines, a busy
machine, so seen and not proven) show it behind other lines' bytes and replies. The scheduler's own events (`perf
sched`, 8 lines) show eight replies of one moment served in turn, and a client that waits for the processor of the
server that has just woken it. A reply takes about five times the processor time of an empty server's (8 lines 203 us
to 35, 32 lines 165 to 35, with their wake-ups), and the queue grows faster than that. Waking less often helps where
there are few lines (`PatientKernel.at_heard`); with 32 what was postponed stood between the replies. Giving all bytes
that a turn of the loop reads the instant at which it woke gained nothing, in turns and in a model of the queue: in
between replies are due, and take the kernel to the present.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import select
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from busim.plan import read_text
from busim.runtime.clocks import wall_loop
from busim.runtime.session import Run

# MODBUS Application Protocol V1.1b3, 6.3: read 4 registers from 0
REQUEST = bytes.fromhex("01 03 00 00 00 04 44 09")
REPLY_LENGTH = 13
TURNAROUND = 5_000_000  # ns
WARM_UP = 0.5  # seconds that do not count


def plan_of(lines: int) -> str:
    """Lines with one converter and one camera each; nothing on the way takes a time that varies."""
    text = ["busim: 1", "name: live bench", "lines:"]
    for n in range(lines):
        text += [
            f"  - name: line {n}",
            "    baud: 115200 Bd",
            "    format: 8N1",
            "    protocol: modbus-rtu",
            "    order:",
        ]
        text += ["      - terminator", f"      - converter: box {n}", f"      - {{camera: camera {n}, after: 10 m}}"]
        text.append("      - terminator")
    text.append("converters:")
    for n in range(lines):
        text.append(f'  - {{name: box {n}, endpoint: "203.0.113.{n + 1}:15001", packing: {{length: 13, idle: 1 ms}}, '
                    "latency: 100 us}")  # fmt: skip
    text.append("cameras:")
    text += [f"  - {{name: camera {n}, bus_id: 1, turnaround: 5 ms}}" for n in range(lines)]
    return "\n".join(text) + "\n"


def exact() -> int:
    """Time from a request at the converter to its reply there in fast time, ns."""
    run = Run(read_text(plan_of(1)), 1, played=(), watched=True)
    port = run.world.converters["box 0"]
    got = bytearray()
    came: list[int] = []

    def deliver(_: int, data: bytes) -> None:
        got.extend(data)
        came.append(run.world.kernel.now)

    port.open(1, deliver)
    port.chunk(1, REQUEST)
    run.advance(1_000_000_000)
    assert len(got) == REPLY_LENGTH, "the camera did not answer"
    return came[-1]


# -- the client, in a process of its own -------------------------------------------------------------------------


def client(seconds: float, due: int, places: list[tuple[str, int]]) -> dict[str, float]:
    """Poll without pause; return the lateness of replies, ns."""
    poll = select.epoll()
    sockets: dict[int, socket.socket] = {}
    sent: dict[int, int] = {}
    held: dict[int, int] = {}
    late: list[int] = []
    for place in places:
        one = socket.create_connection(place)
        one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        sockets[one.fileno()] = one
        held[one.fileno()] = 0
        poll.register(one.fileno(), select.EPOLLIN)
    now = time.monotonic_ns()
    counts_from, end = now + round(WARM_UP * 1e9), now + round((WARM_UP + seconds) * 1e9)
    for number, one in sockets.items():
        sent[number] = time.monotonic_ns()
        one.send(REQUEST)
    while now < end:
        for number, _ in poll.poll(1.0):
            one = sockets[number]
            held[number] += len(one.recv(4096))
            now = time.monotonic_ns()
            if held[number] >= REPLY_LENGTH:
                if now > counts_from:
                    late.append(now - sent[number] - due)
                held[number] = 0
                sent[number] = time.monotonic_ns()
                one.send(REQUEST)
    late.sort()
    return {
        "count": len(late),
        "p50": late[len(late) // 2],
        "p99": late[len(late) * 99 // 100],
        "max": late[-1],
    }


# -- the empty server, in a process of its own -------------------------------------------------------------------


class Empty(asyncio.Protocol):
    """Answers every chunk after a fixed time, without a protocol."""

    after = 0.0

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport

    def data_received(self, data: bytes) -> None:
        asyncio.get_running_loop().call_later(self.after, self._transport.write, bytes(REPLY_LENGTH))


async def empty(count: int, after: int) -> None:
    """Serve at `count` ports until killed; print the ports first."""
    Empty.after = after / 1e9
    loop = asyncio.get_running_loop()
    servers = [await loop.create_server(Empty, "127.0.0.1", 0) for _ in range(count)]
    print(json.dumps([server.sockets[0].getsockname() for server in servers]), flush=True)
    await loop.create_future()


# -- taking turns ------------------------------------------------------------------------------------------------


def start_empty(count: int, after: int) -> tuple[subprocess.Popen[str], list[list[object]]]:
    process = subprocess.Popen(
        [sys.executable, __file__, "--empty", str(count), "--after", str(after)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    return process, json.loads(process.stdout.readline())


def start_busim(count: int, folder: Path) -> tuple[subprocess.Popen[str], list[list[object]]]:
    plan, ready = folder / "plan.yaml", folder / "ready.json"
    plan.write_text(plan_of(count))
    process = subprocess.Popen(
        [
            sys.executable, "-m", "busim", "serve", str(plan), "--port", "0", "--ready", str(ready),
            "--trace", str(folder / "live.trace"),
        ],
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    while not process.stdout.readline().startswith("ready"):
        pass
    return process, [[place["host"], place["port"]] for place in json.loads(ready.read_text())["converters"].values()]


def measure(seconds: float, due: int, places: list[list[object]]) -> dict[str, float]:
    done = subprocess.run(
        [sys.executable, __file__, "--client", json.dumps([seconds, due, places])],
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    result: dict[str, float] = json.loads(done.stdout)
    return result


def compare(lines: int, rounds: int, seconds: float) -> None:
    """All sides in turn, `rounds` times; prints lateness and ratios with their spread."""
    due = exact()
    with tempfile.TemporaryDirectory() as name:
        sides = {
            "busim": (*start_busim(lines, Path(name)), due),
            "empty, 5 ms": (*start_empty(lines, TURNAROUND), TURNAROUND),
            "empty, same pace": (*start_empty(lines, due), due),
        }
        results: dict[str, list[dict[str, float]]] = {side: [] for side in sides}
        try:
            for _ in range(rounds):
                for side, (_, places, wanted) in sides.items():
                    results[side].append(measure(seconds, wanted, places))
        finally:
            for process, _, _ in sides.values():
                process.terminate()
            for process, _, _ in sides.values():
                process.communicate()
    print(f"{lines} lines, {rounds} rounds of {seconds:g} s; a reply is due after {due / 1e6:.3f} ms")
    for side, rows in results.items():
        parts = [f"{key} {_spread([row[key] / 1e3 for row in rows])} us" for key in ("p50", "p99", "max")]
        print(f"  {side:<17} late: {', '.join(parts)}; {rows[0]['count'] / seconds:.0f} replies/s")
    for side in ("empty, 5 ms", "empty, same pace"):
        pairs = zip(results["busim"], results[side], strict=True)
        ratios = [ours["p99"] / theirs["p99"] for ours, theirs in pairs]
        print(f"  p99 of busim to {side}: {_spread(ratios, 2)} (bar {1.2 if lines <= 8 else 1.4})")


def _spread(values: list[float], digits: int = 0) -> str:
    return f"{statistics.median(values):.{digits}f} ({min(values):.{digits}f}..{max(values):.{digits}f})"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--lines", type=int, action="append", help="lines polled at once; repeatable (8 and 32)")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--seconds", type=float, default=3.0, help="of each side in each round")
    parser.add_argument("--client", help=argparse.SUPPRESS)
    parser.add_argument("--empty", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--after", type=int, default=TURNAROUND, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.client:
        seconds, due, places = json.loads(options.client)
        print(json.dumps(client(seconds, due, [tuple(place) for place in places])))
    elif options.empty:
        with asyncio.Runner(loop_factory=wall_loop) as runner:
            runner.run(empty(options.empty, options.after))
    else:
        for lines in options.lines or (8, 32):
            compare(lines, options.rounds, options.seconds)


if __name__ == "__main__":
    main()
