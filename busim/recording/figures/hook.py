"""Figures of a controller under test: how soon operators' moves reach the lens, and how true its beliefs are.

They describe the controller's work between its operators and the line, which records of the line do not show. Without a
hook they do not apply, and a check that needs them says "inconclusive: no hook".
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from busim.recording.figures.histogram import Histogram
from busim.recording.figures.quantities import QUANTITIES, Value
from busim.recording.trace import Record

# of a controller under test
NAMES = ("intents", "intent_p95", "intent_max", "intents_left", "beliefs", "belief_share", "behind_p95", "behind_max")
_NO_HOOK = "no hook"


@dataclass(slots=True)
class _Camera:
    intents: int = 0
    done: Histogram = field(default_factory=Histogram)
    open: dict[str, tuple[str, int]] = field(default_factory=dict)  # parameter -> wanted value, since when
    taken: dict[str, str] = field(default_factory=dict)  # parameter -> its last value
    beliefs: int = 0
    right: int = 0
    behind: Histogram = field(default_factory=Histogram)


class HookFold:
    """Takes records of intents, beliefs and changes."""

    def __init__(self) -> None:
        self._cameras: dict[int, _Camera] = {}
        self._lines: dict[int, set[int]] = {}

    def _camera(self, line: int, number: int) -> _Camera:
        self._lines.setdefault(line, set()).add(number)
        return self._cameras.setdefault(number, _Camera())

    def intent(self, record: Record) -> None:
        _, line, number, at, parameter, value, _, had = record
        one = self._camera(line, number)
        one.intents += 1
        one.open.pop(parameter, None)  # replaced by this one
        if value.startswith("step"):
            return  # its result depends on when it is done
        if value == had:
            return  # no change needed
        if one.taken.get(parameter) == value:
            one.done.add(0)  # the camera took it in this very instant
        else:
            one.open[parameter] = value, at

    def change(self, record: Record) -> None:
        _, at, who, parameter, value = record
        one = self._cameras.get(who)
        if one is None:
            return
        one.taken[parameter] = value
        wanted = one.open.get(parameter)
        if wanted is not None and wanted[0] == value:
            del one.open[parameter]
            one.done.add(max(0, at - wanted[1]))

    def belief(self, record: Record) -> None:
        _, line, number, _, kind, _, _, _, behind = record
        if kind != "value" or behind < -1:
            return
        one = self._camera(line, number)
        one.beliefs += 1
        one.right += behind == 0
        if behind >= 0:
            one.behind.add(behind)

    def moves_of_camera(self, number: int) -> tuple[int, Histogram]:
        """Moves told to the controller, and the times of those that reached the camera."""
        return _moves([self._cameras.get(number, _Camera())])

    def moves_of_line(self, line: int) -> tuple[int, Histogram]:
        return _moves([self._cameras[number] for number in sorted(self._lines.get(line, ()))])

    def of_camera(self, number: int) -> dict[str, Value]:
        return _values([self._cameras.get(number, _Camera())])

    def of_line(self, line: int) -> dict[str, Value]:
        return _values([self._cameras[number] for number in sorted(self._lines.get(line, ()))])


def no_hook() -> dict[str, Value]:
    """The values without a hook."""
    return {name: Value(QUANTITIES[name], None, 0, _NO_HOOK) for name in NAMES}


def _moves(cameras: Iterable[_Camera]) -> tuple[int, Histogram]:
    told, done = 0, Histogram()
    for one in cameras:
        told += one.intents
        done.merge(one.done)
    return told, done


def _values(cameras: Iterable[_Camera]) -> dict[str, Value]:
    done, behind = Histogram(), Histogram()
    intents = left = beliefs = right = 0
    for one in cameras:
        done.merge(one.done)
        behind.merge(one.behind)
        intents += one.intents
        left += len(one.open)
        beliefs += one.beliefs
        right += one.right
    counted = {"intents": (intents, intents), "intents_left": (left, intents), "beliefs": (beliefs, beliefs)}
    values = {name: Value(QUANTITIES[name], value, count) for name, (value, count) in counted.items()}
    nothing, unheard = "no move reached its camera", "it did not say what it believes"
    share = Value(QUANTITIES["belief_share"], right / beliefs if beliefs else None, beliefs, "" if beliefs else unheard)
    values["belief_share"] = share
    for name, histogram, why in (("intent", done, nothing), ("behind", behind, unheard)):
        p95, count = histogram.quantile(0.95), histogram.count
        most = histogram.largest if count else None
        for end, ns in (("p95", p95), ("max", most)):
            value = None if ns is None else ns / 1e9
            values[f"{name}_{end}"] = Value(QUANTITIES[f"{name}_{end}"], value, count, "" if count else why)
    return {name: values[name] for name in NAMES}
