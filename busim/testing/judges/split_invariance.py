"""Split invariance: does the controller understand a reply in any pieces?"""

from __future__ import annotations

from typing import Any

from busim.testing.judging import NO_HOOK, OUTCOME, About, Ground, Judge, Scene


class SplitInvariance(Judge):
    """Compares exchanges that failed for the controller with replies that were sound and in time."""

    about = About(
        name="split-invariance",
        title="Split invariance: cuts and merges of the stream change nothing",
        passes="each reply that was sound on the wire and in time for the plan is understood, in any pieces and after "
        "any other bytes",
        catches="replies lost by packing, by cuts or merges of the stream, by a buffer that was not emptied",
        needs="the controller's own report: exchange records of a master that busim plays",
        bound="none: each sound reply in time must be understood. In time means by the longest planned response "
        "(computed)",
    )

    def __init__(self, ground: Ground, scene: Scene) -> None:
        super().__init__(ground, scene)
        self._odd: dict[int, int] = {}  # line -> end of the last heard record

    def heard(self, record: tuple[Any, ...]) -> None:
        if record[2] in self.ground.ours:
            self._odd[record[1]] = record[4]

    def claimed(self, record: tuple[Any, ...]) -> None:
        self.judged += 1
        if record[OUTCOME] == "ok":
            self.state = "judging"
            return
        self.state = "failed exchange"
        _, line, _, camera, address, _, work, _, _, sent, ended, _, outcome, _, exact = record
        if (
            outcome == "refused"
            or exact
            or self._odd.get(line, -1) >= sent
            or self.hidden(line, sent, ended, "replies")
        ):
            return
        way = self.ground.lines[line].way
        there = sent + way.latency  # one that came earlier is another, which was held back
        for answer in self.pasts[line].sound:
            asked = answer.asked
            if asked is None or answer.late or answer.exact or asked.start < there or asked.request.address != address:
                continue
            arrived = self.pasts[line].arrived(answer, way.latency)
            if answer.in_time and answer.end < ended and arrived <= ended:
                self.fail(
                    ended,
                    line,
                    f"{work} of {self.ground.name(camera)} ended as {outcome}, though a sound reply was "
                    f"there at {answer.end / 1e9:.6f} s",
                )
                return

    def lacks(self) -> str:
        return "" if self.ground.played else NO_HOOK


JUDGE = SplitInvariance
