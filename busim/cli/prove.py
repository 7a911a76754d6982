"""`busim prove`: tries a protocol or a camera model and shows the results."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Optional

import typer

if TYPE_CHECKING:
    from busim.protocols import BusProtocol
    from busim.testing import Explanation, Proof

NAME = "prove"
HELP = "Try out a protocol file or a camera model."


def _list_checks(asked: bool) -> None:
    if asked:
        from busim.cli.screen import Screen
        from busim.protocols import checks

        screen = Screen()
        for name, others in checks().items():
            screen.say(f"{name}  (also {', '.join(others)})" if others else name, hang=4)
        raise typer.Exit


def command(
    subject: Annotated[str, typer.Argument(metavar="FILE", help="A YAML file, or the name of a protocol or a model.")],
    against: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(help="A capture, raw bytes or text of hex digits: which of its frames the protocol explains."),
    ] = None,
    checks: Annotated[  # noqa: ARG001  # done before anything else
        bool,
        typer.Option(
            "--checks", callback=_list_checks, is_eager=True, help="List every check a protocol file can name."
        ),
    ] = False,
) -> None:
    """Prove and show."""
    from busim.foundation.errors import UserError

    if _is_model(subject):
        if against is not None:
            raise UserError("a capture holds frames, and a camera model has none", mend="prove the protocol against it")
        _prove_model(subject)
    else:
        _prove_protocol(subject, against)


def _is_model(subject: str) -> bool:
    from busim.foundation.yaml_source import is_path, load
    from busim.plan import models

    return "busim-model" in load(subject).value if is_path(subject) else subject in models.names()


def _prove_model(subject: str) -> None:
    from busim.plan.models import find
    from busim.testing import prove_model

    proof = prove_model(find(subject), _beside(subject))
    _show(proof, in_text=False)
    if not proof.holds:
        raise typer.Exit(1)


def _beside(subject: str) -> dict[str, BusProtocol]:
    """The valid protocol files in the folder of a model's file, by the names of their protocols."""
    from contextlib import suppress
    from pathlib import Path

    from busim.foundation.errors import UserError
    from busim.foundation.yaml_source import is_path, load
    from busim.protocols import find

    found = {}
    for path in sorted(Path(subject).parent.glob("*.yaml")) if is_path(subject) else ():
        with suppress(UserError, AttributeError, TypeError):  # other files there do not matter
            if "busim-protocol" in load(path).value:
                protocol = find(str(path.resolve()))
                found[protocol.name] = protocol
    return found


def _prove_protocol(subject: str, against: str | None) -> None:
    from busim.foundation.errors import UserError
    from busim.protocols import DeclaredProtocol, find
    from busim.testing import explain, prove, read_capture

    found = find(subject)
    if not isinstance(found, DeclaredProtocol):
        raise UserError(f"{subject} is a program, not a file", expected="a file, or the name of a declared protocol")
    proof = prove(found)
    _show(proof, in_text=found.declaration.in_text)
    if against is not None:
        _show_capture(explain(found, read_capture(against)), against)
    if not proof.holds:
        raise typer.Exit(1)


def _show(proof: Proof, *, in_text: bool) -> None:
    from busim.cli.screen import Screen

    screen = Screen()
    screen.say(f"{proof.name}: {proof.title}")
    screen.blank()
    for sample in proof.samples:
        screen.say(sample.title)
        fields = " ".join(
            f"[{name} {raw.hex(' ').upper()}]" if name else raw.hex(" ").upper() for name, raw in sample.pieces
        )
        screen.say(fields, indent=4, hang=2)
        if b"".join(raw for _, raw in sample.pieces) != sample.raw:
            screen.say(f"on the wire: {sample.raw.hex(' ').upper()}", indent=4, hang=2)
        if in_text:
            screen.say(f"{sample.raw.decode('latin-1')!a}", indent=4, hang=2)
    if proof.samples:
        screen.blank()
    for verdict in proof.verdicts:
        screen.say(f"{'holds ' if verdict.holds else 'FAILS '} {verdict.what} ({verdict.tried} tried)", hang=7)
        for line in verdict.said:
            screen.say(line, indent=8, hang=2)


def _show_capture(found: Explanation, path: str) -> None:
    from busim.cli.screen import Screen

    screen = Screen()
    screen.blank()
    screen.say(f"{path}:")
    for one in found.stretches:
        more = " ..." if len(one.raw) > 32 else ""
        screen.say(f"{one.at:6d}  {one.raw[:32].hex(' ').upper()}{more}", indent=2, hang=8)
        screen.say(one.what or "NOT EXPLAINED", indent=10, hang=2)
    share = 100 * found.explained / found.size
    frames = sum(1 for one in found.stretches if one.what)
    screen.say(f"{frames} frames explained, {found.explained} of {found.size} bytes ({share:.1f}%)")
