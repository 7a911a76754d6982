"""A camera model: a table of parameters, the relations between them, and their keys in each protocol.

A model is data, so a new camera needs a file and no change of the program. `meaning` names the purpose of a parameter
in words that all models share, so a panel or a judge works with any model. Values are counts as on the wire, 0..65535;
times are ns.
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
    count; `choices` names the counts of a choice, from `low` upwards. `step`: size of one step in counts.
    `saved`: whether a save preserves it.
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
    """The range of a parameter depends on another, `by`, for `reason`.

    `lowest` and `highest`: its bound for each count of the other. `product`: the highest product of both.
    """

    limits: str
    by: str
    lowest: Mapping[int, int]
    highest: Mapping[int, int]
    product: int
    reason: str

    def floor(self, count: int) -> int:
        """The lowest count while the other parameter is at `count`."""
        return self.lowest.get(count, 0)

    def ceiling(self, count: int) -> int:
        """The highest count while the other parameter is at `count`."""
        high = self.highest.get(count, 65535)
        return min(high, self.product // count) if self.product and count else high


@dataclass(frozen=True, slots=True)
class Control:
    """A parameter that moves others: `moves` by the same amount, `against` by the same amount the other way.

    They keep their differences, and all stop when the first one reaches its limit.
    """

    name: str
    moves: tuple[str, ...]
    against: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Presets:
    """Presets 1..`number`, each with the values of `holds`."""

    number: int
    holds: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Motor:
    """A motor that moves a parameter at `speed` counts per second, within its range.

    `dead_man`: ns after which a motion ends unless it is started again; 0: never.
    """

    moves: str
    speed: float
    dead_man: int


@dataclass(frozen=True, slots=True)
class Order:
    """A register that triggers an action when it is written.

    `does`: change-id, recall, store (the written value is the argument), change-port (it is the place of the baud in
    `bauds` x number of `formats` + place of the format, in force after a restart) or move (the speed of `motor` in
    percent, above and below `middle`); empty: `codes` maps counts to actions (save, reboot, factory-default, identify,
    stop).
    """

    name: str
    does: str
    motor: str
    middle: int
    codes: Mapping[int, str]


@dataclass(frozen=True, slots=True)
class Timing:
    """Times of a camera, ns. `turnaround` is uniform in its range; `save`: duration of a save, `while_saving`: refuses
    or deaf; `boot`: from power-on until it hears; `identify`: duration of an identify (0: until a stop)."""

    turnaround: Spread
    save: int
    while_saving: str
    boot: int
    identify: int


@dataclass(frozen=True, slots=True)
class Supply:
    """The power of a camera in W, the same at any voltage within `voltage` (V). `start_up` lasts `start_up_time` ns.

    0: unknown.
    """

    voltage: Range
    idle: float
    peak: float
    start_up: float
    start_up_time: int


@dataclass(frozen=True, slots=True)
class BusSide:
    """The bus side of a camera. `unit_load` in unit loads of TIA/EIA-485; `unpowered`: passes, loads or cuts.

    `bauds` and `formats`: the supported ones; `factory_*`: as delivered. `id_takes_effect`: at-once,
    after-save or after-reboot; `id_kept`: at-once or by-save; `default_resets_id`, `default_resets_port`: whether a
    factory default resets its ID, and its baud and format.
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
    default_resets_port: bool


@dataclass(frozen=True, slots=True)
class Model:
    """A camera model. `keys`: protocol name -> parameter name -> register or code; `order_keys` the same for orders.

    `sectors`: number of hue sectors, 0: none. `capabilities`: search, assign-id, both or none. `source`: the text of
    its file.
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
        """Word in a plan -> name of the parameter. A word is a name, or a meaning of one parameter only.

        So a plan asks all cameras for their `shutter`, whatever each model calls it.
        """
        meanings = Counter(one.meaning for one in self.parameters)
        alone = {one.meaning: one.name for one in self.parameters if meanings[one.meaning] == 1}
        return {**alone, **{one.name: one.name for one in self.parameters}}

    def called(self, word: str) -> str:
        """The name of the parameter that a word in a plan means; an unknown word comes back unchanged."""
        return self.words.get(word, word)
