"""The contract of a judge: its description and its events."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any, ClassVar, Final

from mypy_extensions import mypyc_attr

from busim.testing.judging.events import Answered, Asked, Settled
from busim.testing.judging.ground import Ground
from busim.testing.judging.past import LinePast
from busim.testing.judging.verdict import FAIL, INCONCLUSIVE, PASS, Evidence, Frame, Verdict

NO_HOOK: Final = "no hook"
_MOST: Final = 5  # pieces of evidence that a verdict keeps; the rest is counted


@dataclass(frozen=True, slots=True)
class About:
    """The description of a judge. `needs`: records it requires; `bound`: the limit and its source; `catches`: faults of
    the catalogue and defects of controllers that make it fail.
    """

    name: str
    title: str
    passes: str
    catches: str
    needs: str
    bound: str

    def page(self) -> str:
        """The judge as a page of markdown."""
        return (
            f"# {self.title}\n\n`{self.name}`: a judge.\n\n**Passes when** {self.passes}.\n\n"
            f"**Catches** {self.catches}.\n\n**Needs** {self.needs}.\n\n**Bound.** {self.bound}.\n"
        )


@mypyc_attr(allow_interpreted_subclasses=True)
class Scene:
    """The recent past for judges: of each line (`pasts`), and the faults that took effect. `hides` is empty as long as
    `hidden` says no to everything.
    """

    pasts: dict[int, LinePast]
    hides: Collection[object]

    def met(self, line: int, since: int, until: int) -> bool:
        """Whether the controller's last request that crossed with a fitting reply went out between two instants."""
        raise NotImplementedError

    def frames(self, line: int, until: int) -> tuple[Frame, ...]:
        """The last frames of a line that began by `until` ns."""
        raise NotImplementedError

    def fault(self, at: int) -> str:
        """The last fault that took effect by `at` ns, in words; empty for none."""
        raise NotImplementedError

    def hidden(self, line: int, since: int, until: int, *kinds: str) -> bool:
        """Whether a converter may have changed, delayed or added any of `kinds` (requests, replies, or late-replies:
        those delivered after later requests; none: requests or replies) between two instants (ns), so that the records
        do not show what the controller sent or heard. Requests count as hidden while a connection is lost, too;
        swallowed-requests are those alone that a converter took over a connection and did not send, or not as requests,
        late-requests those that it held back, added-requests those of others or its own repeats; lost-connection:
        without a connection.
        """
        raise NotImplementedError


@mypyc_attr(allow_interpreted_subclasses=True)
class Judge:
    """A fold over the events of a run: the methods that a judge overrides are called in the order of time; then
    `verdict`.

    `state`: a word for its present situation; a campaign uses it to measure its coverage. `hidden`, `hides`, `pasts`,
    `met`: see `Scene`. `ignores`: methods that need not be called in this run, as the ground says.
    """

    about: ClassVar[About]
    state = "quiet"
    ignores: frozenset[str] = frozenset()

    def __init__(self, ground: Ground, scene: Scene) -> None:
        self.ground = ground
        self.judged = 0
        self.failed = 0
        self.evidence: list[Evidence] = []
        self._scene = scene
        self.hidden = scene.hidden
        self.hides = scene.hides
        self.pasts = scene.pasts
        self.met = scene.met

    # -- what happens; each is called only where a judge overrides it --------------------------------------------

    def sent(self, record: tuple[Any, ...]) -> None:
        """A station has sent a burst, sound or not: a burst record. Called only on lines with a converter."""

    def asked(self, event: Asked) -> None:
        """A request of the controller was on the wire."""

    def others_asked(self, event: Asked) -> None:
        """A request of another master was on the wire."""

    def commanded(self, event: Asked) -> None:
        """A request of the controller was on the wire that is no read."""

    def answered(self, event: Answered) -> None:
        """A camera has answered one of the last requests."""

    def unasked(self, event: Answered) -> None:
        """A camera has sent a burst that answers none of the last requests."""

    def settled(self, event: Settled) -> None:
        """A request of the controller is over on the wire: its next one comes, or the run ends."""

    def unanswered(self, event: Settled) -> None:
        """A request of the controller is over, without a sound reply to it."""

    def claimed(self, record: tuple[Any, ...]) -> None:
        """The controller under test, played by busim, reports the result of a request: an exchange record."""

    def intended(self, record: tuple[Any, ...]) -> None:
        """An operator wants a change: an intent record."""

    def believed(self, record: tuple[Any, ...]) -> None:
        """The controller reports a belief: a belief record."""

    def changed(self, record: tuple[Any, ...]) -> None:
        """A parameter of a camera, or a port, changed: a change record."""

    def took_effect(self, record: tuple[Any, ...]) -> None:
        """A fault or a policy took effect: an effect record."""

    def entered(self, record: tuple[Any, ...]) -> None:
        """An input from outside: an input record."""

    def heard(self, record: tuple[Any, ...]) -> None:
        """A receiver heard different characters than were sent: a heard record."""

    def ended(self, until: int) -> None:
        """The run ends at `until` ns: judge all open occasions."""

    # -- what it says --------------------------------------------------------------------------------------------

    def fail(self, at: int, line: int, what: str) -> None:
        """Count one violation."""
        self.failed += 1
        self.state = "failed"
        if len(self.evidence) < _MOST:
            self.evidence.append(Evidence(at, what, self._scene.frames(line, at), self._scene.fault(at)))

    def lacks(self) -> str:
        """The records that it needs and did not get; empty if it got all of them."""
        return ""

    def verdict(self, effects: int, meant: bool) -> Verdict:
        """`effects`: the number of effects of faults; `meant`: whether the run was to have faults."""
        outcome, why = PASS, f"held on {self.judged} occasions"
        if self.failed:
            outcome, why = FAIL, self.evidence[0].what
        elif lacks := self.lacks():
            outcome, why = INCONCLUSIVE, lacks
        elif not self.judged:
            outcome, why = INCONCLUSIVE, "there was no occasion to judge"
        elif meant and not effects:
            outcome, why = INCONCLUSIVE, "no fault took effect"
        return Verdict(self.about.name, outcome, why, self.judged, self.failed, effects, tuple(self.evidence))
