"""An emulated camera: its answers to requests, and its behaviour.

Pure: a request and an instant go in, a reply comes out, and `actions` lists events and wishes; no clock, no line.
Values are whole numbers as carried on the wire.

The function that serves requests is exchanged with the camera's condition (ready, motors running, saving). So a camera
at rest, the usual case, checks nothing of this at each request.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from mypy_extensions import mypyc_attr

from busim.foundation.errors import Defect
from busim.plan.models import Model, Order
from busim.protocols import (
    ASSIGN,
    BUSY,
    CHANGE_ID,
    IDENTIFY,
    ILLEGAL_KEY,
    ILLEGAL_VALUE,
    ILLEGAL_VERB,
    PRESET,
    READ,
    SAVE,
    SEARCH,
    START,
    STATUS,
    STEP,
    STOP,
    WRITE,
    Reply,
    Request,
    slot_of,
)
from busim.simulator.cameras.actions import Action, Changed, Deaf, Did, Refused, Restart
from busim.simulator.cameras.state import State
from busim.simulator.cameras.table import Table

_MOST_SPANS: Final = 1024
_UNSEEN: Final = ["?"]  # no list of names
_new: Final = tuple.__new__


@mypyc_attr(allow_interpreted_subclasses=True)
class Camera:
    """One camera of `model` on one protocol; `addresses`: the bus IDs that the protocol has.

    `serve(request, at)`: carry out a request that was complete at `at` ns, and return the answer. `actions`: the
    results of that, or of `woken`, `cut` and `booted`; the caller carries them out. `values`: parameter name to value;
    for a running motor, the position at the last `look`. `requests`, if the model has it, counts served requests.
    `serial`: its full serial number; `waits`: ns until its slot in the last search.
    """

    def __init__(
        self, model: Model, protocol: str, bus_id: int, serial: int, addresses: tuple[int, int] = (1, 247)
    ) -> None:
        if protocol not in model.keys:
            raise Defect(f"model {model.name} has no keys for the protocol {protocol}")
        self.model = model
        self.serial = serial
        self.waits = 0
        table = Table(model)
        self._state = State(model, table, bus_id, serial, addresses)
        self.values = self._state.values
        self._plain = table.plain
        self._names = {key: name for name, key in model.keys[protocol].items()}
        keys = model.order_keys.get(protocol, {})
        self._orders = {keys[order.name]: order for order in model.orders if order.name in keys}
        self._spans: dict[tuple[int, int], list[str] | None] = {}
        self._clocks = table.clocks
        self._counts = "requests" in self.values
        self._busy_until = 0
        self._handlers: dict[str, Callable[[Request, int], int]] = {
            STEP: self._step,
            START: self._start,
            STOP: self._stop,
            CHANGE_ID: self._change_id,
            SAVE: self._save,
            PRESET: self._recall,
        }
        self.serve: Callable[[Request, int], Reply] = self._ready
        self._keep = self._state.save
        self._serial_as: Callable[[int], int] | None = None

    @property
    def bus_id(self) -> int:
        """Its bus ID now."""
        return self._state.bus_id

    @property
    def actions(self) -> list[Action]:
        """The results of the last call."""
        return self._state.actions

    @property
    def changes(self) -> list[tuple[str, int]]:
        """The changes of the last call: name and new value."""
        return [(one.name, one.value) for one in self._state.actions if isinstance(one, Changed)]

    def locked(self, name: str) -> str:
        """Why the parameter cannot be written now; "" if it can."""
        return self._state.locked(name)

    def store(self, number: int) -> int:
        """Store the scene as preset `number`, as an order does: 0, or the code of the refusal."""
        return self._state.store(number)

    def free(self, name: str) -> bool:
        """Whether the parameter can be written and affects no other."""
        return name in self._plain

    def begin_with(self, values: dict[str, int]) -> None:
        """Start with these values, as if they had been set and saved on site. Only `free` ones."""
        self._state.begin_with(values)

    # -- serving ----------------------------------------------------------------------------------------------

    def _ready(self, request: Request, at: int) -> Reply:
        address, verb, key, size, given, form = request
        state = self._state
        if state.actions:
            state.actions = []
        if self._counts:
            values = self.values
            values["requests"] = (values["requests"] + 1) & 0xFFFF
        names = self._spans.get((key, size), _UNSEEN)
        if names is _UNSEEN:
            names = self._span(key, size, at)
        if verb == READ:
            if names is not None:
                values = self.values
                return _new(Reply, (address, READ, key, tuple([values[name] for name in names]), 0, form))
            return Reply(address, READ, key, (), ILLEGAL_KEY if size > 0 else ILLEGAL_VALUE, form)
        if verb == WRITE and names is not None:
            refused = self._write_one(names[0], given[0], at) if size == 1 else state.write(names, given, at)
            if refused:
                state.actions = [Refused("write", state.why)]
            elif state.motions:
                self.serve = self._moving
            return Reply(address, WRITE, key, given, refused, form)
        return self._serve_other(request, at)

    def _write_one(self, name: str, value: int, at: int) -> int:
        state = self._state
        if name not in self._plain:
            return state.write([name], (value,), at)
        before = self.values[name]
        refused = state.put(name, value, at)
        if refused:
            state.why = f"{name} {value}: {state.why}"
        elif before != value:
            state.actions.append(Changed(name, value))
        return refused

    def _moving(self, request: Request, at: int) -> Reply:
        self._state.look(at)
        reply = self._ready(request, at)
        self._state.actions += self._state.positions()
        if not self._state.motions and self.serve == self._moving:
            self.serve = self._ready
        return reply

    def _saving(self, request: Request, at: int) -> Reply:
        if at >= self._busy_until:
            self._resume()
            return self.serve(request, at)
        address, verb, key, _, given, form = request
        self._state.actions = []
        return Reply(address, verb, key, given, BUSY, form)

    def _resume(self) -> None:
        self.serve = self._moving if self._state.motions else self._ready

    def _span(self, key: int, count: int, at: int) -> list[str] | None:
        """The parameters of neighbouring keys; None unless every key has one. A parameter with a clock is looked up
        each time.
        """
        found = [self._names.get(number) for number in range(key, key + count)] if count <= len(self._names) else []
        names = [name for name in found if name is not None]
        span = names if len(names) == count > 0 else None
        if span is not None and not self._clocks.isdisjoint(span):
            self._state.uptime(at)
        elif len(self._spans) < _MOST_SPANS:
            self._spans[key, count] = span
        return span

    # -- verbs besides plain reads and writes -----------------------------------------------------------------

    def _serve_other(self, request: Request, at: int) -> Reply:
        address, verb, key, size, given, form = request
        state = self._state
        if verb in (STATUS, IDENTIFY):
            names = self._span(key, size, at) if size else []
            if names is None:
                return Reply(address, verb, key, (), ILLEGAL_KEY, form)
            if verb == IDENTIFY:
                self._identify(at)
            return Reply(address, verb, key, tuple([self.values[name] for name in names]), 0, form)
        state.why = ""
        if verb in (SEARCH, ASSIGN):
            return Reply(address, verb, key, self._meant(request), 0, form)
        if verb == WRITE:
            refused = self._order(request, at)
        else:
            handler = self._handlers.get(verb)
            refused = ILLEGAL_VERB if handler is None else handler(request, at)
        if refused:
            state.actions = [Refused(verb, state.why)] if state.why else []
        elif state.motions and self.serve == self._ready:
            self.serve = self._moving
        return Reply(address, verb, key, given, refused, form)

    def _meant(self, request: Request) -> tuple[int, ...]:
        """The answer to a search or an assignment, which go to all cameras: none unless this camera is meant."""
        address, verb, _, _, given, _ = request
        if verb not in self.model.capabilities:
            return ()
        if verb == ASSIGN:
            return given if given[0] == self._shown() and not self._state.change_id(given[1]) else ()
        low, high, only, slots, slot, draw = given
        serial = self._shown()
        if not low <= serial <= high or only not in (address, self.bus_id):
            return ()
        self.waits = slot_of(serial, draw, slots) * slot
        return (serial,)

    def _shown(self) -> int:
        """Its serial number as searches and assignments see it."""
        return self.serial if self._serial_as is None else self._serial_as(self.serial)

    def read_serial(self, change: Callable[[int], int] | None) -> None:
        """Searches and assignments see `change` of its serial number; None: the number itself."""
        self._serial_as = change

    def _order(self, request: Request, at: int) -> int:
        _, _, key, size, given, _ = request
        order = self._orders.get(key)
        if size < 1:
            return ILLEGAL_VALUE
        if order is None or size != 1:
            return ILLEGAL_KEY
        return self._carry_out(order, given[0], at)

    def _carry_out(self, order: Order, given: int, at: int) -> int:
        state = self._state
        if order.does == "change-id":
            return state.change_id(given)
        if order.does == "change-port":
            return state.change_port(given)
        if order.does == "recall":
            return state.recall(given, at)
        if order.does == "store":
            return state.store(given)
        if order.does == "move":
            return state.start(order.motor, given - order.middle, at)
        return self._do(order.codes.get(given, ""), at)

    def _do(self, action: str, at: int) -> int:
        state = self._state
        if action == "save":
            return self._begin_save(at)
        if action == "reboot":
            state.actions += [Did("reboots"), Restart()]
        elif action == "factory-default":
            return state.factory_default(at)
        elif action == "identify":
            self._identify(at)
        elif action == "stop":
            for name in list(state.motions):
                state.stop(name, at)
        else:
            state.why = "no order with this number"
            return ILLEGAL_VALUE
        return 0

    def _identify(self, at: int) -> None:
        lamp = self._state.table.lamp
        if lamp:
            self._state.write([lamp], (1,), at)
        self._state.actions.append(Did("identifies itself"))

    def _step(self, request: Request, at: int) -> int:
        name = self._names.get(request.key)
        return ILLEGAL_KEY if name is None else self._state.step(name, request.values[0], at)

    def _start(self, request: Request, at: int) -> int:
        name = self._names.get(request.key)
        return ILLEGAL_KEY if name is None else self._state.start(name, request.values[0], at)

    def _stop(self, request: Request, at: int) -> int:
        name = self._names.get(request.key)
        if name is None:
            return ILLEGAL_KEY
        return self._state.start(name, 0, at)

    def _change_id(self, request: Request, at: int) -> int:
        return self._state.change_id(request.values[0])

    def _save(self, request: Request, at: int) -> int:
        return self._begin_save(at)

    def _recall(self, request: Request, at: int) -> int:
        return self._state.recall(request.values[0], at)

    def _begin_save(self, at: int) -> int:
        timing = self.model.timing
        self._keep()
        if timing.save and timing.while_saving == "deaf":
            self._state.actions.append(Deaf(at + timing.save))
        elif timing.save:
            self._busy_until = at + timing.save
            self.serve = self._saving
        return 0

    def forget_saves(self, instead: Callable[[], None] | None) -> None:
        """From now on a save is acknowledged and keeps nothing; `instead` is called each time.
        None: saves keep again.
        """
        self._keep = self._state.save if instead is None else instead

    # -- what comes with time, and with power -----------------------------------------------------------------

    def look(self, at: int) -> None:
        """Bring `values` up to `at`: positions of motors, the time since boot."""
        self._state.look(at)
        self._state.uptime(at)

    def woken(self, at: int) -> None:
        """An instant that it wished for has come. Calls at other instants do no harm."""
        state = self._state
        state.actions = []
        state.settle(at)
        if not state.motions and self.serve == self._moving:
            self.serve = self._ready

    def cut(self, at: int) -> None:
        """It loses power at `at`. Ask it nothing until it has booted."""
        self._state.cut(at)
        self.serve = self._ready

    def booted(self, at: int) -> None:
        """It has booted at `at`, some time after power returned (`Timing.boot` of its model)."""
        self._state.wake_up(at)
