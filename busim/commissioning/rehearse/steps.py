"""The steps of a commissioning: what is done, to what, and how long hands take for it.

A step is data, so that those made from a plan, those written in one and those of a what-if are the same thing. How long
the wire and the cameras take is simulated; how long people take nobody can simulate, so it is assumed, and said so.
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


class Kind(NamedTuple):
    """A kind of step: what it is, whether it is done to a `line`, a `camera` or nothing.

    `may`: what else may be said of it, `needs`: what has to be. `hands`: the field of `Assumed` with how long hands
    take, "" for not at all.
    """

    what: str
    to: str
    may: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    hands: str = ""


KINDS: dict[str, Kind] = {
    LISTEN: Kind("hear whether somebody asks on the line already; nothing is sent", "line", ("for",)),
    CONNECT: Kind("put the plug of a camera in", "camera", hands="connect"),
    POWER: Kind(
        "give a camera power and wait until it has started; `on: false`: take it away", "camera", ("on",), hands="power"
    ),
    IDENTIFY: Kind(
        "read its serial number where it should answer, `times` times, and let it show itself", "camera",
        ("id", "times"), hands="look",
    ),
    ASSIGN: Kind(
        "give it its bus ID, and ask there; `broadcast: true`: sent to all, as it must not be", "camera",
        ("id", "broadcast"),
    ),
    SAVE: Kind("have it keep what was set", "camera", ("id",)),
    CYCLE: Kind("switch it off and on again, and wait until it has started", "camera", ("for",), hands="cycle"),
    READ_BACK: Kind("read its serial number at its ID `times` times", "camera", ("id", "times")),
    TEST_PICTURE: Kind(
        "switch its test picture on, have it looked for, and switch it off again", "camera", ("id",), hands="look"
    ),
    ROUND: Kind("ask every connected camera of the line once, as the controller will", "line"),
    BINDINGS: Kind(
        "move each control that a panel has for it, and see that this camera moves and no other", "camera",
        ("id", "panel"), hands="look",
    ),
    LOOK: Kind("have somebody confirm by eye what `text` says", "", (), ("text",), "look"),
    WAIT: Kind("let time pass", "", (), ("for",)),
    MARK: Kind("set a mark in the trace", "", (), ("text",)),
    DISCONNECT: Kind(
        "take its plug out; `through: false`: the pair does not go on past it", "camera", ("through",), hands="connect"
    ),
    SWAP: Kind("swap the two wires of the pair at it; `on: false`: put them right", "camera", ("on",), hands="connect"),
    DIAL: Kind(
        "set its port by its switches: `baud`, `format` or both", "camera", ("baud", "format"), hands="connect"
    ),
    REPLACE: Kind(
        "put up another unit in its place, as it comes out of its box, with power", "camera", ("id", "serial"),
        hands="connect",
    ),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Step:
    """One step. `do`: one of `KINDS`. `handling`: ns that hands are assumed to take.

    `id`: the bus ID that it is about, None where that of the camera is meant. `length`: ns of a wait, of listening, or
    without power. `on`, `through`, `broadcast`, `times`, `text`, `baud`, `format`, `serial`, `panel`: see `KINDS`.
    `place`: line and column in the plan, where it was written there.
    """

    do: str
    line: str = ""
    camera: str = ""
    id: int | None = None
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

    @property
    def about(self) -> str:
        """What it is done to."""
        return self.camera or self.line or self.text


@dataclass(frozen=True, slots=True)
class Assumed:
    """What hands take, ns: common practice, no source. `off`: how long a camera is left without power in a cycle; of
    `look`, one for each control of a panel."""

    connect: int = 180 * SECOND
    power: int = 30 * SECOND
    look: int = 15 * SECOND
    cycle: int = 20 * SECOND
    off: int = 5 * SECOND

    def hands(self, kind: str) -> int:
        """ns of hands for a kind of step."""
        name = KINDS[kind].hands
        return int(getattr(self, name)) if name else 0

    @property
    def sentences(self) -> tuple[str, ...]:
        """What is assumed, in words."""
        return (
            f"{self.connect // SECOND} s of hands for each camera that is connected (way, plug, way back), "
            f"{self.power // SECOND} s to give it power, {self.cycle // SECOND} s to switch it off and on again, "
            f"{self.look // SECOND} s for each look (all assumed; `assumed` in the plan's `rehearsal` says otherwise)",
            f"a camera is without power for {self.off // SECOND} s in a power cycle (assumed)",
            "cameras take as long to start and to save as their models say; lines are done one after the other",
        )
