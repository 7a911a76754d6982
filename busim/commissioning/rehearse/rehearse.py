"""One rehearsal: the steps in order on the emulated site, each with its result and the reason if it failed.

A camera whose step failed stays as it is, as if nobody had noticed, and its later steps are skipped. The other cameras
continue, so the effect of the mistake on them shows. A line that already has a master gets no requests.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterator, Sequence

from busim.commissioning.rehearse.doing import do
from busim.commissioning.rehearse.emulated import EmulatedSite
from busim.commissioning.rehearse.result import FAILED, SKIPPED, Done, Outcome, Rehearsal
from busim.commissioning.rehearse.script import Planned
from busim.commissioning.rehearse.site import Site
from busim.commissioning.rehearse.steps import Assumed, Step
from busim.installation.rehearsal import ASSIGN, BINDINGS, IDENTIFY, LISTEN, READ_BACK, SAVE, SET_PORT, TEST_PICTURE
from busim.plan import Plan
from busim.simulator.world import World


def rehearse(
    plan: Plan,
    world: World,
    cameras: dict[str, Planned],
    steps: Sequence[Step],
    assumed: Assumed,
    *,
    seed: int = 1,
    what_if: str = "",
    advanced: Callable[[int, int], None] = lambda *_: None,
) -> Rehearsal:
    """Run the steps in a started world that was built from `plan` without masters.

    `cameras`: from `planned`. `advanced`: called after each step with the steps done and the total.
    """
    site, done = EmulatedSite(plan, world, cameras), list[Done]()
    for one in run_steps(site, steps):
        done.append(one)
        advanced(one.number, len(steps))
    ids = {name: camera.bus_id for name, camera in cameras.items()}
    proposed = tuple(name for name, camera in cameras.items() if camera.proposed)
    return Rehearsal(plan.name, seed, tuple(done), ids, proposed, assumed, what_if)


def run_steps(
    site: Site,
    steps: Sequence[Step],
    before: Container[int] = (),
    begins: Callable[[int, Step], None] = lambda *_: None,
) -> Iterator[Done]:
    """Do the steps one after the other. `before`: numbers of steps that are done already, and are passed over;
    `begins`: called before each of the others that is not skipped.
    """
    failed: dict[tuple[str, str], int] = {}  # camera, or line with a master, to step number
    for number, step in enumerate(steps, 1):
        if number in before:
            continue
        outcome = _skipped(site, step, failed)
        if outcome is None:
            begins(number, step)
        began, asked = site.now, _asked(site, step)
        outcome = outcome or do(site, step)
        if outcome.outcome == FAILED and step.camera:
            failed["camera", step.camera] = number
            site.met.discard(step.camera)
        elif outcome.outcome == FAILED and step.do == LISTEN:
            failed["line", step.line] = number
        yield Done(
            number, step, outcome.outcome, began, site.now - began, outcome.seen, outcome.look, outcome.reason, asked
        )


def _asked(site: Site, step: Step) -> int | None:
    """The bus ID at which a step asks its camera."""
    if step.do in (ASSIGN, SAVE, SET_PORT) or (step.do == IDENTIFY and step.bus_id is None):
        return site.believed[step.camera] if step.bus_id is None or step.do == ASSIGN else step.bus_id
    if step.do in (READ_BACK, TEST_PICTURE, BINDINGS) and step.bus_id is None:
        return site.cameras[step.camera].bus_id
    return step.bus_id


def _skipped(site: Site, step: Step, failed: dict[tuple[str, str], int]) -> Outcome | None:
    number = failed.get(("camera", step.camera)) or failed.get(("line", step.line))
    if number is not None:
        return Outcome(SKIPPED, f"step {number} failed")
    if step.line in site.refused:
        return Outcome(SKIPPED, f"{site.refused[step.line].what}: no laptop can be connected")
    return None
