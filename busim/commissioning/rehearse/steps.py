"""The steps of a commissioning: kind, line or camera, and the assumed handling time.

A step is data: generated steps, written steps and what-if steps are the same type. Time on the wire and in cameras is
simulated. The handling time of people cannot be simulated, so it is assumed and marked as such.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from busim.foundation.units import CharFormat
from busim.installation.rehearsal import (
    BINDINGS,
    CONNECT,
    CYCLE,
    DIAL,
    DISCONNECT,
    IDENTIFY,
    KINDS,
    POWER,
    REPLACE,
    SUPPLY,
    SWAP,
    TEST_PICTURE,
)

SECOND = 1_000_000_000

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
