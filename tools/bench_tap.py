"""What a tap adds to a reply: round trips through `busim tap` against the same without it, in turn, on loopback.

    python tools/bench_tap.py [--rounds 5] [--count 400]

A process answers each request at once with the same reply (read 1 register, MODBUS RTU). The tap records and decodes.
Printed: of each round the 99th percentile through the tap minus the median without it, in ms; the bar is 1 ms on a
quiet machine. The same of the round trips without a tap says how quiet the machine was.
"""

from __future__ import annotations

import argparse
import contextlib
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

# MODBUS Application Protocol V1.1b3, 6.3: read 1 register from 0, and its reply
REQUEST, REPLY = bytes.fromhex("01 03 00 00 00 01 84 0A"), bytes.fromhex("01 03 02 00 07 F9 86")
_SERVER = """
import socket
listening = socket.create_server(("127.0.0.1", 0))
print(listening.getsockname()[1], flush=True)
import threading
def serve(one):
    one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    while one.recv(64):
        one.sendall(bytes.fromhex("01 03 02 00 07 F9 86"))
while True:
    threading.Thread(target=serve, args=(listening.accept()[0],), daemon=True).start()
"""


def connected(port: int) -> socket.socket:
    one = socket.create_connection(("127.0.0.1", port), timeout=10)
    one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return one


def trip(one: socket.socket) -> float:
    """ms from the request to its whole reply."""
    began = time.perf_counter_ns()
    one.sendall(REQUEST)
    got = b""
    while len(got) < len(REPLY):
        got += one.recv(64)
    return (time.perf_counter_ns() - began) / 1e6


def p99(values: list[float]) -> float:
    return sorted(values)[-(-len(values) * 99 // 100) - 1]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--count", type=int, default=400)
    args = parser.parse_args()
    busim = [sys.executable, "-c", "from busim.cli import main; main()"]
    with contextlib.ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        server = stack.enter_context(
            subprocess.Popen([sys.executable, "-c", _SERVER], stdout=subprocess.PIPE, text=True)
        )
        stack.callback(server.kill)
        assert server.stdout is not None
        port = int(server.stdout.readline())
        command = [*busim, "tap", "127.0.0.1:0", f"socket://127.0.0.1:{port}", "--yes", "--trace", str(folder / "tap")]
        tap = stack.enter_context(
            subprocess.Popen(
                command, stdout=subprocess.PIPE, stdin=subprocess.DEVNULL, stderr=subprocess.DEVNULL, text=True
            )
        )
        stack.callback(tap.send_signal, signal.SIGINT)
        assert tap.stdout is not None
        through = int(tap.stdout.readline().split(";")[0].rpartition(":")[2])
        plain, tapped = connected(port), connected(through)
        added, medians, direct, alone = [], [], [], []
        for number in range(args.rounds + 1):
            without, with_tap = [], []
            for _ in range(args.count):
                without.append(trip(plain))
                with_tap.append(trip(tapped))
            if number:  # the first one warms up
                direct.append(statistics.median(without))
                medians.append(statistics.median(with_tap) - direct[-1])
                added.append(p99(with_tap) - direct[-1])
                alone.append(p99(without) - direct[-1])
    rows = (
        ("added, median", medians), ("added, p99", added), ("the machine alone adds, p99", alone),
        ("round trip without a tap", direct),
    )  # fmt: skip
    for what, values in rows:
        spread = f"({min(values):.3f} .. {max(values):.3f}, {len(values)} rounds of {args.count})"
        sys.stdout.write(f"{what + ', ms':<30} {statistics.median(values):6.3f}  {spread}\n")


if __name__ == "__main__":
    main()
