"""The trace of a real line: bytes and exchanges as records that `view`, `report`, `compare` and `export` read.

The instants are those at which the bytes passed. A request is drawn from that instant on, a reply up to it, with the
baud that is known or assumed, and never over its neighbour: behind a converter nobody sees the wire itself.
"""

from __future__ import annotations

import json
from pathlib import Path

from busim.foundation.version import VERSION
from busim.onsite.heard.as_seen import BOX, LINE, Seen, camera_name, plan_text
from busim.onsite.heard.conversation import Exchange
from busim.recording.trace import BURST, EFFECT, EXCHANGE, INPUT, MARK, REAL, HeadValue
from busim.runtime.session import Recorder

_LINE, _BOX, _UNKNOWN = 1, 2, 3  # the numbers of the line, its converter, and whoever sends without a request
_FIRST = 4  # of the cameras
_SETTING = 1
_WAITING = 200  # rows worth a batch
_OFTEN = 500_000_000  # ns after which any rows are


class LineTrace:
    """Writes the trace at `path` of what is `seen`. `epoch`: UTC of its instant 0, ns. All methods raise UserError if
    it cannot be written.
    """

    def __init__(
        self, path: str | Path, seen: Seen, epoch: int, *, files: dict[str, str] | None = None, overwrite: bool = False
    ) -> None:
        self._seen = seen
        self._cameras: dict[int, int] = {}
        self._flushed = 0
        self._char = round(seen.format.half_bits * 10**9 / (2 * seen.baud))
        self._last: tuple[int, int, int, bytes] | None = None  # the last burst: the next may show that it was shorter
        head: dict[str, HeadValue] = {
            "busim": VERSION, "clock": REAL, "epoch": epoch, "speed": 1.0, "plan_path": "",
            "plan_text": plan_text(seen, ()), "plan_files": json.dumps(files or {}),
        }  # fmt: skip
        self._recorder = Recorder(path, head, overwrite=overwrite, live=True)
        self._recorder.name(_LINE, "line", LINE)
        self._recorder.name(_BOX, "converter", BOX, _LINE)
        self._recorder.name(_UNKNOWN, "sender", "unknown sender", _LINE)
        self._recorder.setting(_SETTING, seen.baud, seen.format)

    def client(self, at: int, number: int, what: str) -> None:
        """A controller came (`open`) or went (`close`, `reset`)."""
        self._recorder.append((INPUT, at, _BOX, number, what, b""))

    def mark(self, at: int, text: str) -> None:
        """Set a mark."""
        self._recorder.append((MARK, at, text))

    def effect(self, at: int, what: str, text: str) -> None:
        """The tap itself changed something."""
        self._recorder.append((EFFECT, at, _BOX, what, text))

    def sent(self, data: bytes, at: int) -> None:
        """Bytes to the line passed at `at` ns."""
        self._burst(_BOX, at, at, at + self._char * len(data), data)

    def heard(self, data: bytes, at: int, address: int | None) -> None:
        """Bytes from the line had passed at `at` ns, in answer to a request to `address`, if there was one."""
        driver = _UNKNOWN if address is None else self._camera(address)
        self._burst(driver, at, max(0, at - self._char * len(data)), at, data)

    def exchange(self, one: Exchange) -> None:
        """An exchange is over."""
        request = one.request
        work = request.verb
        if work == "read":
            last = request.key + request.size - 1
            work = f"read {request.key}" if last <= request.key else f"read {request.key}..{last}"
        broadcast = one.outcome == "unanswered"
        camera = 0 if broadcast else self._camera(request.address)
        self._recorder.append(
            (
                EXCHANGE, _LINE, _BOX, camera, request.address, "foreign", work, one.attempt, one.wanted, one.sent,
                one.ended, one.ended, one.outcome, -1, 0,
            )
        )  # fmt: skip

    def flush(self, at: int) -> None:
        """It is `at` ns: hand rows to the writer, if they are worth a batch. Never waits for the disk."""
        if self._last is not None and self._last[2] < at:
            self._settle()
        if self._recorder.waiting() >= _WAITING or at - self._flushed > _OFTEN:
            self._flushed = at
            self._recorder.flush()

    def close(self, at: int) -> None:
        """The trace ends at `at` ns, complete."""
        self._settle()
        self._recorder.close(at)

    def _burst(self, driver: int, at: int, start: int, end: int, data: bytes) -> None:
        """Bytes passed at `at` ns. If the one before is drawn beyond that, it was shorter: the baud is assumed."""
        if self._last is not None:
            number, since, until, before = self._last
            until = max(since, min(until, at))
            start = max(start, until)
            self._last = number, since, until, before
        self._settle()
        self._last = driver, start, max(start, end), data

    def _settle(self) -> None:
        if self._last is not None:
            driver, start, end, data = self._last
            self._recorder.append((BURST, _LINE, driver, start, end, _SETTING, data, 0))
            self._last = None

    def _camera(self, address: int) -> int:
        number = self._cameras.get(address)
        if number is None:
            number = self._cameras[address] = _FIRST + len(self._cameras)
            self._recorder.name(number, "camera", camera_name(address), _LINE)
            self._recorder.head("plan_text", plan_text(self._seen, self._cameras))
        return number
