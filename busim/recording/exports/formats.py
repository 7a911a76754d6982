"""The formats of exports, by name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from busim.recording.exports.pcapng import pcapng_command, to_pcapng
from busim.recording.exports.vcd import to_vcd, vcd_command
from busim.recording.trace import Trace


class Write(Protocol):
    """Writes a trace, or one line of it, to a file, as heard `at` a station. Raises UserError."""

    def __call__(
        self, trace: Trace, path: str | Path, line: str | None = None, *, at: str | None = None, overwrite: bool = False
    ) -> None: ...


@dataclass(frozen=True, slots=True)
class Format:
    """`suffix` of its files; `command(trace, path, line, at)`: a command of another program that reads the file."""

    suffix: str
    write: Write
    command: Callable[[Trace, str | Path, str | None, str | None], str]


FORMATS = {
    "vcd": Format(".vcd", to_vcd, vcd_command),
    "pcapng": Format(".pcapng", to_pcapng, pcapng_command),
}
