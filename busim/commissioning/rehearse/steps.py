"""The steps of a commissioning: kind, line or camera, and the assumed handling time.

A step is data: generated steps, written steps and what-if steps are the same type. Time on the wire and in cameras is
simulated. The handling time of people cannot be simulated, so it is assumed and marked as such.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from busim.foundation.units import CharFormat

SECOND = 1_000_000_000

LISTEN, CONNECT, DISCONNECT, POWER, CYCLE = "listen", "connect", "disconnect", "power", "cycle"
IDENTIFY, ASSIGN, SAVE, READ_BACK = "identify", "assign", "save", "read-back"
TEST_PICTURE, BINDINGS, ROUND = "test-picture", "bindings", "round"
WAIT, MARK, LOOK = "wait", "mark", "look"
SWAP, DIAL, REPLACE = "swap", "dial", "replace"
SUPPLY, TUNE, SET_PORT = "supply", "tune", "set-port"


class Kind(NamedTuple):
    """A kind of step. `to`: "line", "camera" or "" for neither.

    `may`: optional keys, `needs`: required keys. `handling`: its field of `Assumed`, "" for none.
    """

    what: str
    to: str
    may: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    handling: str = ""


KINDS: dict[str, Kind] = {
    LISTEN: Kind("listen for a master on the line; send nothing", "line", ("for",)),
    CONNECT: Kind("plug a camera in", "camera", handling="connect"),
    POWER: Kind(
        "power a camera and wait until it has started; `on: false`: remove power", "camera", ("on",), handling="power"
    ),
    SUPPLY: Kind(
        "switch a supply on, and wait until all it feeds have started; `on: false`: off, and checked at the plug", "",
        ("on", "line"), ("supply",), "power",
    ),
    TUNE: Kind(
        "set the converter of the line to `baud` and `format`; default: to those of the line", "line",
        ("baud", "format"), handling="page",
    ),
    SET_PORT: Kind(
        "set its baud and format over the bus, in force after its next start; default: those of the line", "camera",
        ("id", "baud", "format"),
    ),
    IDENTIFY: Kind(
        "read its serial number at its current ID, `times` times, and make it show itself", "camera",
        ("bus_id", "times"), handling="look",
    ),
    ASSIGN: Kind(
        "set its bus ID and read there; `broadcast: true`: send to all (a mistake to try)", "camera",
        ("bus_id", "broadcast"),
    ),
    SAVE: Kind("save its settings", "camera", ("bus_id",)),
    CYCLE: Kind("power it off and on again, and wait until it has started", "camera", ("for",), handling="cycle"),
    READ_BACK: Kind("read its serial number at its new ID, `times` times", "camera", ("bus_id", "times")),
    TEST_PICTURE: Kind(
        "switch its test picture on, confirm it by eye, and switch it off", "camera", ("bus_id",), handling="look"
    ),
    ROUND: Kind("poll each connected camera of the line once, as the controller will", "line"),
    BINDINGS: Kind(
        "move each of its panel controls, and check that no other camera moves", "camera",
        ("bus_id", "panel"), handling="look",
    ),
    LOOK: Kind("confirm by eye what `text` describes", "", (), ("text",), "look"),
    WAIT: Kind("wait", "", (), ("for",)),
    MARK: Kind("set a mark in the trace", "", (), ("text",)),
    DISCONNECT: Kind(
        "unplug it; `through: false`: the pair ends there", "camera", ("through",), handling="connect"
    ),
    SWAP: Kind(
        "swap the two wires of the pair at it; `on: false`: swap them back", "camera", ("on",), handling="connect"
    ),
    DIAL: Kind(
        "set `baud`, `format` or both at its switches", "camera", ("baud", "format"), handling="connect"
    ),
    REPLACE: Kind(
        "replace it with a unit at factory settings, and power that", "camera", ("bus_id", "serial"),
        handling="connect",
    ),
}  # fmt: skip


_PLUGS = (
    "Switch every supply of this cable off, lock it off, and measure at the plug that it is dead before you touch it. "
    "Nothing is plugged onto or off a live pair. Supplies and mains are work for licensed people, by the local code. "
    "Ladders, lifts and harness: never alone, nobody below."
)
_MOVES = "Heads and lenses move: keep hands, hair and cables off, and people away from every head that can turn."
# kind -> the caution that is shown wherever such a step is
CAUTIONS = {
    **dict.fromkeys((CONNECT, DISCONNECT, SWAP, REPLACE, DIAL), _PLUGS),
    **dict.fromkeys(
        (SUPPLY, POWER, CYCLE),
        "Before you switch a supply on: everybody is off the cable, and all that it feeds may move or start. "
        "Before you work on it: off, locked off, measured dead. Supplies and mains are work for licensed people, by "
        "the local code. Never fit a larger fuse.",
    ),
    **dict.fromkeys((BINDINGS, IDENTIFY, TEST_PICTURE), _MOVES),
}


@dataclass(frozen=True, slots=True)
class Step:
    """One step. `do`: one of `KINDS`. `handling`: assumed handling time, ns.

    `bus_id`: None where that of the camera is meant. `length`: ns of a wait, of listening, or
    without power. `on`, `through`, `broadcast`, `times`, `text`, `baud`, `format`, `serial`, `panel`: see `KINDS`.
    `place`: line and column in the plan, where it was written there. `supply`: the supply that is switched; `along`:
    the stations that lose their power with it.
    """

    do: str
    line: str = ""
    camera: str = ""
    bus_id: int | None = None
    handling: int = 0
    length: int = 0
    times: int = 10
    on: bool = True
    through: bool = True
    broadcast: bool = False
    text: str = ""
    panel: str = ""
    baud: Fraction | None = None
    format: CharFormat | None = None
    serial: int | None = None
    place: tuple[int, int] | None = None
    supply: str = ""
    along: tuple[str, ...] = ()

    @property
    def about(self) -> str:
        """Camera, supply, line or text that the step concerns."""
        return self.camera or self.supply or self.line or self.text


@dataclass(frozen=True, slots=True)
class Assumed:
    """Handling times, ns: common practice, no source. `off`: time without power in a power cycle; `look`: one for each
    picture, lamp or panel control; `page`: for the settings of a converter."""

    connect: int = 180 * SECOND
    power: int = 30 * SECOND
    look: int = 15 * SECOND
    cycle: int = 20 * SECOND
    off: int = 5 * SECOND
    page: int = 60 * SECOND

    def handling(self, kind: str) -> int:
        """Handling time of a kind of step, ns."""
        name = KINDS[kind].handling
        return int(getattr(self, name)) if name else 0

    @property
    def sentences(self) -> tuple[str, ...]:
        """The assumptions as sentences."""
        return (
            f"{self.connect // SECOND} s to walk to each camera, plug it in and walk back, "
            f"{self.power // SECOND} s to power it, {self.cycle // SECOND} s for a power cycle, "
            f"{self.look // SECOND} s for each look, {self.page // SECOND} s for a converter's settings "
            f"(all assumed; change them under `rehearsal: assumed` in the plan)",
            f"a power cycle leaves the camera off for {self.off // SECOND} s (assumed)",
            "start-up and save times come from the camera models; lines are commissioned one after the other",
        )
