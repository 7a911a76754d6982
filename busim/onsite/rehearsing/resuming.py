"""Going on with a record: which steps stand, and what they left behind.

A new ID that was not saved may be lost by now. So the steps from `identify` to the power cycle stand together or not at
all. The line is listened to again in any case, and all cameras are polled again after any step before that poll.
"""

from __future__ import annotations

from collections.abc import Sequence

from busim.commissioning.rehearse import OK, Step
from busim.commissioning.site_record import SiteRecord
from busim.foundation.errors import UserError
from busim.installation.rehearsal import (
    ASSIGN,
    CONNECT,
    CYCLE,
    DISCONNECT,
    IDENTIFY,
    LISTEN,
    ROUND,
    SAVE,
    SET_PORT,
    TUNE,
)
from busim.onsite.rehearsing.real_site import RealSite

_TOGETHER = (IDENTIFY, ASSIGN, SET_PORT, SAVE, CYCLE)


def done_before(site: RealSite, steps: Sequence[Step], record: SiteRecord) -> frozenset[int]:
    """Numbers of the steps that stand; the beliefs of the site are set as they left them.

    Raises UserError if the record is of other steps.
    """
    latest = record.latest
    for number, entry in latest.items():
        if number > len(steps) or (steps[number - 1].do, steps[number - 1].camera) != (entry.do, entry.camera):
            raise UserError(
                "the record is of other steps", found=f"step {number}: {entry.do} {entry.camera}".strip(),
                expected="the steps of this plan and line", mend="begin a new record",
            )  # fmt: skip
    stands = {number for number, entry in latest.items() if entry.outcome == OK and entry.do != LISTEN}
    for camera in {step.camera for step in steps if step.camera}:
        group = {n for n, step in enumerate(steps, 1) if step.camera == camera and step.do in _TOGETHER}
        if not group <= stands:
            stands -= group
    listens = {number for number, step in enumerate(steps, 1) if step.do == LISTEN}
    todo = min({*range(1, len(steps) + 1)} - stands - listens, default=len(steps) + 1)
    stands -= {number for number, step in enumerate(steps, 1) if step.do == ROUND and todo < number}
    tuned = [number for number in stands if steps[number - 1].do == TUNE and number < todo]
    stands -= {max(tuned)} if tuned else set()  # the port is set again
    for number in sorted(stands):
        _restore(site, steps[number - 1], latest[number].bus_id, by_hand=latest[number].by_hand)
    return frozenset(stands)


def _restore(site: RealSite, step: Step, bus_id: int | None, *, by_hand: bool) -> None:
    if step.do == CONNECT:
        site.met.add(step.camera)
    elif step.do == DISCONNECT:
        site.met.discard(step.camera)
    if step.camera and bus_id is not None:
        site.believed[step.camera] = bus_id
    if by_hand:
        site.by_hand.add(step.camera)
