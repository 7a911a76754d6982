"""Broken masters: the good one, each changed in at most five lines to have a defect seen in the field.

They prove the judges: on each of them a judge must fail that passes on the good one. They are part of busim, not of its
tests, so that users can see the effect of a judge, and can try a campaign before they try it on a program.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from busim.protocols import Reply, StreamFramer
from busim.protocols.modbus_rtu import check
from busim.simulator.masters import COMMAND, POLL, Attempt, Master, Step, Target, Task


class LateReplyTaken(Master):
    _late: StreamFramer | None = None  # looks for the reply that it had given up

    def _found(self, data: bytes, at: int) -> Reply | None:
        late = self._late.feed(data, at) if self._late else None
        return late or super()._found(data, at)

    def _ended(self, at: int, outcome: str) -> Step:
        self._late = copy(self._finder)
        return super()._ended(at, outcome)


class WrongIdAccepted(Master):
    def _found(self, data: bytes, at: int) -> Reply | None:
        if self._task is not None:
            self._finder.expect(self._task.request._replace(address=data[0]))
        return super()._found(data, at)


class FirstBytesAreMine(Master):
    def _found(self, data: bytes, at: int) -> Reply | None:
        assert self._task is not None
        address, verb, key, *_ = self._task.request
        return super()._found(data, at) or Reply(address, verb, key)


class ChecksumIgnored(Master):
    def _found(self, data: bytes, at: int) -> Reply | None:
        return super()._found(check(data[:-2]), at)


class NeverResynchronises(Master):
    _kept = b""

    def _found(self, data: bytes, at: int) -> Reply | None:
        self._kept += data
        assert self._task is not None
        reply = super()._found(data, at) if self._kept[0] == self._task.request.address else None
        self._kept = b"" if reply else self._kept
        return reply


class EchoTaken(Master):
    def _without_echo(self, data: bytes) -> bytes:
        return data


class NoDrain(Master):
    def __init__(self, *parts: Any, **more: Any) -> None:
        super().__init__(*parts, **(more | {"drain": 0}))


class NoGap(Master):
    def __init__(self, *parts: Any, **more: Any) -> None:
        super().__init__(*parts, **(more | {"gap": 0}))


class Impatient(Master):
    def _sends(self, task: Task) -> bytes:
        self._until -= task.time_out * 3 // 4
        return super()._sends(task)


class TwoOutstanding(Master):
    def _sends(self, task: Task) -> bytes:
        second = self._polls[0][2].raw if self._polls else b""
        return super()._sends(task) + second


class RetryStorm(Master):
    def _judge(self, target: Target, task: Task, at: int) -> None:
        if task.kind != COMMAND:
            self._queue(task, 0)


class RepeatsForEver(Master):
    def _may_repeat(self, task: Task) -> bool:
        return True


class StepRepeated(Master):
    def _may_repeat(self, task: Task) -> bool:
        return task.attempt < task.tries


class PollsFirst(Master):
    def _choose(self, at: int) -> Task | None:
        return self._due_poll(at) or super()._choose(at)


class DeadCameraBlocks(Master):
    def _sends(self, task: Task) -> bytes:
        task.target.failures = 0
        return super()._sends(task)


class ProbesWithoutRest(Master):
    def _queue(self, task: Task, due: int) -> None:
        super()._queue(task, due if task.kind == POLL else 0)


class NeverProbes(Master):
    def _probe_of(self, target: Target, failed: Task) -> Task | None:
        return None


class ForgetsCommands(Master):
    def _ended(self, at: int, outcome: str) -> Step:
        self._commands.clear()
        return super()._ended(at, outcome)


class SuccessBeforeAcknowledge(Master):
    def step(self, at: int) -> Step:
        raw, wake = super().step(at)
        if raw and self._task is not None and self._task.kind == COMMAND:
            self._done(Attempt(self._task, 1, self._task.asked, at, at, at, "ok", ()))
        return raw, wake


class NeverOffline(Master):
    def _gone(self, target: Target, at: int) -> bool:
        return False


class HastyOffline(Master):
    def _gone(self, target: Target, at: int) -> bool:
        return target.failures > 0


class MakesUpForLostPolls(Master):
    def _queue(self, task: Task, due: int) -> None:
        super()._queue(task, min(due, task.asked + task.every) if task.kind == POLL and task.every else due)


@dataclass(frozen=True, slots=True)
class Broken:
    """One broken master: its defect, and the judges that find it, whichever comes first."""

    make: type[Master]
    title: str
    found_by: tuple[str, ...]


BROKEN = MappingProxyType(
    {
        "late-reply-taken": Broken(
            LateReplyTaken,
            "the previous request's reply is taken as the answer",
            ("attribution", "nothing-corrupt"),
        ),
        "wrong-id-accepted": Broken(WrongIdAccepted, "the ID of a reply is not checked", ("nothing-corrupt",)),
        "first-bytes-are-mine": Broken(
            FirstBytesAreMine, "the first bytes are taken as the answer", ("nothing-corrupt",)
        ),
        "checksum-ignored": Broken(
            ChecksumIgnored, "the check of a reply is not verified", ("nothing-corrupt", "split-invariance")
        ),
        "never-resynchronises": Broken(
            NeverResynchronises,
            "bytes of no reply stay before all later ones",
            ("recovery", "split-invariance"),
        ),
        "echo-taken": Broken(EchoTaken, "its own echo is taken as the reply", ("no-silent-success",)),
        "no-drain": Broken(NoDrain, "it goes on after a time-out, whatever still arrives", ("quiet-line",)),
        "no-gap": Broken(NoGap, "it sends the next request without a pause", ("quiet-line",)),
        "impatient": Broken(Impatient, "its time-out is shorter than a reply", ("one-outstanding",)),
        "two-outstanding": Broken(TwoOutstanding, "the next request goes out with this one", ("one-outstanding",)),
        "retry-storm": Broken(
            RetryStorm, "a failed request goes out again at once, for ever", ("bounded-work", "fairness")
        ),
        "repeats-for-ever": Broken(RepeatsForEver, "a command is repeated until it succeeds", ("bounded-work",)),
        "step-repeated": Broken(StepRepeated, "a step whose reply is lost is sent again", ("at-most-once",)),
        "polls-first": Broken(PollsFirst, "commands wait for polls", ("command-latency",)),
        "dead-camera-blocks": Broken(
            DeadCameraBlocks, "a dead camera is polled like any other", ("fairness", "truthful-status")
        ),
        "probes-without-rest": Broken(
            ProbesWithoutRest, "a dead camera is probed before all polls", ("fairness", "bounded-work")
        ),
        "never-probes": Broken(NeverProbes, "a camera that was offline is never polled again", ("recovery",)),
        "forgets-commands": Broken(ForgetsCommands, "a failure drops the waiting commands", ("command-latency",)),
        "success-before-acknowledge": Broken(
            SuccessBeforeAcknowledge, "a command counts as done when it is sent", ("no-silent-success",)
        ),
        "never-offline": Broken(NeverOffline, "a dead camera is shown as online", ("truthful-status",)),
        "hasty-offline": Broken(HastyOffline, "one failure makes a camera offline", ("truthful-status",)),
        "makes-up-for-lost-polls": Broken(
            MakesUpForLostPolls, "polls missed during a stall are all sent after it", ("calm",)
        ),
    }
)
