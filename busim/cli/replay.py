"""`busim replay`: the run of a trace once more, and whether it was the same."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer

from busim.cli import options

if TYPE_CHECKING:
    from busim.runtime.session import Replay

NAME = "replay"
HELP = "Play the run of a trace again, and compare the two."


def command(
    trace: Annotated[
        str, typer.Argument(metavar="TRACE", help="The trace to play again; or a failure that `busim fuzz` saved.")
    ],
    detail: options.Detail = False,
    line: options.Line = None,
    new: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option("--trace", metavar="FILE", help="Keep the new trace in this file."),
    ] = None,
    overwrite: options.Overwrite = False,
    times: Annotated[int, typer.Option(min=1, help="Runs of a saved failure of a program, in wall time.")] = 3,
    as_json: Annotated[bool, typer.Option("--json", help="Figures and outcome as JSON on standard output.")] = False,
) -> None:
    """Replay and compare; exit code 1 if the two differ, an expectation is missed, or a failure shows again."""
    from busim.cli import option_parsing
    from busim.cli.show import print_report, progress
    from busim.foundation.errors import UserError
    from busim.runtime.session import replay

    if trace.endswith(".json"):
        from busim.cli.replay_failure import replay_failure

        if new is not None:
            raise UserError(
                "the run of a saved failure makes no new trace", field="--trace", found=repr(new),
                mend=f"look at the one beside it: busim replay {trace.removesuffix('.json')}.busim --detail",
            )  # fmt: skip
        replay_failure(trace, times, as_json=as_json)
        return
    with progress(hidden=as_json) as advanced:
        played = replay(trace, trace=new, overwrite=overwrite, advanced=advanced)
    if as_json:
        print(json.dumps(played.report.as_json() | {"replay": _outcome(played)}, indent=2))
    else:
        option_parsing.line([one.name for one in played.report.lines], line)
        print_report(played.report, new, detail=detail, line=line, more="--detail, --line NAME")
        print()
        print(_sentence(played))
    if played.difference is not None or played.report.missed:
        raise typer.Exit(1)


def _outcome(played: Replay) -> dict[str, Any]:
    difference = played.difference
    return {
        "identical": difference is None,
        "complete": played.complete,
        "difference": None if difference is None else {
            "kind": difference.kind, "number": difference.number,
            "old": repr(difference.old), "new": repr(difference.new),
        },
        "hints": list(played.hints),
    }  # fmt: skip


def _sentence(played: Replay) -> str:
    difference = played.difference
    if difference is None:
        return "identical" if played.complete else "identical up to where the trace breaks off (its run was cut short)"
    lines = [
        f"different, first in {difference.kind} {difference.number}:",
        f"  in the trace: {'nothing' if difference.old is None else difference.old!r}",
        f"  played again: {'nothing' if difference.new is None else difference.new!r}",
    ]
    return "\n".join(lines + [f"note: {hint}" for hint in played.hints])
