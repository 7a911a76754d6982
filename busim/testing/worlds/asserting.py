"""Assertions about a world in the language of the line. A failing one shows the exchange as a timeline.

An assertion without an occasion fails as well: a fault that never took effect, a controller that never reported a
belief. Otherwise a test could pass without testing anything.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import NoReturn

from busim.foundation.errors import UserError
from busim.foundation.units import parse_time
from busim.plan import Plan
from busim.recording.trace import Record
from busim.simulator.faults import find_fault
from busim.simulator.world import Name
from busim.testing.judge_catalogue import all_judges
from busim.testing.judging import FAIL, INCONCLUSIVE, Judge, Verdict, judge_records
from busim.testing.worlds.story import Story

OF_THE_SITE = ("address-plan", "transparency")  # with these faults on, every controller fails: they judge the site


class LineAssertionError(AssertionError):
    """The line is not as asserted. `at`: ns of simulated time, None without an instant."""

    def __init__(self, claim: str, found: str, timeline: str, at: int | None) -> None:
        self.at = at
        super().__init__(f"{claim}\n  but {found}\n\n{timeline}")


def controller_of(plan: Plan) -> str:
    """The plan's master that the controller under test replaces. Raises UserError for a plan without a master."""
    if not plan.masters:
        raise UserError(
            "the plan has no master for the controller under test to stand for", file=plan.path or None,
            expected="a master behind a converter", mend="add `masters` with what the controller polls",
        )  # fmt: skip
    return next((one.name for one in plan.masters if one.through), plan.masters[0].name)


class Asserting:
    """A world that keeps its records. Cameras are those of the plan, durations are written as in a plan (`2 s`)."""

    records: list[Record]

    def _present(self) -> tuple[Plan, Sequence[Name], int]:
        """The plan, the names of the records' numbers and the present instant (ns)."""
        raise NotImplementedError

    def story(self) -> Story:
        """The events so far."""
        plan, names, now = self._present()
        return Story(plan, names, list(self.records), now, controller_of(plan))

    def timeline(self, at: int | None = None) -> str:
        """The exchange around an instant (ns), or the end of it, as text."""
        return self.story().timeline(at)

    def assert_no_value_of(self, camera: str, *, attributed_to: str | None = None, after: str | None = None) -> None:
        """No value that `camera` sent is believed to belong to `attributed_to` (None: any other camera); `after`: from
        the first effect of this fault on.

        Raises LineAssertionError, also if the fault never took effect and if no value was believed.
        """
        __tracebackhide__ = True
        story = self.story()
        other = attributed_to or "another camera"
        claim = f"{_after(after)}no value of {camera} is attributed to {other}"
        self._known(camera, *([attributed_to] if attributed_to else []))
        begun = self._begun(story, claim, after)
        said = [one for one in story.values if one.camera != camera and attributed_to in (None, one.camera)]
        said = [one for one in said if one.at >= begun]
        if not said:
            _fail(story, claim, f"the controller told no value of {other} {_since(begun)}: no hook, or no poll")
        for one in said:
            sender = story.sender(one.value, one.at)
            if sender is not None and sender[0] == camera:
                found = (
                    f"{one.parameter} of {one.camera} = {one.value} is believed at {one.at / 1e9:.6f} s:\n"
                    f"  {camera} sent it as its {sender[1]} at {sender[2] / 1e9:.6f} s"
                )
                _fail(story, claim, found, one.at)

    def assert_reported_offline(self, camera: str, *, within: str, after: str | None = None) -> None:
        """The controller calls `camera` offline within a time of the fault's first effect, or of the last answer."""
        __tracebackhide__ = True
        self._reported(camera, False, within, after)

    def assert_reported_online(self, camera: str, *, within: str) -> None:
        """The controller calls `camera` online within a time of its first answer since it was last called offline.

        If it has not come back, or never was offline: of its first answer at all.
        """
        __tracebackhide__ = True
        self._reported(camera, True, within, None)

    def _reported(self, camera: str, online: bool, within: str, after: str | None) -> None:
        __tracebackhide__ = True
        story = self.story()
        word = "online" if online else "offline"
        claim = f"{_after(after)}{camera} is reported {word} within {within}"
        self._known(camera)
        since = self._begun(story, claim, after)
        if after is None:
            since = _since_when(story, camera, online)
            if since < 0:
                _fail(story, claim, f"{camera} has not answered at all")
        until = since + parse_time(within)
        reports = [one for one in story.status if one.camera == camera and one.at >= since]
        right = next((one for one in reports if one.online is online), None)
        if right is not None and right.at <= until:
            return
        if right is not None:
            _fail(story, claim, f"it is reported {word} {(right.at - since) / 1e9:.3f} s after {_s(since)}", right.at)
        if story.until < until:
            _fail(story, claim, f"the run ended at {_s(story.until)}, before {_s(until)}: run it longer", story.until)
        _fail(story, claim, f"from {_s(since)} to {_s(story.until)} the controller never said so", until)

    def assert_judged(self, *judges: str, every: bool = False) -> tuple[Verdict, ...]:
        """These judges (`busim explain judges`) pass; by default all that judge a controller. `every`: one without an
        occasion fails too. Returns the verdicts.
        """
        __tracebackhide__ = True
        verdicts = self.verdicts(judges)
        for one in verdicts:
            claim = f"the controller passes the judge {one.judge}"
            if one.outcome == FAIL:
                first = one.evidence[0]
                fault = f" (last fault: {first.fault})" if first.fault else ""
                _fail(self.story(), claim, f"at {_s(first.at)}: {first.what}{fault}", first.at)
            if every and one.outcome == INCONCLUSIVE:
                _fail(self.story(), claim, f"that is inconclusive: {one.why}")
        return verdicts

    def verdicts(self, judges: Collection[str] = ()) -> tuple[Verdict, ...]:
        """The verdicts of these judges so far; by default of all that judge a controller. Raises UserError for an
        unknown name.
        """
        story = self.story()
        records = list(self.records)
        return tuple(judge_records(story.ground, records, story.until, judges_of(judges), meant=bool(story.effects)))

    def _known(self, *cameras: str) -> None:
        plan, _, _ = self._present()
        known = [one.name for one in plan.cameras]
        for camera in cameras:
            if camera not in known:
                raise UserError("the plan has no camera of this name", found=repr(camera), expected=", ".join(known))

    def _begun(self, story: Story, claim: str, after: str | None) -> int:
        __tracebackhide__ = True
        if after is None:
            return 0
        find_fault(after)
        begun = story.began(after)
        if begun is None:
            _fail(story, claim, f"{after} never took effect")
        return begun


def judges_of(names: Collection[str]) -> list[type[Judge]]:
    """Judges by name, or all that judge a controller. Raises UserError for an unknown name."""
    known = all_judges()
    for name in names:
        if name not in known:
            raise UserError("there is no judge of this name", found=repr(name[:60]), expected=", ".join(known))
    return [judge for name, judge in known.items() if name in names or (not names and name not in OF_THE_SITE)]


def _since_when(story: Story, camera: str, online: bool) -> int:
    """ns of the camera's last sound answer, or (`online`) of the first one since it was last called offline."""
    number = next(n for n, (kind, name) in story.ground.names.items() if kind == "camera" and name == camera)
    ends = [one.end for one in story.answers if one.camera == number and one.reply is not None]
    if not online:
        return max(ends, default=-1)
    gone = max((one.at for one in story.status if one.camera == camera and not one.online), default=-1)
    return next((end for end in ends if end > gone), min(ends, default=-1))


def _after(fault: str | None) -> str:
    return "" if fault is None else f"after {fault} "


def _since(begun: int) -> str:
    return f"after {_s(begun)}" if begun else "at all"


def _s(at: int) -> str:
    return f"{at / 1e9:.3f} s"


def _fail(story: Story, claim: str, found: str, at: int | None = None) -> NoReturn:
    __tracebackhide__ = True
    raise LineAssertionError(claim, found, story.timeline(at), at)
