"""The kinds of steps of a commissioning, as a plan names them, with the keys that each takes."""

from __future__ import annotations

from typing import NamedTuple

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
        ("bus_id", "baud", "format"),
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
