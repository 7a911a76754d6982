"""What a bus scan gives: facts that the laptop learned, and apart from them facts that only the emulator knows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from busim.commissioning.bus_scan.following import OthersAsk
from busim.commissioning.scan_methods import Checked, Quiet

SCHEMA = 1


@dataclass(frozen=True, slots=True)
class Row:
    """A camera as the laptop sees it. `bus_id`, `serial`: received (serial None: unknown; from `scan` its low 16 bits).

    `model`: from the plan, by serial number, "" if none fits. `doubt`: why the ID may be shared; `sure`: True if two
    cameras were seen, False if a second one cannot be excluded. `where`: camera and position, known to the emulator.
    """

    bus_id: int
    serial: int | None
    model: str
    doubt: str
    sure: bool
    where: str


@dataclass(frozen=True, slots=True)
class Unseen:
    """A planned camera that was not found. `metres` from the start of the line; `present` False: planned as absent."""

    name: str
    bus_id: int
    serial: int
    place: str
    metres: float
    present: bool


@dataclass(frozen=True, slots=True)
class Way:
    """One way to find the cameras. `best`, `mean`, `most`: computed ns for the planned cameras.

    `took`: simulated ns, None if the way was stopped or is not available (`missing`: why). `hidden`: powered cameras of
    the emulator that it did not find.
    """

    name: str
    best: float = 0.0
    mean: float = 0.0
    most: float = 0.0
    took: int | None = None
    questions: int = 0
    found: int = 0
    hidden: tuple[str, ...] = ()
    missing: str = ""


@dataclass(frozen=True, slots=True)
class BusScan:
    """Result of a bus scan. `masters`: masters that ran; `quiet`: result of listening from `quiet_at` ns on.

    If that was not safe, nothing was sent and the rest is empty. `polled`: bus IDs heard; `others`: a master that began
    to poll during the scan; `advice`: the best way here; `checked`: ns spent on closer looks at single IDs; `unseen`:
    cameras of the plan that were not found.
    """

    line: str
    seed: int
    masters: tuple[str, ...]
    listening: int
    why: str
    quiet: Quiet
    quiet_at: int
    polled: tuple[int, ...]
    others: OthersAsk | None = None
    way: str = ""
    rows: tuple[Row, ...] = ()
    looks: tuple[Checked, ...] = ()
    checked: int = 0
    ways: tuple[Way, ...] = ()
    advice: str = ""
    unseen: tuple[Unseen, ...] = ()

    @property
    def ok(self) -> bool:
        """No other master polls, no two cameras were seen at one ID, and no camera that should be there is missing."""
        quiet = self.quiet.safe and self.others is None
        return quiet and not any(row.sure for row in self.rows) and not any(one.present for one in self.unseen)

    def as_json(self) -> dict[str, Any]:
        """JSON form; times in seconds."""
        return {
            "schema": SCHEMA, "emulated": True, "line": self.line, "seed": self.seed,
            "masters_running": list(self.masters),
            "listened": {
                "seconds": self.listening / 1e9, "why": self.why, "safe": self.quiet.safe,
                "bytes": self.quiet.heard[:64].hex(" "), "count": len(self.quiet.heard),
                "first_after": None if self.quiet.at is None else self.quiet.at / 1e9, "bus_ids": list(self.polled),
            },
            "others": None if self.others is None else self.others.at / 1e9,
            "way": self.way,
            "found": [
                {"bus_id": row.bus_id, "serial": row.serial, "model_planned": row.model, "duplicate": row.sure,
                 "doubt": row.doubt, "known_to_the_emulator": row.where}
                for row in self.rows
            ],
            "not_found": [
                {"camera": one.name, "bus_id_planned": one.bus_id, "serial_planned": one.serial or None,
                 "place": one.place, "at_metres": one.metres, "present_planned": one.present}
                for one in self.unseen
            ],
            "looks": [
                {"bus_id": look.bus_id, "serials": list(look.serials), "seen": list(look.seen), "proven": look.proven}
                for look in self.looks
            ],
            "looks_seconds_simulated": self.checked / 1e9,
            "ways": [
                {"way": way.name, "missing": way.missing,
                 "seconds_computed": {"best": way.best / 1e9, "mean": way.mean / 1e9, "most": way.most / 1e9},
                 "seconds_simulated": None if way.took is None else way.took / 1e9, "questions": way.questions,
                 "found": way.found, "hidden_known_to_the_emulator": list(way.hidden)}
                for way in self.ways
            ],
            "advice": self.advice,
        }  # fmt: skip
