"""The good master: one request at a time, and it goes on whatever the line does.

Commands go before polls, but a due poll gets its turn after a few commands. Each task has a computed time-out. Commands
are repeated; polls are not (the next poll is the repeat), nor are steps, which may have been carried out. A wrong ID or
junk does not end the wait. After a failed attempt the master drains the line until it is quiet. A camera that failed
three times and for a second is offline: it gets single probes at growing pauses, so the others hardly notice. A probe
reads, so no old command reaches a camera that comes back.

Pure: instants and bytes in, a Step out; no clock, no line, no socket.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from heapq import heapify, heappop, heappush
from typing import Final

from mypy_extensions import mypyc_attr

from busim.installation import POLICY, MasterPolicy
from busim.protocols import Reply, Request, StreamFramer
from busim.simulator.masters.work import (
    COMMAND,
    DAMAGED,
    NOTHING,
    OK,
    POLL,
    PROBE,
    REFUSED,
    TIME_OUT,
    Attempt,
    Step,
    Target,
    Task,
)

_new: Final = tuple.__new__  # a named tuple's own constructor without one call
_IDLE: Final = 0
_WAITING: Final = 1
_DRAINING: Final = 2


@mypyc_attr(allow_interpreted_subclasses=True)
class Master:
    """One master on one line. `gap`: ns between a reply and the next request; `drain`: ns of quiet after a failure.

    `echo`: it hears its own bytes before the reply. `alone`: nobody else polls here, so unexpected bytes are a late
    reply or junk, and the next request leaves the gap after those too, at least two characters. `char`: ns of one
    character on the wire.

    `done` is called with every Attempt. Call `step` at its wake-up time, `heard` when bytes arrive.
    """

    def __init__(
        self,
        finder: StreamFramer,
        polls: list[Task],
        done: Callable[[Attempt], None],
        *,
        gap: int,
        drain: int,
        char: int,
        policy: MasterPolicy = POLICY,
        starts_at: int = 0,
        echo: bool = False,
        alone: bool = False,
    ) -> None:
        self._finder = finder
        self._done = done
        self._gap = gap
        self._drain = drain
        self._policy = policy
        self._hears_itself = echo
        self._alone = alone
        # Without a silence in the protocol, two characters of quiet show that a burst is over.
        self._quiet = max(drain, 2 * char)
        self._clear = max(gap, 2 * char)
        self._heard_at = -self._quiet - 1
        self._own = b""  # what it sent, until that has come back
        self._came = b""  # bytes since it sent that
        self._count = 0
        self._polls: list[tuple[int, int, Task]] = []
        self._commands: deque[Task] = deque()
        self._in_a_row = 0
        self._state = _IDLE
        self._task: Task | None = None
        self._sent = 0
        self._spoilt = False
        self._until = starts_at  # idle: may send from here; waiting: time-out; draining: is quiet
        self._drain_end = 0
        for task in polls:
            self._queue(task, starts_at)

    def _queue(self, task: Task, due: int) -> None:
        self._count += 1
        heappush(self._polls, (due, self._count, task))

    @property
    def awaited(self) -> Request | None:
        """The request whose reply it waits for."""
        return self._task.request if self._task is not None and self._state == _WAITING else None

    # -- inputs ---------------------------------------------------------------------------------------------

    def command(self, task: Task, at: int, *, absolute: bool = True) -> Step:
        """An operator's command. A new absolute value replaces a waiting one of the same control, unless a relative
        move of the camera came in between.
        """
        task.asked = at
        task.relative = task.relative or not absolute
        same = None if task.relative else self._waiting_for(task)
        if same is not None:
            same.request, same.raw = task.request, task.raw
            return NOTHING
        self._commands.append(task)
        return self.step(at) if self._state == _IDLE else NOTHING

    def _waiting_for(self, task: Task) -> Task | None:
        """A waiting command for the same control that this one may replace."""
        for waiting in reversed(self._commands):
            if waiting.target is task.target:
                if waiting.relative:
                    return None
                if waiting.request[:4] == task.request[:4] and waiting.attempt == 1:
                    return waiting
        return None

    def step(self, at: int) -> Step:
        """Its wake-up time has come (or may have)."""
        if at < self._until:
            return (None, self._until)
        if self._state == _WAITING:
            return self._ended(at, DAMAGED if self._spoilt or self._finder.held else TIME_OUT)
        self._state = _IDLE
        task = self._choose(at)
        if task is None:
            return (None, self._polls[0][0] if self._polls else None)
        self._task = task
        self._state = _WAITING
        self._sent = at
        self._spoilt = False
        self._until = at + task.time_out
        return (self._sends(task), self._until)

    def heard(self, data: bytes, at: int, *, flagged: bool = False) -> Step:
        """Bytes arrived; `flagged`: with a framing or parity error, so they are not to be trusted."""
        self._heard_at = at
        if self._own:
            data = self._without_echo(data)
            if not data:
                return NOTHING
        if flagged:
            self._spoilt = True
        elif self._state == _WAITING:
            reply = self._found(data, at)
            if reply is not None:
                return self._answered(reply, at)
        if self._state == _DRAINING:
            self._until = min(at + self._quiet, self._drain_end)
            return (None, self._until)
        if self._alone and self._state == _IDLE and at + self._clear > self._until:
            self._until = at + self._clear
            return (None, self._until)
        return NOTHING

    # Small steps, each with a name, so that a test can change one of them and see which judge notices.

    def _sends(self, task: Task) -> bytes:
        """The bytes of a request that leaves now."""
        raw = self._finder.ask(task.request, task.raw)
        if self._hears_itself:
            self._own, self._came = raw, b""
        return raw

    def _without_echo(self, data: bytes) -> bytes:
        """The received bytes without its own echo: what comes first, or, behind bytes that were under way when it began
        to send, those that are the same as its request. A reply may be the same too, so the first such bytes are none.
        """
        own, before = self._own, len(self._came)
        came = self._came = self._came + data
        size = len(own)
        start = 0 if came[:size] == own[: len(came)] else came.find(own)
        if start >= 0 and len(came) >= start + size:
            self._own = b""
            return came[start + size :]
        return came[max(size, before) :]

    def _found(self, data: bytes, at: int) -> Reply | None:
        """The reply completed by these bytes."""
        return self._finder.feed(data, at)

    # -- what to ask ----------------------------------------------------------------------------------------

    def _choose(self, at: int) -> Task | None:
        poll = None if self._commands and self._in_a_row < self._policy.commands_in_a_row else self._due_poll(at)
        if poll is None and self._commands:
            self._in_a_row += 1
            return self._commands.popleft()
        self._in_a_row = 0
        return poll

    def _due_poll(self, at: int) -> Task | None:
        """The poll or probe that is due first. Polls of offline cameras are set aside until the camera is back."""
        polls = self._polls
        while polls and polls[0][0] <= at:
            due, _, task = heappop(polls)
            if task.target.online or task.kind != POLL:
                task.asked = due
                return task
            task.target.parked.append(task)
        return None

    # -- what became of it ----------------------------------------------------------------------------------

    def _answered(self, reply: Reply, at: int) -> Step:
        task = self._task
        assert task is not None
        target = task.target
        if target.failures:
            target.failures = 0
        if not target.online:
            self._back(target, at)
        free = self._until = at + self._gap
        self._state = _IDLE
        self._report(at, free, REFUSED if reply.refused else OK, reply.values)
        if task.kind == POLL:
            self._queue(task, max(task.asked + task.every, at) if task.every else at)
        return (None, free)

    def _back(self, target: Target, at: int) -> None:
        """An offline camera answered: resume its polls, and cancel its waiting probe."""
        target.online = True
        self._polls = [entry for entry in self._polls if entry[2].target is not target or entry[2].kind != PROBE]
        heapify(self._polls)
        for parked in target.parked:
            self._queue(parked, at)
        target.parked = []

    def _ended(self, at: int, outcome: str) -> Step:
        task = self._task
        assert task is not None
        target = task.target
        if not target.failures:
            target.failed_at = self._sent
        target.failures += 1
        # The last character is known at the middle of its stop bit, so it may end after the time-out.
        quiet = self._quiet if at - self._heard_at < self._quiet else self._drain
        free = self._until = max(at, self._heard_at) + quiet
        self._drain_end = at + self._policy.longest_drain
        self._state = _DRAINING
        self._report(at, free, outcome, ())
        if task.kind == COMMAND and self._may_repeat(task):
            task.attempt += 1
            self._commands.appendleft(task)
        self._judge(target, task, at)
        return (None, free)

    def _may_repeat(self, task: Task) -> bool:
        """Whether a failed command is repeated; one with an effect at each execution is not."""
        return task.attempt < task.tries and task.target.online and not task.relative

    def _judge(self, target: Target, task: Task, at: int) -> None:
        """Decide whether the camera is offline. Then it is probed at growing pauses; else a failed poll waits for its
        turn.
        """
        if target.online and self._gone(target, at):
            target.online = False
            target.pause = self._policy.first_pause
            probe = self._probe_of(target, task)
            if probe is not None:
                self._queue(probe, at + target.pause)
            if task.kind == POLL:
                target.parked.append(task)
        elif task.kind == PROBE:
            target.pause = self._policy.next_pause(target.pause)
            self._queue(task, at + target.pause)
        elif task.kind == POLL:
            self._queue(task, max(task.asked + task.every, at) if task.every else at)

    def _gone(self, target: Target, at: int) -> bool:
        """Whether it has failed often and long enough to count as offline."""
        policy = self._policy
        return target.failures >= policy.failures and at - target.failed_at >= policy.failing_for

    def _probe_of(self, target: Target, failed: Task) -> Task | None:
        """The probe for a camera that has just failed in `failed`: one of its polls, or the probe it was given. Never a
        command: its value could arrive long after newer ones.
        """
        like = failed if failed.kind == POLL else next((e[2] for e in self._polls if e[2].target is target), None)
        if like is None:
            return target.probe
        return Task(target, PROBE, "probe", like.request, like.raw, like.time_out)

    def _report(self, ended: int, free: int, outcome: str, values: tuple[int, ...]) -> None:
        task = self._task
        assert task is not None
        self._task = None
        self._done(_new(Attempt, (task, task.attempt, task.asked, self._sent, ended, free, outcome, values)))
