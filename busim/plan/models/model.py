"""A camera model: a table of parameters, what holds among them, and where each protocol finds them.

A model is data, so that a camera nobody here has seen is a file and not a change of the program. `meaning` says
what a parameter is for in words that all models share, so that a panel or a judge works with any of them. Values are
counts as carried on the wire, 0..65535; times are ns.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from busim.foundation.units import CharFormat, Range, Spread


@dataclass(frozen=True, slots=True)
class Parameter:
    """One value of a camera.

    `kind` is range, choice, switch or reading; `low`, `high` and `default` are counts, `scale` is `unit` per
    count; `choices` names the counts of a choice, from `low` on. `step`: counts of one step up or down. `saved`:
    whether a save keeps it.
    """

    name: str
    meaning: str
    group: str
    kind: str
    low: int
    high: int
    default: int
    unit: str
    scale: float
    writable: bool
    choices: tuple[str, ...] = ()
    step: int = 1
    saved: bool = True


@dataclass(frozen=True, slots=True)
class Lock:
    """While parameter `when` equals `equals`, a write to one of `locks` is refused, for `reason`."""

    when: str
    equals: int
    locks: tuple[str, ...]
    reason: str


@dataclass(frozen=True, slots=True)
class Limit:
    """What a parameter may be depends on another, `by`, for `reason`.

    `lowest` and `highest`: its end for each count of the other. `product`: it times the other is never more than this.
    """

    limits: str
    by: str
    lowest: Mapping[int, int]
    highest: Mapping[int, int]
    product: int
    reason: str

    def floor(self, count: int) -> int:
        """The lowest count where the other parameter stands at `count`."""
        return self.lowest.get(count, 0)

    def ceiling(self, count: int) -> int:
        """The highest count where the other parameter stands at `count`."""
        high = self.highest.get(count, 65535)
        return min(high, self.product // count) if self.product and count else high


@dataclass(frozen=True, slots=True)
class Control:
    """A parameter that moves others: `moves` by as much as it is moved, `against` by as much the other way.

    They keep their differences, and all stop where the first one reaches its end.
    """

    name: str
    moves: tuple[str, ...]
    against: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Presets:
    """Places 1..`number` for the values of `holds`."""

    number: int
    holds: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Motor:
    """What moves a parameter at `speed` counts per second, within its range.

    `dead_man`: ns after which a motion that was started ends unless it is started again; 0: never.
    """

    moves: str
    speed: float
    dead_man: int


@dataclass(frozen=True, slots=True)
class Order:
    """A place to write to that is no value: something is done.

    `does`: change-id, recall, store (what is written is the argument) or move (the speed of `motor` in percent, above
    and below `middle`); empty: `codes` says which count does what (save, reboot, factory-default, identify, stop).
    """

    name: str
    does: str
    motor: str
    middle: int
    codes: Mapping[int, str]


@dataclass(frozen=True, slots=True)
class Timing:
    """`turnaround` is even between its bounds; `save`: busy for so long, `while_saving` refuses or deaf; `boot`: from
    power on until it hears; `identify`: how long it makes itself known (0: until it is told to stop)."""

    turnaround: Spread
    save: int
    while_saving: str
    boot: int
    identify: int


@dataclass(frozen=True, slots=True)
class Supply:
    """What a camera takes, in W, the same at any voltage within `voltage` (V). `start_up` lasts `start_up_time` ns.

    Zero: the file does not say.
    """

    voltage: Range
    idle: float
    peak: float
    start_up: float
    start_up_time: int


@dataclass(frozen=True, slots=True)
class BusSide:
    """What a camera is to the pair. `unit_load` in unit loads of TIA/EIA-485; `unpowered`: passes, loads or cuts.

    `bauds` and `formats`: what it can be set to; `factory_*`: as it comes out of its box. `id_takes_effect`: at-once,
    after-save or after-reboot; `id_kept`: at-once or by-save; `default_resets_id`: whether a factory default does.
    """

    unit_load: float
    unpowered: str
    bauds: tuple[Fraction, ...]
    formats: tuple[CharFormat, ...]
    factory_baud: Fraction
    factory_format: CharFormat
    factory_id: int
    id_takes_effect: str
    id_kept: str
    default_resets_id: bool


@dataclass(frozen=True, slots=True)
class Model:
    """A camera model. `keys`: protocol name -> parameter name -> register or code; `order_keys` the same for orders.

    `sectors`: sectors of its hue correction, 0: none. `capabilities`: of search and assign-id. `source`: the text it
    was read from.
    """

    name: str
    title: str
    firmware: str
    lens: bool
    sectors: int
    parameters: tuple[Parameter, ...]
    locks: tuple[Lock, ...]
    limits: tuple[Limit, ...]
    controls: tuple[Control, ...]
    presets: Presets
    motors: tuple[Motor, ...]
    orders: tuple[Order, ...]
    timing: Timing
    supply: Supply
    bus: BusSide
    keys: Mapping[str, Mapping[str, int]]
    order_keys: Mapping[str, Mapping[str, int]]
    capabilities: tuple[str, ...] = ()
    source: str = field(default="", compare=False, repr=False)

    @property
    def words(self) -> dict[str, str]:
        """Every word by which a plan can mean a parameter, to its name: the name itself, or a meaning it alone has.

        So a plan asks all cameras for their `shutter`, whatever each model calls it.
        """
        meanings = Counter(one.meaning for one in self.parameters)
        alone = {one.meaning: one.name for one in self.parameters if meanings[one.meaning] == 1}
        return {**alone, **{one.name: one.name for one in self.parameters}}

    def called(self, word: str) -> str:
        """The name of the parameter that a word in a plan means; a word that means none comes back as it is."""
        return self.words.get(word, word)
