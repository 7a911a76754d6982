"""`busim line-test`: proves a cable with an adapter at each end, then answers as each camera through it."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from busim.cli import real_line

if TYPE_CHECKING:
    from busim.onsite.line_test import Answered, CableTest, Run
    from busim.onsite.targets import Target

NAME = "line-test"
HELP = "Prove a cable before cameras are plugged on."

_OFF = (
    "Cameras off the pair, controller and converters off the pair, supplies off and locked off: the test drives the "
    "pair at every rate, and what hangs on it may take that for a command. Measure that the supply pair is dead before "
    "you open or plug anything. Mains, fuses and cable sizes are for a licensed electrician, by the local code; work "
    "above people is for a competent rigger."
)
_ANSWERS = (
    "Now the laptop answers as each camera of the plan in turn. Take the near adapter off and connect converter and "
    "controller there. The cameras stay off the pair: two at one bus ID would drive against each other."
)


def command(
    near: Annotated[str, typer.Argument(metavar="NEAR", help="The adapter at one end.")],
    far: Annotated[Optional[str], typer.Argument(metavar="FAR", help="The adapter at the other end.")] = None,  # noqa: UP045
    loopback: Annotated[bool, typer.Option("--loopback", help="No FAR: a plug joins the pairs of four wires.")] = False,
    wires: Annotated[int, typer.Option(metavar="N", help="Wires of the line: 2, or 4.")] = 2,
    format: real_line.Format = "8N1",
    up_to: Annotated[str, typer.Option("--up-to", metavar="RATE", help="The highest baud to try.")] = "115200",
    bits: Annotated[int, typer.Option(min=2304, max=10**9, metavar="N", help="Bits per baud and direction.")] = 50_000,
    direction: real_line.Direction = "hardware",
    listen: real_line.Listen = "2s",
    answer: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="PLAN", help="Then answer as each camera of this plan, at FAR."),
    ] = None,
    patience: Annotated[str, typer.Option(metavar="TIME", help="Longest wait for each camera to be asked.")] = "30s",
    as_json: Annotated[bool, typer.Option("--json", help="The result as JSON on standard output.")] = False,
    yes: real_line.Yes = False,
) -> None:
    """Ask, listen, test, show. Exit code 1: not good at any rate, or a fault of the pair."""
    from busim.cli.plan_file import read_usable
    from busim.foundation.errors import UserError
    from busim.foundation.units import parse_time
    from busim.onsite.line_test import RATES, loop_back, prove_cable
    from busim.onsite.targets import dangers, open_target, parse_target

    ends = [parse_target(one) for one in (near, far) if one is not None]
    if loopback is (far is not None):
        raise UserError(
            "a cable has two ends", found="NEAR, FAR and --loopback" if loopback else "NEAR alone",
            expected="NEAR and FAR; or on four wires NEAR with --loopback", mend="name an adapter for each end",
        )  # fmt: skip
    if far is not None and ends[0].where == ends[1].where:
        raise UserError(
            "both ends are the same port", found=repr(near), expected="an adapter at each end of the cable",
            mend="name the other adapter as FAR; on four wires one alone does with --wires 4 --loopback",
        )  # fmt: skip
    if loopback and wires != 4:
        raise UserError(
            "a loop proves nothing about a two-wire line", found=f"--loopback with --wires {wires}",
            expected="--wires 4, a pair for each direction: on two, what comes back is the adapter's own echo",
            mend="use an adapter at each end: busim line-test NEAR FAR",
        )  # fmt: skip
    if answer is not None and far is None:
        raise UserError("nobody answers without a far end", found="--answer without FAR", mend="name FAR")
    site = None if answer is None else read_usable(answer)
    form, most, length = real_line.form(format), real_line.rate(up_to), parse_time(listen)
    rates = [rate for rate in RATES if rate <= most]
    if not rates:
        raise UserError("no rate to try", found=up_to, expected=f"{RATES[0]} or more", mend="raise --up-to")
    person = _asked if sys.stdin.isatty() and not as_json else None
    real_line.agree([*dict.fromkeys(said for end in ends for said in dangers(end, direction)), _OFF], yes=yes)
    rate = real_line.rate(str(rates[0]))
    with open_target(ends[0], rate, form, direction=direction) as one:
        real_line.listening(length)
        if loopback:
            found = loop_back(one, form, wires, person, rates=rates, bits=bits, listening=length)
        else:
            with open_target(ends[1], rate, form, direction=direction) as other:
                found = prove_cable(one, other, form, rates=rates, bits=bits, listening=length, told=_told)
    answered = []
    if site is not None and found.holds:
        real_line.agree([_ANSWERS], yes=yes)
        answered = _answer(ends[1], answer or "", direction, parse_time(patience))
    if as_json:
        told = [{"camera": one.camera, "bus_id": one.bus_id, "asked": one.asked, "answered": one.answered,
                 "others": one.others, "noise": one.noise} for one in answered]  # fmt: skip
        print(json.dumps({**found.as_json(), "answered": told}, indent=2))
    else:
        _show(found, answered)
    if not found.holds or not all(one.holds for one in answered):
        raise typer.Exit(1)


def _told(run: Run) -> None:
    """While it runs: a test takes minutes, and Ctrl-C leaves what is known."""
    text = f"{run.baud} Bd, {run.way}: {run.tally.errors} errors in {run.tally.bits} bits"
    print(text, file=sys.stderr, flush=True)


def _answer(far: Target, plan: str, direction: str, patience: int) -> list[Answered]:
    """Stand for each camera of each line of the plan in turn."""
    from busim.cli.plan_file import read_usable
    from busim.installation import resolve
    from busim.onsite.line_test import answer_as
    from busim.onsite.targets import open_target

    site, found = resolve(read_usable(plan)), []
    for line in site.lines:
        with open_target(far, line.line.baud, line.line.format, direction=direction) as link:
            for camera in line.cameras:
                print(f"answering as {camera.name}, bus ID {camera.camera.bus_id} ...", file=sys.stderr)
                found.append(answer_as(link, camera, line.speaks, enough=_ENOUGH, patience=patience))
    return found


_ENOUGH = 5  # requests to a camera after which the next one has its turn


def _asked(question: str) -> bool:
    return typer.confirm(question, default=False, err=True)


def _show(found: CableTest, answered: list[Answered]) -> None:
    from busim.cli.screen import Column, Screen, listed

    screen = Screen()
    if found.good_to is None:
        screen.say("not good at any rate tried" if found.runs else "not tested", "bold red")
    else:
        word = "" if found.holds else ", but see below"
        screen.say(f"good to {found.good_to} Bd: no error in {found.bits} bits{word}", "bold")
    for sign in found.signs:
        screen.say(f"{sign.state:12} {sign.what}: {sign.said}.", "" if sign.state != "fails" else "red", hang=13)
    if found.echo:
        screen.say(f"An adapter hears itself: {listed(found.echo)}.")
    rows = [
        (str(run.baud), run.way, str(run.tally.bits), str(run.tally.errors),
         (f"{run.rate[0]:.1e} .. " if run.tally.errors else "under ") + f"{run.rate[1]:.1e}")
        for run in found.runs
    ]  # fmt: skip
    if rows:
        titles = (("Bd", True), ("from where to where", False), ("bits", True), ("errors", True), ("rate, 95 %", True))
        screen.table([Column(*title) for title in titles], rows)
    for one in answered:
        state = f"asked {one.asked} times, {one.answered} replies sent" if one.holds else "NEVER ASKED"
        screen.say(f"{one.camera}, bus ID {one.bus_id}: {state}; {one.others} requests to other IDs", hang=2)
    if answered:
        screen.say("Whether the controller took the replies shows at the controller.")
    for note in found.notes:
        screen.say(f"Note: {note}.", hang=2)
    screen.say("Errors are measured; without one the bound is the rule of three (JAMA 249:1743, 1983).", "dim")
