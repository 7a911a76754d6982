"""`busim rehearse --port`: the steps of a commissioning on a real line, with a person, and their record."""

from __future__ import annotations

import contextlib
import sys
from typing import TYPE_CHECKING

from busim.cli import option_parsing, real_line

if TYPE_CHECKING:
    from busim.commissioning.rehearse import Done, Step
    from busim.commissioning.site_record import SiteRecord
    from busim.onsite.rehearsing import Person, RealSite, RecordFile
    from busim.plan import Plan

_WRITES = (
    "It listens first and sends nothing if somebody else is heard. Reads are sent without a question, each write after "
    "one. A wrong bus ID moves the wrong head: people away from every head, supplies off before plugs are moved, "
    "nobody below a ladder. Mains and rigging are for licensed and competent people, by the local code."
)
_NOBODY = (
    "--yes: nobody is asked. Every write of the plan is sent, every step by hand counts as done, and the record says "
    "that nobody confirmed it."
)


def run(
    plan: Plan, port: str, record: str | None, *, who: str, line: str | None, direction: str, resume: bool, yes: bool
) -> int:
    """Agree, listen, do the steps, sign. Returns the exit code: 1 if a step is not done."""
    from busim.cli.writing import check_target
    from busim.commissioning.bus_scan import listening
    from busim.commissioning.rehearse import OK, Step, planned, steps_of
    from busim.foundation.errors import UserError
    from busim.installation import resolve
    from busim.installation.rehearsal import LISTEN
    from busim.onsite.rehearsing import (
        RealSite,
        Script,
        commission,
        counted,
        done_before,
        load_record,
        sign,
        steps_here,
    )
    from busim.onsite.targets import RealTool, dangers, open_target, parse_target
    from busim.simulator.bus import setting
    from busim.simulator.world import build

    target = parse_target(port)
    if record is None or not who.strip():
        raise UserError(
            "a commissioning is signed for", found="no --record" if record is None else "no --who",
            expected="--record FILE and --who NAME", mend="name the file, and the person who does the steps",
        )  # fmt: skip
    site, name = resolve(plan), _line([one.name for one in plan.lines], line)
    here = next(one for one in site.lines if one.name == name)
    cameras = planned(site, build(site, 1, lambda _: None, played=()))
    length, why = listening(plan)
    steps = steps_here(steps_of(plan, cameras)[0], name, Step(LISTEN, name, length=length, text=why))
    if resume:
        _of_this(load_record(record), plan, record, name)
    else:
        check_target(record, "record")
    real_line.agree([*dangers(target, direction), _WRITES, *([_NOBODY] if yes else [])], yes=yes)
    person: Person = Script() if yes else Asked()
    with (
        open_target(target, here.line.baud, here.line.format, direction=direction) as link,
        _record(plan, record, name, port, who, resume=resume, script=yes) as file,
    ):
        tool = RealTool(link, here.speaks, setting(here.line.baud, here.line.format))
        real = RealSite(plan, cameras, name, tool, target, person)
        before = done_before(real, steps, file.before)
        for note in link.notes:
            print(f"note: {note}", file=sys.stderr)
        _stands(real, before, person)
        outcomes = {number: file.before.latest[number].outcome for number in before}
        run_of = commission(
            real, steps, file, who, real_line.instant, before=before, begins=lambda *one: _begins(real, *one)
        )
        try:
            for done in run_of:
                outcomes[done.number] = done.outcome
                _said(done)
        except (KeyboardInterrupt, EOFError):
            _ended(record, outcomes, len(steps))
            raise KeyboardInterrupt from None
        except UserError:
            _ended(record, outcomes, len(steps))
            raise
        _ended(record, outcomes, len(steps))
        if len(outcomes) == len(steps) and person.signs(f"{counted([*outcomes.values()])}. Sign this record as {who}"):
            sign(file, [*outcomes.values()], who, real_line.instant())
            print(f"signed by {who}: busim sheet PLAN -o SHEET --record {record} prints it")
        return 0 if len(outcomes) == len(steps) and all(one == OK for one in outcomes.values()) else 1


def _line(names: list[str], line: str | None) -> str:
    """The line at the port: the one named, or the only one. Raises UserError."""
    from busim.foundation.errors import UserError

    if line is None and len(names) > 1:
        raise UserError(
            "a port is at one line", found=f"{len(names)} lines in the plan", expected="--line NAME",
            mend=f"name the line: {', '.join(map(repr, names))}"[:300],
        )  # fmt: skip
    option_parsing.line(names, line)
    return names[0] if line is None else line


def _record(
    plan: Plan, path: str, line: str, port: str, who: str, *, resume: bool, script: bool
) -> contextlib.AbstractContextManager[RecordFile]:
    from busim.commissioning.sheet import digest
    from busim.commissioning.site_record import Begun, Note
    from busim.foundation.version import VERSION
    from busim.onsite.rehearsing import RecordFile

    now = real_line.instant()
    begun = Begun(
        plan=plan.name, digest=digest(plan), line=line, target=port, who=who, at=now, script=script, version=VERSION
    )
    if not resume:
        return RecordFile(path, begun)
    file = RecordFile(path)
    file.write(Note(text=f"gone on with at {port}" + (", --yes" if script else ""), who=who, at=now))
    return file


def _of_this(record: SiteRecord, plan: Plan, path: str, line: str) -> None:
    """Raises UserError for a record of another plan or line."""
    from busim.commissioning.sheet import digest
    from busim.foundation.errors import UserError

    old = record.begun
    if (old.digest, old.line) != (digest(plan), line):
        raise UserError(
            "the record is of another plan or line", file=path, found=f"{old.plan} {old.digest}, line {old.line!r}",
            expected=f"{plan.name} {digest(plan)}, line {line!r}",
            mend="take the plan as it was, or begin a new record",
        )  # fmt: skip


def _stands(site: RealSite, before: frozenset[int], person: Person) -> None:
    """What the record says of the site, for a person to look at before anything is sent."""
    from busim.foundation.errors import UserError

    if not before:
        return
    there = ", ".join(f"{name} (bus ID {site.believed[name]})" for name in sorted(site.met)) or "no camera"
    look = f"{len(before)} steps stand. Plugged and powered are: {there}, and nothing else on this line"
    if not person.sees(look):
        raise UserError(
            "the site is not as the record says, and nothing was sent", expected=look[:300],
            mend="make it so, or begin a new record",
        )  # fmt: skip


class Asked:
    """A person at this terminal. Each question takes y or n; Ctrl-C ends the commissioning, and the record stays."""

    script = False

    def does(self, what: str) -> bool:
        return self._yes(f"BY HAND: {what}. Done?")

    def agrees(self, write: str) -> bool:
        return self._yes(f"WRITE: {write}. Go on?")

    def sees(self, look: str) -> bool:
        return self._yes(f"LOOK: {look}. Is it so?")

    def decides(self, question: str) -> bool:
        return self._yes(f"{question}?")

    def goes_on(self, failure: str) -> bool:
        return self._yes(f"{failure}. Go on with what is left? After n, --resume begins again with it.")

    def signs(self, text: str) -> bool:
        return self._yes(f"SIGN: {text}?")

    def _yes(self, question: str) -> bool:
        from busim.cli.screen import Screen

        Screen(sys.stderr).say(question, "bold", indent=4, hang=2)
        while True:
            sys.stderr.write("    [y/n] ")
            sys.stderr.flush()
            try:
                said = input().strip().lower()
            except (KeyboardInterrupt, EOFError):
                sys.stderr.write("\n")  # what is said next has a line of its own
                raise
            if said in ("y", "yes", "n", "no"):
                return said[0] == "y"
            sys.stderr.write("    Type y or n.\n")


def _begins(site: RealSite, number: int, step: Step) -> None:
    from busim.cli.screen import Screen
    from busim.commissioning.rehearse import CAUTIONS
    from busim.commissioning.sheet import instruction

    screen = Screen(sys.stderr)
    screen.say(f"{number}. {instruction(step, site.cameras.get(step.camera))[0]}", "bold", hang=4)
    if step.do in CAUTIONS:
        screen.say(f"Caution. {CAUTIONS[step.do]}", "yellow", indent=4)


def _said(done: Done) -> None:
    from busim.cli.screen import Screen

    screen = Screen()
    word = done.outcome if done.outcome == "ok" else done.outcome.upper()
    screen.say(f"{done.number:3} {word:7} {done.step.do} {done.step.about}: {done.seen}", hang=12)
    if done.reason is not None:
        screen.say(f"{done.reason.why}. To do: {done.reason.mend}.", "red", indent=12)
    sys.stdout.flush()


def _ended(record: str, outcomes: dict[int, str], count: int) -> None:
    from busim.cli.screen import Screen

    ok = sum(one == "ok" for one in outcomes.values())
    if ok == count:
        Screen().say(f"All {count} steps are done. The record is in {record}.")
    else:
        Screen().say(f"{ok} of {count} steps are done. The record so far is in {record}; --resume goes on with it.")
