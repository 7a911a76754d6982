"""busim: a camera bus on a shared RS-485 line, in software.

As a library: read a plan, run it, read its figures.

    >>> import busim
    >>> plan = busim.read_plan("scenarios/climbing-hall/plan.yaml")
    >>> run = busim.Run(plan, seed=1)
    >>> run.advance(10 * 10**9)
    >>> run.finish()
    >>> for line in run.report().lines:
    ...     print(line.name, line["time_outs"].value, line["poll_rate"].value > 40)
    boulder line 0 True
    rope line 0 True
    speed line 0 True

A name finds one figure: `run.report().line("rope line").camera("rope left")["age_mean"].value`.

Plans:
    read_plan       read a plan file; a `Plan`
    read_plan_text  the same from its text
    change_plan     a plan with other values, as `busim plan set` does
    Plan            a plan: lines, cameras, converters, masters, panels

Sessions, each with `trace=PATH` to record it:
    Run             the plan's own masters, as fast as possible
    Virtual         an asyncio program against the plan, in simulated time
    serial_world    a pyserial program against the plan, in simulated time; a `SerialWorld`
    SerialWorld     the converters of such a session, as URLs for pyserial
    Live            any program against the plan, in wall time
    Intent          an operator's move, as sent to a controller
    WallTime        the warning about a program in simulated time that uses the wall clock

Results:
    Report          the figures of a session, by line and camera
    open_trace      open a recorded file; a `Trace`
    Trace           names, settings and records of such a file
    replay          play a recorded session again and compare; a `Replay`
    Replay          the report of such a replay, and the first difference

Errors:
    BusimError      the root of the two
    UserError       the caller can mend it: place, value found, value expected, remedy
    Defect          a bug of busim

    __version__     the version of busim, as text

Times. Every instant and length of time is an integer of nanoseconds: arguments, attributes, records. Instants count
from the start of the session in simulated time; `epoch` alone is UTC since 1970. A figure is not a time but a number in
its own unit (`value.quantity.unit`), in seconds if that is "s". Text written by people names its unit ("300 ms").
asyncio, pyserial and the module `time` keep their seconds, so `loop.time()` and `SerialWorld.clock` have them too.

Only names in `__all__` are for use from outside. `busim explain library` says more.

Names are fetched at first use, so importing busim costs next to nothing. A package imports only from packages below it
(see DEVELOPERS.md).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from busim.foundation.errors import BusimError, Defect, UserError
    from busim.plan import Plan
    from busim.plan import change as change_plan
    from busim.plan import read as read_plan
    from busim.plan import read_text as read_plan_text
    from busim.protocols.hook import Intent
    from busim.recording.trace import Trace, open_trace
    from busim.runtime.clocks import WallTime
    from busim.runtime.session import Live, Replay, Report, Run, SerialWorld, Virtual
    from busim.runtime.session.replay import replay
    from busim.runtime.session.serial_world import serial_world

from busim.foundation.version import VERSION as __version__

__all__ = [
    "BusimError",
    "Defect",
    "Intent",
    "Live",
    "Plan",
    "Replay",
    "Report",
    "Run",
    "SerialWorld",
    "Trace",
    "UserError",
    "Virtual",
    "WallTime",
    "__version__",
    "change_plan",
    "open_trace",
    "read_plan",
    "read_plan_text",
    "replay",
    "serial_world",
]

# name -> its package, and its name there
_FROM = {
    "BusimError": ("foundation.errors", "BusimError"),
    "Defect": ("foundation.errors", "Defect"),
    "Intent": ("protocols.hook", "Intent"),
    "Live": ("runtime.session", "Live"),
    "Plan": ("plan", "Plan"),
    "Replay": ("runtime.session", "Replay"),
    "Report": ("runtime.session", "Report"),
    "Run": ("runtime.session", "Run"),
    "SerialWorld": ("runtime.session", "SerialWorld"),
    "Trace": ("recording.trace", "Trace"),
    "UserError": ("foundation.errors", "UserError"),
    "Virtual": ("runtime.session", "Virtual"),
    "WallTime": ("runtime.clocks", "WallTime"),
    "change_plan": ("plan", "change"),
    "open_trace": ("recording.trace", "open_trace"),
    "read_plan": ("plan", "read"),
    "read_plan_text": ("plan", "read_text"),
    "replay": ("runtime.session", "replay"),
    "serial_world": ("runtime.session", "serial_world"),
}

if not TYPE_CHECKING:  # or a type checker would believe that every name is there

    def __getattr__(name):
        if name not in _FROM:
            raise AttributeError(f"module 'busim' has no attribute {name!r}")
        from importlib import import_module

        package, there = _FROM[name]
        value = globals()[name] = getattr(import_module(f"busim.{package}"), there)
        return value

    def __dir__():
        return sorted({*globals(), *__all__})
