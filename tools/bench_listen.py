"""Speed of `busim listen` on captures (called by tools/bench): requests and replies paired, timed and counted.

MB are bytes that passed on the wire, requests and replies, or those of a file, with its time stamps and packet heads.
Each exchange costs about the same, so short messages give fewer MB on the wire. In a real capture most replies repeat
the one before.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Iterable
from pathlib import Path
from typing import IO

sys.path.insert(0, str(Path(__file__).parent))
from bench import rounds, say

from busim.onsite.captures import BOTH, FROM_LINE, Piece, open_capture
from busim.onsite.listening import Survey
from busim.plan import read
from busim.protocols import READ, Reply, Request, find
from busim.recording.exports import to_pcapng
from busim.recording.trace import open_trace
from busim.runtime.session import Run

RTU = find("modbus-rtu")
HALL = Path(__file__).parent.parent / "scenarios" / "climbing-hall" / "plan.yaml"


def polled(registers: int, *, changing: bool) -> list[Piece]:
    """20,000 reads of eight cameras; `changing`: every reply has values of its own."""
    pieces = []
    for n in range(20_000):
        request, first = Request(n % 8 + 1, READ, 0, registers), n if changing else 0
        reply = Reply(request.address, READ, 0, tuple(range(first, first + registers)))
        pieces += [
            Piece(10_000_000 * n, BOTH, RTU.encode_request(request)),
            Piece(10_000_000 * n + 5_000_000, BOTH, RTU.encode_reply(reply)),
        ]
    return pieces


def rate(pieces: Iterable[Piece]) -> float:
    """MB per CPU second of a survey."""
    survey = Survey(RTU)
    began = time.process_time()
    survey.take(pieces)
    return survey.overheard.bytes / (time.process_time() - began) / 1e6


def listen(count: int) -> None:
    """Pieces overheard, and a capture of the climbing hall read from its file too."""
    for registers in (1, 10, 40):
        for what, changing in (("of new values", True), ("repeated", False)):
            pieces = polled(registers, changing=changing)
            rates = [rate(pieces) for _ in rounds(count)]
            say(f"MB on the wire per CPU second, reads of {registers}, replies {what}", rates, "5", "listen")
    with tempfile.TemporaryDirectory() as folder:
        run = Run(read(HALL), 1, trace=f"{folder}/hall.busim")
        run.advance(60 * 10**9)
        run.finish()
        with open_trace(f"{folder}/hall.busim") as trace:
            to_pcapng(trace, f"{folder}/line.pcapng", "boulder line")
        with open_capture(f"{folder}/line.pcapng") as capture, open(f"{folder}/line.csv", "w") as file:
            passed = logged(capture, file)
        for form in ("pcapng", "csv"):
            path, rates = f"{folder}/line.{form}", []
            for _ in rounds(count):
                with open_capture(path) as capture:
                    rates.append(rate(capture))
            of_file = [one * Path(path).stat().st_size / passed for one in rates]
            say(f"MB on the wire per CPU second, boulder line out of {form}", rates, "none", "listen")
            say(f"MB of the file per CPU second, boulder line out of {form}", of_file, "5", "listen")


def logged(pieces: Iterable[Piece], file: IO[str]) -> int:
    """Write a CSV as other tools log serial bytes. Returns the bytes that passed on the wire."""
    file.write("time,direction,data\n")
    passed = 0
    for piece in pieces:
        file.write(f"{piece.at / 1e9:.6f},{'rx' if piece.way == FROM_LINE else 'tx'},{piece.data.hex(' ')}\n")
        passed += len(piece.data)
    return passed


if __name__ == "__main__":
    listen(int(sys.argv[1]))
