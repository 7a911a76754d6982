"""Replay: the run of a trace once more, from the trace alone, and a comparison of both.

The world is built from the trace's plan with the same seed, and inputs from outside are fed in at their instants: the
kernel advances to the instant, then the input is applied, as the wall clock did it. Marks change nothing in the world,
so their order among inputs of the same instant does not matter. A trace that broke off holds every record up to some
unknown instant. The new run then goes only as far as its records reach, and must contain each of them.
"""

from __future__ import annotations

import heapq
import json
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from busim.foundation.diagnostics import Findings
from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.plan import Plan, defaults, files_in_use, read_text
from busim.protocols.hook import Belief, checked
from busim.recording.trace import BELIEF, INPUT, INTENT, MARK, REAL, TABLES, Record, Trace, baud_of, open_trace
from busim.recording.trace.schema import INSTANTS
from busim.runtime.session.report import Report
from busim.runtime.session.run import Run
from busim.simulator.world import ConverterPort, World

_STEP = 250_000_000  # ns between two reports of progress
_BEYOND = 5_000_000_000  # ns after the last record of a broken trace within which all its records must have come


@dataclass(frozen=True, slots=True)
class Difference:
    """The first difference: the kind of record, its number (from 1), and both records, None for a missing one."""

    kind: str
    number: int
    old: Any
    new: Any


@dataclass(frozen=True, slots=True)
class Replay:
    """The result of a replay. `complete`: whether the old trace was; `difference` None: identical, as far as it goes.

    `hints`: causes of a difference outside the run, such as another version of busim.
    """

    report: Report
    complete: bool
    difference: Difference | None
    hints: tuple[str, ...]


def replay(
    path: str | Path,
    *,
    trace: str | Path | None = None,
    overwrite: bool = False,
    advanced: Callable[[int, int], None] = lambda *_: None,
) -> Replay:
    """Replay the trace at `path` and compare. `trace`: a file for the new one.

    `advanced(at, until)` gets the progress, in ns. Raises UserError if the trace cannot be read or replayed.
    """
    with open_trace(path) as old, _place(path, trace) as new_path:
        if old.head.get("clock") == REAL:
            raise UserError(
                "a trace of a real line cannot be replayed: its cameras were not emulated", file=str(path),
                mend="use view, report, compare or export",
            )  # fmt: skip
        plan = plan_of(old)
        complete = bool(old.head.get("complete"))
        missing = Counter({kind: sum(1 for _ in old.records(kind)) for kind in TABLES})

        def count(record: Record) -> None:
            missing[record[0]] -= 1

        run = Run(
            plan, _number(old, "seed"), trace=new_path, overwrite=overwrite, played=_played(old), watched=True,
            epoch=_number(old, "epoch"), hooked=old.head.get("hook") == 1,
            distinct=old.head.get("distinct") == 1, also=count,
        )  # fmt: skip
        try:
            _play(old, run, _number(old, "ended_at") if complete else last_instant(old), missing, advanced)
            if not complete:
                _reach(run, missing)
            run.finish()
        except BaseException:
            run.abandon()
            raise
        with open_trace(new_path) as new:
            same = complete and old.fingerprint() == new.fingerprint()
            difference = None if same else _first_difference(old, new, complete)
        return Replay(run.report(), complete, difference, () if difference is None else _hints(old, plan))


def plan_of(old: Trace) -> Plan:
    """The plan of a trace's run. Raises UserError if it has none that can be read."""
    files = _files(old)
    try:
        plan = read_text(_text(old, "plan_text"), _text(old, "plan_path"), files)
    except Findings as error:
        first = error.findings[0]
        raise _unplayable(old, f"a plan with errors in it, first: {first.field or 'plan'}: {first.what}") from None
    for name in files_in_use(plan):
        if name not in files:  # the file of that name on this machine is another one
            raise _unplayable(old, f"a plan that names {name[:60]!r}, whose text is not in the trace")
    return plan


def _files(old: Trace) -> dict[str, str]:
    """The files beside the plan, as they were; older traces have none."""
    if "plan_files" not in old.head:
        return {}
    try:
        files = json.loads(_text(old, "plan_files"))
        return {str(name): str(text) for name, text in files.items()}
    except (ValueError, AttributeError, RecursionError):
        raise _unplayable(old, "files beside its plan that cannot be read") from None


@contextmanager
def _place(path: str | Path, trace: str | Path | None) -> Iterator[Path]:
    """The file of the new trace; without a name it is removed again."""
    if trace is None:
        with tempfile.TemporaryDirectory(prefix="busim-replay-") as folder:
            yield Path(folder) / "new.trace"
        return
    wanted = Path(trace)
    if wanted.exists() and wanted.samefile(path):
        raise UserError("a trace cannot be replayed into itself", file=str(path), mend="give the new one another name")
    yield wanted


# -- playing ------------------------------------------------------------------------------------------------


def _play(old: Trace, run: Run, until: int, missing: Counter[int], advanced: Callable[[int, int], None]) -> None:
    """Feed the inputs from outside, and go on to `until`, or until the run has more records than the trace."""
    kernel = run.world.kernel
    given = (record for record in old.records(INTENT) if not record[6])  # the others come from the plan's panels
    for record in heapq.merge(old.inputs(), given, old.records(BELIEF), old.records(MARK), key=_instant):
        at = _instant(record)
        if not kernel.now <= at <= until:
            raise _unplayable(old, f"something from outside at {at} ns, between {kernel.now} and the end at {until} ns")
        if not _advance(run, at, until, missing, advanced):
            return
        _apply(record, run.world, old)
    _advance(run, until, until, missing, advanced)


def _instant(record: Record) -> int:
    return int(record[3] if record[0] in (INTENT, BELIEF) else record[1])


def _advance(run: Run, to: int, until: int, missing: Counter[int], advanced: Callable[[int, int], None]) -> bool:
    """Advance in steps, to report progress. False: the run has more records than the trace.

    Without that, a trace that claims a run of a year would be played for one.
    """
    kernel = run.world.kernel
    while (due := kernel.next_deadline()) is not None:
        at = max(due, kernel.now - kernel.now % _STEP + _STEP)  # times without events take one step
        if at >= to:
            break
        run.advance(at)
        advanced(at, until)
        if min(missing.values()) < 0:
            return False
    run.advance(to)
    return True


def _apply(record: Record, world: World, old: Trace) -> None:
    if record[0] == MARK:
        world.mark(record[2])
        return
    if record[0] in (INTENT, BELIEF):
        _tell(record, world, old)
        return
    _, _, number, client, what, data = record
    if world.wiring.again(number, what, data):
        return
    port = next((port for port in world.converters.values() if port.number == number), None)
    if port is None:
        raise _unplayable(old, f"an input at port {number}, which is no converter")
    if what == "open":
        port.open(client, lambda *_: None, data == b"plain")
    elif what == "bytes":
        port.chunk(client, data)
    elif what in ("close", "reset"):
        port.close(client, reset=what == "reset")
    elif what == "stall":
        port.stall(client)
    elif what == "ready":
        port.ready(client)
    elif what == "set":
        _set(port, client, data, old)
    else:
        raise _unplayable(old, f"an input {what!r}")


def _tell(record: Record, world: World, old: Trace) -> None:
    """An intent of a test, or a belief of a controller."""
    hook = world.hook
    if hook is None:
        raise _unplayable(old, "intents or beliefs without a hook")
    _, _, number, _, *what = record
    camera = old.names[number].name if number in old.names else ""
    try:
        if record[0] == INTENT:
            parameter, value, _, _ = what
            hook.intend(camera, parameter, int(value))
            return
        kind, parameter, value, text, _ = what
        if kind == "wrong":
            hook.refuse(text)
        else:
            hook.believe(checked(Belief(kind, camera, parameter, int(value or 0), text), hook.known))
    except (KeyError, ValueError, UserError):
        raise _unplayable(old, f"an intent or belief {record!r}") from None


def _set(port: ConverterPort, client: int, data: bytes, old: Trace) -> None:
    try:
        baud, format = data[:100].decode().split(" ")
        port.set(client, baud_of(baud), CharFormat.parse(format))
    except (ValueError, UserError):
        raise _unplayable(old, f"a setting {data!r}") from None


def last_instant(old: Trace) -> int:
    """ns: the latest instant that any record of a broken trace has."""
    columns = {kind: 1 + TABLES[kind][1].index(name) for kind, name in INSTANTS.items()}
    return max((record[columns[record[0]]] for record in old.records()), default=0)


def _reach(run: Run, missing: Counter[int]) -> None:
    """Advance event by event, until the new run has as many records of each kind as the broken trace."""
    kernel = run.world.kernel
    end = kernel.now + _BEYOND
    while any(count > 0 for count in missing.values()):
        due = kernel.next_deadline()
        if due is None or due > end:
            return
        kernel.advance(due)


# -- comparing ----------------------------------------------------------------------------------------------


def _first_difference(old: Trace, new: Trace, complete: bool) -> Difference | None:
    """None: there is no difference. Records after the end of a broken trace are none."""
    pairs = [
        ("name", iter(old.names.items()), iter(new.names.items())),
        ("setting", iter(old.settings.items()), iter(new.settings.items())),
        # The inputs first: a difference there explains all others.
        *((TABLES[kind][0], old.records(kind), new.records(kind)) for kind in sorted(TABLES, key=lambda k: k != INPUT)),
    ]
    for kind, olds, news in pairs:
        number = 0
        while True:
            number += 1
            one, other = next(olds, None), next(news, None)
            if one is None and (other is None or not complete):
                break
            if one != other:
                return Difference(kind, number, one, other)
    return None


def _hints(old: Trace, plan: Plan) -> tuple[str, ...]:
    from busim.foundation.version import VERSION

    hints = []
    if old.head.get("busim") != VERSION:
        hints.append(f"the trace was written by busim {old.head.get('busim')}, this is {VERSION}")
    if old.head.get("defaults") != json.dumps(defaults(plan)):
        hints.append("defaults that the plan relies on have changed since the trace was written")
    return tuple(hints)


# -- the head -----------------------------------------------------------------------------------------------


def _unplayable(old: Trace, found: str) -> UserError:
    return UserError(
        "this trace cannot be played again", file=old.path, found=found, mend="use a trace as busim wrote it"
    )


def _number(old: Trace, key: str) -> int:
    value = old.head.get(key)
    if not isinstance(value, int):
        raise _unplayable(old, f"{key} {value!r} in its head")
    return value


def _text(old: Trace, key: str) -> str:
    value = old.head.get(key)
    if not isinstance(value, str):
        raise _unplayable(old, f"{key} {value!r} in its head")
    return value


def _played(old: Trace) -> list[str] | None:
    text = _text(old, "played")
    try:
        names = json.loads(text)
    except ValueError:
        names = text
    if names is not None and not (isinstance(names, list) and all(isinstance(name, str) for name in names)):
        raise _unplayable(old, f"played {text!r} in its head")
    return names
