"""Strategies of hypothesis for tests around a shared line: frames, near-frames, fault schedules, operators' moves,
plans.

Small means simple: examples shrink to few faults, early and short, to few moves, and to plans of one camera.
"""

from __future__ import annotations

import json
from collections.abc import Collection
from typing import Any

from hypothesis import strategies as st

from busim.foundation.errors import Defect
from busim.foundation.units import parse_time
from busim.plan import Plan, read_text
from busim.protocols import READ, WRITE, BusProtocol, Reply, Request
from busim.protocols.sources import find as find_protocol
from busim.simulator.faults import all_faults, find_fault
from busim.testing.fuzzing import Action, Case, FaultEvent, space_of
from busim.testing.fuzzing.drawing import Space, usual_values

_MS = 1_000_000
_SECOND = 1000 * _MS
_MOST_VALUES = 8  # of one drawn frame


@st.composite
def frames(draw: st.DrawFn, protocol: str | BusProtocol = "modbus-rtu", *, replies: bool = True) -> bytes:
    """Sound frames of a protocol (its name, or the protocol): requests to read and write and, with `replies`, answers.

    Raises UserError for an unknown protocol.
    """
    speaks = find_protocol(protocol) if isinstance(protocol, str) else protocol
    return draw(_messages(replies).map(lambda given: _encoded(speaks, *given)).filter(bool))


def _messages(replies: bool) -> st.SearchStrategy[tuple[Any, ...]]:
    values = st.lists(st.integers(0, 65535), min_size=1, max_size=_MOST_VALUES)
    kinds = st.sampled_from(("request", "reply") if replies else ("request",))
    return st.tuples(kinds, st.sampled_from((READ, WRITE)), st.integers(0, 255), st.integers(0, 120), values)


def _encoded(speaks: BusProtocol, kind: str, verb: str, bus_id: int, key: int, values: list[int]) -> bytes:
    """A message as bytes; empty if the protocol has no such message."""
    low, high = speaks.addresses
    bus_id = low + bus_id % (high - low + 1)
    carried = tuple(values[: max(1, speaks.most_values)])
    try:
        if kind == "reply":
            return speaks.encode_reply(Reply(bus_id, verb, key, carried))
        return speaks.encode_request(Request(bus_id, verb, key, len(carried), carried if verb == WRITE else ()))
    except Defect:
        return b""


@st.composite
def near_frames(draw: st.DrawFn, protocol: str | BusProtocol = "modbus-rtu") -> bytes:
    """Bytes that are nearly a frame: one with one damage as lines make it (an inverted bit, a byte lost, doubled or
    inserted, two swapped, a missing end or beginning).
    """
    whole = draw(frames(protocol))
    at = draw(st.integers(0, len(whole) - 1))
    byte = bytes((draw(st.integers(0, 255)),))
    swapped = whole[:at] + whole[at + 1 : at + 2] + whole[at : at + 1] + whole[at + 2 :]
    changed = {
        "bit": whole[:at] + bytes((whole[at] ^ 1 << draw(st.integers(0, 7)),)) + whole[at + 1 :],
        "lost": whole[:at] + whole[at + 1 :],
        "doubled": whole[: at + 1] + whole[at:],
        "put in": whole[:at] + byte + whole[at:],
        "swapped": swapped,
        "end missing": whole[:at],
        "beginning missing": whole[at:],
    }
    return draw(st.sampled_from(list(changed.values())).filter(lambda one: one not in (whole, b"")))


def fault_schedules(
    plan: Plan, *, faults: Collection[str] = (), most: int = 3, longest: str = "6 s"
) -> st.SearchStrategy[tuple[FaultEvent, ...]]:
    """Faults of the catalogue at the plan's cameras, lines and converters, in the order of time; each once per place.

    `faults`: names, by default all. Raises UserError for an unknown name, Findings for an invalid plan.
    """
    names = [find_fault(name).name for name in faults] or list(all_faults())
    space = space_of(plan, kinds=names)
    events = _fault_events(space, parse_time(longest))
    return st.lists(events, max_size=most, unique_by=lambda one: one[:2]).map(
        lambda found: tuple(sorted(found, key=lambda one: one[2]))
    )


@st.composite
def _fault_events(draw: st.DrawFn, space: Space, length: int) -> FaultEvent:
    fault = find_fault(draw(st.sampled_from(space.kinds)))
    places = {"camera": space.cameras, "line": space.lines, "converter": space.converters}[fault.on]
    place = draw(st.sampled_from(places))
    # Not before one good second, which judges use for comparison.
    at = draw(st.integers(12, max(12, length * 3 // 4 // (100 * _MS)))) * 100 * _MS
    lasts = draw(st.sampled_from((200, 600, 2000, 8000))) * _MS
    written = []
    for parameter in fault.parameters:
        value = draw(st.sampled_from((None, *usual_values(parameter))))  # None: the default
        if value is not None:
            written.append((parameter.name, value))
    return FaultEvent(fault.name, place, at, lasts, tuple(written))


def operator_actions(plan: Plan, *, most: int = 6, longest: str = "6 s") -> st.SearchStrategy[tuple[Action, ...]]:
    """Operators' moves of controls of the plan's cameras, in the order of time. Raises Findings for an invalid plan."""
    space = space_of(plan, kinds=())
    if not space.controls:
        return st.just(())
    latest = max(10, parse_time(longest) // (100 * _MS) - 6)
    moves = st.sampled_from(space.controls).flatmap(
        lambda one: st.builds(
            lambda at, value: Action(at * 100 * _MS, one.camera, one.name, value),
            st.integers(10, latest), st.integers(one.low, one.high),
        )
    )  # fmt: skip
    return st.lists(moves, max_size=most).map(lambda found: tuple(sorted(found)))


def cases(plan: Plan, *, faults: Collection[str] = (), longest: str = "6 s") -> st.SearchStrategy[Case]:
    """Whole cases for a plan: a seed, a length, a fault schedule and operators' moves. Raises as its parts do."""
    return st.builds(
        Case, st.integers(1, 64), st.just(parse_time(longest)),
        fault_schedules(plan, faults=faults, longest=longest), operator_actions(plan, longest=longest),
    )  # fmt: skip


@st.composite
def plans(draw: st.DrawFn, *, protocol: str = "modbus-rtu") -> Plan:
    """Sound plans: a line of one to six cameras behind a converter, polled by one controller."""
    count = draw(st.integers(1, 6))
    ids = draw(st.lists(st.integers(1, 32), min_size=count, max_size=count, unique=True))
    names = [f"camera {number}" for number in range(1, count + 1)]
    metres = draw(st.lists(st.integers(1, 40), min_size=count, max_size=count))
    order = [{"camera": name, "after": f"{after} m"} for name, after in zip(names, metres, strict=True)]
    text = {
        "busim": 1,
        "name": "drawn wall",
        "lines": [{
            "name": "wall", "protocol": protocol,
            "baud": draw(st.sampled_from(("38400 Bd", "9600 Bd", "19200 Bd", "57600 Bd", "115200 Bd"))),
            "format": draw(st.sampled_from(("8N1", "8E1", "8N2"))),
            "order": ["terminator", {"converter": "box"}, *order, "terminator"],
        }],
        "converters": [{
            "name": "box", "endpoint": "192.0.2.1:4001",
            "packing": {"idle": draw(st.sampled_from(("10 ms", "4 ms", "20 ms")))},
        }],
        "cameras": [
            {"name": name, "bus_id": bus_id, "turnaround": draw(st.sampled_from(("5 ms", "1..3 ms", "10..50 ms")))}
            for name, bus_id in zip(names, ids, strict=True)
        ],
        "masters": [{
            "name": "controller", "through": ["box"],
            "groups": [{"name": "fast", "values": ["iris", "gain"],
                        "every": draw(st.sampled_from(("1 s", "200 ms", "0")))}],
        }],
    }  # fmt: skip
    return read_text(json.dumps(text))
