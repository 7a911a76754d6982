"""A capture of any known form, as pieces: a trace of busim, pcapng, pcap, or CSV."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from io import BufferedReader, RawIOBase, TextIOWrapper
from pathlib import Path
from typing import IO, Any

from busim.foundation.errors import UserError
from busim.onsite.captures.blocks import PCAP, PCAPNG, pcap_packets, pcapng_packets
from busim.onsite.captures.csv_bytes import csv_pieces
from busim.onsite.captures.packets import Unwrapping
from busim.onsite.captures.pieces import BOTH, FROM_LINE, TO_LINE, Piece
from busim.recording.trace import BURST, Trace, open_trace

_new = tuple.__new__  # a named tuple's own constructor without one call
_SQLITE = b"SQLite f"
_LATEST = 1 << 62  # ns of a capture, 146 years: what is counted has 63 bits
_START = 8  # bytes that tell the form


class Capture:
    """An open capture. `form`: trace, pcapng, pcap or csv; `notes`: what was left out, known at its end."""

    def __init__(
        self, form: str, pieces: Iterable[Piece], unwrapping: Unwrapping | None = None, cut: list[str] | None = None,
        name: str = "",
    ) -> None:  # fmt: skip
        self.form = form
        self._name = name
        self._cut = [] if cut is None else cut
        self._pieces = pieces
        self._unwrapping = unwrapping
        self._back = 0

    def __iter__(self) -> Iterator[Piece]:
        """The pieces, their times counted from the first one, and never going back."""
        first, last = None, 0
        for piece in self._pieces:
            at, way, data, source, since = piece
            if first is None:
                first = at
            at -= first
            if at < last:
                self._back += 1
                at = last
            elif at > _LATEST:
                raise UserError(
                    "a time of the capture cannot be", file=self._name, found=f"{at / 1e9:.4g} s after its first one",
                    expected=f"at most {_LATEST / 1e9:.4g} s", mend="see whether its times are in another unit",
                )  # fmt: skip
            last = at
            if since >= 0:
                since = min(at, max(0, since - first))
            yield _new(Piece, (at, way, data, source, since))

    @property
    def notes(self) -> list[str]:
        """Sentences about what was not read."""
        told = list(self._cut)
        if self._back:
            times = "1 time goes back: its" if self._back == 1 else f"{self._back} times go back: their"
            told.append(f"{times} bytes are taken to have come with those before them")
        if self._unwrapping is not None:
            if self._unwrapping.skipped:
                told.append(f"{self._unwrapping.skipped} packets are of another kind")
            if self._unwrapping.holes:
                told.append(f"{self._unwrapping.holes} times bytes are missing: the capture lost packets")
        return told


@contextmanager
def open_capture(path: str, *, port: int | None = None, line: str | None = None) -> Iterator[Capture]:
    """Open a capture; `-` is standard input. `port`: of the converter, in captures of a network; `line`: of a trace.

    Raises UserError if it cannot be read, now or later.
    """
    if path != "-" and _starts(path) == _SQLITE:
        with open_trace(path) as trace:
            yield Capture("trace", _bursts(trace, line))
        return
    try:
        with _opened(path) as file:
            start = file.read(_START)
            yield _read(file, path, start, port, line)
    except OSError as error:
        raise UserError(
            "the capture cannot be read", file=path, found=error.strerror or str(error), mend="check the path"
        ) from error


def _starts(path: str) -> bytes:
    """The first bytes of a regular file; a pipe has none to look at twice."""
    try:
        if not Path(path).is_file():
            return b""
        with open(path, "rb") as file:
            return file.read(_START)
    except OSError:
        return b""


@contextmanager
def _opened(path: str) -> Iterator[IO[bytes]]:
    if path == "-":
        yield sys.stdin.buffer
        return
    with open(path, "rb") as file:
        yield file


class _Ahead(RawIOBase):
    """A stream whose first bytes were read already."""

    def __init__(self, start: bytes, file: IO[bytes]) -> None:
        self._start = start
        self._file = file

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        data = self._start or self._file.read1(len(buffer))  # type: ignore[attr-defined]
        piece = data[: len(buffer)]
        self._start = data[len(piece) :]
        buffer[: len(piece)] = piece
        return len(piece)


def _read(file: IO[bytes], path: str, start: bytes, port: int | None, line: str | None) -> Capture:
    if start[:4] == PCAPNG or start[:4] in PCAP:
        unwrapping, cut = Unwrapping(port), list[str]()
        form, read = ("pcapng", pcapng_packets) if start[:4] == PCAPNG else ("pcap", pcap_packets)
        return Capture(form, unwrapping.pieces(read(file, path, start, cut)), unwrapping, cut, path)
    if not start or b"\0" in start:
        raise UserError(
            "this is no capture", file=path, found=repr(start)[:60] if start else "an empty file",
            expected="a trace of busim, pcapng, pcap, or CSV with times and bytes", mend="give one of these",
        )  # fmt: skip
    text = TextIOWrapper(BufferedReader(_Ahead(start, file)), encoding="utf-8-sig", errors="replace", newline="")
    return Capture("csv", csv_pieces(text, path, line), name=path)


def _bursts(trace: Trace, line: str | None) -> Iterator[Piece]:
    """The bursts of one line. Raises UserError for an unknown name, or without one where there are several."""
    lines = {name.name: number for number, name in trace.names.items() if name.kind == "line"}
    chosen = next(iter(lines), None) if line is None and len(lines) == 1 else line
    if chosen not in lines:
        raise UserError(
            "which line of the trace?" if line is None else "the trace has no such line", file=trace.path,
            field="--line", found="no --line" if line is None else repr(line),
            expected=" or ".join(map(repr, lines))[:300] or "a trace with lines", mend="name one with --line",
        )  # fmt: skip
    kinds = {number: name.kind for number, name in trace.names.items()}
    ways = {"camera": FROM_LINE, "converter": TO_LINE, "master": TO_LINE}
    for _, _, driver, start, end, _, data, _ in trace.records(BURST, line=lines[chosen], by_time=True):
        if data:
            name = trace.names.get(driver)
            yield Piece(end, ways.get(kinds.get(driver, ""), BOTH), data, "" if name is None else name.name, start)
