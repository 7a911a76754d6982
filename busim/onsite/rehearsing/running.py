"""The run: step after step on the real line, each in the record before the next one begins.

However it ends (Ctrl-C, a port that vanishes, another master), the record says so and keeps what was done.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterator, Sequence

from busim.commissioning.rehearse import FAILED, OK, SKIPPED, Done, Step, run_steps
from busim.commissioning.sheet import instruction
from busim.commissioning.site_record import Note, Signed, StepEntry
from busim.foundation.errors import UserError
from busim.installation.rehearsal import LISTEN
from busim.onsite.rehearsing.real_site import RealSite
from busim.onsite.rehearsing.record_file import RecordFile
from busim.onsite.targets import OtherMaster


def steps_here(steps: Sequence[Step], line: str, listening: Step) -> tuple[Step, ...]:
    """The steps of one line and of no line, `listening` before them unless they begin so."""
    here = tuple(step for step in steps if step.line in ("", line))
    return here if here and here[0].do == LISTEN else (listening, *here)


def commission(
    site: RealSite, steps: Sequence[Step], file: RecordFile, who: str, utc: Callable[[], str], *,
    before: Container[int] = (), begins: Callable[[int, Step], None] = lambda *_: None,
) -> Iterator[Done]:  # fmt: skip
    """Do the steps that are not `before`, and yield each when it is in the record. `utc`: the instant, as text.

    Ends after a step that heard another master, and where the person stops after a failure. Raises UserError (a port
    that fails, another master in between), after a note in the record; so does Ctrl-C.
    """

    def begin(number: int, step: Step) -> None:
        site.begin(step)
        site.person.forget()
        begins(number, step)

    try:
        for done in run_steps(site, steps, before, begin):
            file.write(_entry(site, done, who, utc()))
            yield done
            if done.step.do == LISTEN and done.outcome == FAILED:
                file.write(Note(text="stopped: the line is not silent; nothing more was sent", who=who, at=utc()))
                return
            if done.outcome == FAILED and done.number < len(steps) and not site.person.goes_on(_failure(done)):
                file.write(Note(text=f"stopped by the person: step {done.number} failed", who=who, at=utc()))
                return
    except UserError as error:
        asked = "; ".join(f"{question}: {answer}" for question, answer in site.person.forget())
        what = "stopped: another master" if isinstance(error, OtherMaster) else "stopped"
        text = f"{what}: {error}" + (f" (in this step: {asked})" if asked else "")
        file.write(Note(text=text[:4000], who=who, at=utc()))
        raise
    except (KeyboardInterrupt, EOFError):
        asked = "; ".join(f"{question}: {answer}" for question, answer in site.person.forget())
        text = "interrupted by the person" + (f" (in this step: {asked})" if asked else "")
        file.write(Note(text=text[:4000], who=who, at=utc()))
        raise


def sign(file: RecordFile, outcomes: Sequence[str], who: str, at: str) -> None:
    """Sign everything so far. `outcomes`: of the latest try of each step. Raises UserError."""
    file.write(Signed(who=who, at=at, text=counted(outcomes), sha256=file.seal()))


def counted(outcomes: Sequence[str]) -> str:
    """What a signature is for: how many steps had each outcome."""
    return f"{len(outcomes)} steps: " + ", ".join(f"{outcomes.count(one)} {one}" for one in (OK, FAILED, SKIPPED))


def _failure(done: Done) -> str:
    text, camera = f"Step {done.number} failed", done.step.camera
    if not camera:
        return text
    return f"{text}, so the other steps of {camera} are skipped. Unplug it, or it may answer for the next camera"


def _entry(site: RealSite, done: Done, who: str, at: str) -> StepEntry:
    step, reason, camera = done.step, done.reason, done.step.camera
    strays = f"; {site.strays} bytes outside any reply" if site.strays and done.outcome != SKIPPED else ""
    return StepEntry(
        number=done.number, do=step.do, camera=camera, what=instruction(step, site.cameras.get(camera))[0][:4000],
        outcome=done.outcome, seen=(done.seen + strays)[:4000], why=reason.why[:4000] if reason else "",
        mend=reason.mend[:4000] if reason else "", asked=site.person.forget(),
        bus_id=site.believed.get(camera), by_hand=camera in site.by_hand, who=who, at=at,
    )  # fmt: skip
