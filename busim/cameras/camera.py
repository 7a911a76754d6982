"""An emulated camera: a table of parameters that a bus reads and writes, with the locks a real one has.

Pure: a request goes in, a reply comes out; no clock, no line. What it answers depends on its state alone. Values are
whole numbers as carried on the wire.
"""

from __future__ import annotations

from collections.abc import Mapping

from busim.dialects import IDENTIFY, ILLEGAL_KEY, ILLEGAL_VALUE, ILLEGAL_VERB, READ, STATUS, WRITE, Reply, Request
from busim.errors import Defect
from busim.models import Model

Change = tuple[str, int]


class Camera:
    """One camera of `model`, which speaks one dialect. `values`: parameter name to value.

    `changes`: what the last request changed, name and new value.
    """

    def __init__(self, model: Model, dialect: str, id: int, serial: int) -> None:
        if dialect not in model.keys:
            raise Defect(f"model {model.name} has no keys for the dialect {dialect}")
        self.model = model
        self.id = id
        self.values = {parameter.name: parameter.default for parameter in model.parameters}
        self._set_reading("bus_id", id)
        self._set_reading("serial", serial & 0xFFFF)
        self.changes: list[Change] = []
        self._parameters = {parameter.name: parameter for parameter in model.parameters}
        self._names = {key: name for name, key in model.keys[dialect].items()}
        self._spans: dict[tuple[int, int], list[str] | tuple[()] | None] = {}

    def _set_reading(self, name: str, value: int) -> None:
        if name in self.values:
            self.values[name] = value

    def serve(self, request: Request) -> Reply:
        """Carry out a request and say what the camera answers. The count of requests served is its canary."""
        id, verb, key, size, given, form = request
        values = self.values
        if "requests" in values:
            values["requests"] = (values["requests"] + 1) & 0xFFFF
        if self.changes:
            self.changes = []
        if verb != READ and verb != WRITE:
            return self._serve_other(request)
        if size < 1:
            return Reply(id, verb, key, (), ILLEGAL_VALUE, form)
        names = self._spans.get((key, size), ())
        if names == ():
            names = self._span(key, size)
        if names is None:
            return Reply(id, verb, key, given, ILLEGAL_KEY, form)
        if verb == READ:
            return Reply(id, READ, key, tuple([values[name] for name in names]), 0, form)
        return Reply(id, verb, key, given, self._write(dict(zip(names, given, strict=True))), form)

    def _serve_other(self, request: Request) -> Reply:
        """What dialects have besides reads and writes: some are reads of values that the dialect chose."""
        id, verb, key, size, _, form = request
        if verb not in (STATUS, IDENTIFY):
            return Reply(id, verb, key, (), ILLEGAL_VERB, form)
        names = self._span(key, size)
        if names is None:
            return Reply(id, verb, key, (), ILLEGAL_KEY, form)
        return Reply(id, verb, key, tuple([self.values[name] for name in names]), 0, form)

    def _span(self, key: int, count: int) -> list[str] | None:
        found = [self._names.get(number) for number in range(key, key + count)]
        names = [name for name in found if name is not None]
        span = names if len(names) == count else None
        if len(self._spans) < 1024:
            self._spans[key, count] = span
        return span

    def _write(self, wanted: Mapping[str, int]) -> int:
        """All of it or nothing: 0, or the reason of the refusal."""
        before = dict(self.values)
        for name, value in wanted.items():
            parameter = self._parameters[name]
            if not parameter.writable:
                self.values = before
                return ILLEGAL_KEY
            if not parameter.low <= value <= parameter.high or self.locked(name):
                self.values = before
                return ILLEGAL_VALUE
            self.values[name] = value
        self.changes = [(name, value) for name, value in wanted.items() if before[name] != value]
        return 0

    def locked(self, name: str) -> str:
        """Why the parameter cannot be written now, or "" when it can."""
        for lock in self.model.locks:
            if name in lock.locks and self.values[lock.when] == lock.equals:
                return lock.reason
        return ""
