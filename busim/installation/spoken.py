"""A camera model under the protocol of a line: its keys, and the words of a plan for its parameters."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from busim.physics.exchange import runs
from busim.plan import PollGroup
from busim.plan.models import Model, Parameter
from busim.protocols import BusProtocol, Request


class Run(NamedTuple):
    """Neighbouring keys of one poll group, read in one exchange: `size` keys from `first` on.

    `work`: its name in trace and figures: the name of the group, from its second run on followed by the first key.
    `value`: name of the first parameter. `hole`: number of keys between the previous run and this one if all of them
    are readable, else 0. `every`: poll interval in ns, 0: as often as the line allows.
    """

    group: str
    work: str
    value: str
    first: int
    size: int
    hole: int
    every: int


@dataclass(frozen=True, eq=False)
class Spoken:
    """`model` has its keys under `protocol`."""

    model: Model
    protocol: BusProtocol

    @cached_property
    def keys(self) -> Mapping[str, int]:
        """Parameter name -> key, for the parameters that the protocol carries."""
        return self.model.keys[self.protocol.name]

    @cached_property
    def words(self) -> Mapping[str, str]:
        """Word in a plan -> name of the parameter of the model."""
        return self.model.words

    @cached_property
    def parameters(self) -> Mapping[str, Parameter]:
        """Parameters of the model by name."""
        return {one.name: one for one in self.model.parameters}

    def called(self, word: str) -> str:
        """The name of the parameter that a word means; an unknown word comes back unchanged."""
        return self.words.get(word, word)

    def carries(self, word: str) -> bool:
        """Whether the protocol has a key for the parameter that this word means."""
        return self.called(word) in self.keys

    @cached_property
    def carried(self) -> tuple[str, ...]:
        """The words for parameters that can be read."""
        return tuple(word for word, name in self.words.items() if name in self.keys)

    @cached_property
    def controls(self) -> Mapping[str, Parameter]:
        """Word -> parameter, for the parameters that can be set."""
        named = {word: self.parameters[self.words[word]] for word in self.carried}
        return {word: one for word, one in named.items() if one.writable}

    def command(self, bus_id: int, control: str, verb: str, value: int) -> Request:
        """The request that moves a control of the camera at this bus ID: `verb` is write or step."""
        return Request(bus_id, verb, self.keys[self.called(control)], 1, (value,))

    @cached_property
    def writable_runs(self) -> tuple[int, ...]:
        """The length of each run of neighbouring writable keys."""
        keys = [self.keys[one.name] for one in self.model.parameters if one.writable and one.name in self.keys]
        return tuple(size for _, size in runs(keys, self.protocol.most_values))

    def reads(self, groups: tuple[PollGroup, ...]) -> Iterator[Run]:
        """The runs that a master with these groups reads from a camera of this model, without values that it lacks."""
        keys, names = self.keys, {key: name for name, key in self.keys.items()}
        for group in groups:
            end = 0
            wanted = [keys[name] for name in map(self.called, group.values) if name in keys]
            for place, (first, size) in enumerate(runs(wanted, self.protocol.most_values)):
                between = range(end, first) if place else range(0)
                hole = len(between) if all(key in names for key in between) else 0
                end = first + size
                # A run with other values is another poll: each value is read once per round, not once per exchange.
                work = f"{group.name} from {first}" if place else group.name
                yield Run(group.name, work, names[first], first, size, hole, group.every)
