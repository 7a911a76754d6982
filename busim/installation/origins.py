"""The origin of each value of an installation: the plan, a camera model, or a default."""

from __future__ import annotations

import re
from dataclasses import dataclass

from busim.plan import Plan, locate

WRITTEN, MODEL, DEFAULT = "written", "model", "default"

_OF_MODEL = re.compile(
    r"cameras\[\d+\]\.(turnaround|factory_id|factory_baud|factory_format|firmware|unpowered|unit_load|power(\.(idle|peak|start_up))?)"
)


@dataclass(frozen=True, slots=True)
class Origin:
    """`kind`: written, model or default. `line` and `column` (from 1): the value's place in the plan, or that of the
    nearest entry around it."""

    kind: str
    line: int
    column: int


class Origins:
    """The origin of each value of a plan by field path. A plan from a program has no file: all is written."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._positions = plan.positions
        self._parents = {field.rpartition(".")[0] for field in plan.positions}

    def __call__(self, field: str) -> Origin:
        """The origin of a value, written by itself or in a short form such as `clients: 4`."""
        parent = field.rpartition(".")[0]
        short = parent in self._positions and parent not in self._parents
        kind = DEFAULT
        if not self._positions or field in self._positions or short:
            kind = WRITTEN
        elif _OF_MODEL.fullmatch(field):
            kind = MODEL
        return Origin(kind, *locate(self._plan, field))
