"""`busim check`: mistakes in a plan while they are still cheap, each with place, reason and remedy."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING, Annotated, Optional

import typer

if TYPE_CHECKING:
    from busim.analysis.check import Checked
    from busim.plan import Plan

NAME = "check"
HELP = "Check a plan: each mistake with its place, reason and remedy."


def command(
    plan: Annotated[Optional[str], typer.Argument(metavar="PLAN", help="The plan, a YAML file.")] = None,  # noqa: UP045
    detail: Annotated[bool, typer.Option("--detail", help="Show every finding with its reason.")] = False,
    line: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="NAME", help="Show every finding about this line with its reason."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="The findings as JSON on standard output.")] = False,
    sarif: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(metavar="FILE", help="Write the findings to this file too, as SARIF 2.1.0 for editors."),
    ] = None,
    strict: Annotated[bool, typer.Option("--strict", help="Exit with 1 for warnings too.")] = False,
    rules: Annotated[bool, typer.Option("--rules", help="List the rules instead.")] = False,
) -> None:
    """Check and show. Exit code 1 with errors, 2 if the plan cannot be read."""
    from busim.cli import option_parsing
    from busim.cli.check_lines import print_checked, print_detail, print_rules
    from busim.foundation.diagnostics import render
    from busim.foundation.errors import UserError

    if rules:
        print_rules()
        return
    if plan is None:
        raise UserError("no plan was named", expected="a plan file", mend="busim check PLAN, or busim check --rules")
    planned, checked = _checked(plan)
    if planned is not None:
        option_parsing.line([one.name for one in planned.lines], line)
    if sarif is not None:
        _write(sarif, checked)
    if as_json:
        print(json.dumps(checked.as_json(), indent=2))
    elif planned is None:
        print("\n".join(render(finding) for finding in checked.findings), file=sys.stderr)
    elif detail or line is not None:
        print_detail(checked, planned, line)
    else:
        print_checked(checked, planned)
    if not checked.readable:
        raise typer.Exit(2)
    if checked.count("error") or (strict and checked.count("warning")):
        raise typer.Exit(1)


def _checked(path: str) -> tuple[Plan | None, Checked]:
    from busim.analysis.check import check, unreadable
    from busim.cli.plan_file import of_faults
    from busim.foundation.diagnostics import Findings
    from busim.plan import read

    try:
        plan = read(path)
    except Findings as error:
        return None, unreadable(path, error.findings)
    return plan, check(plan).also(of_faults(plan))


def _write(name: str, checked: Checked) -> None:
    """Write the file, new or replaced. Raises UserError if it cannot be written, or is no SARIF."""
    from busim.analysis.check import sarif
    from busim.cli.writing import refuse_other, write_whole
    from busim.foundation.version import VERSION

    refuse_other(name, "SARIF", lambda text: '"version": "2.1.0"' in text)
    write_whole(name, json.dumps(sarif(checked, VERSION), indent=2) + "\n", "findings")
