"""`busim plan set`: changes a value in a plan and keeps all else, comments included."""

from __future__ import annotations

from typing import Annotated

import typer

from busim.cli import options

NAME = "set"
HELP = "Change values in a plan and keep its comments."


def command(
    plan: options.Plan,
    values: Annotated[
        list[str], typer.Argument(metavar="FIELD=VALUE...", help="What to change; entries by number or by name.")
    ],
    dry: Annotated[bool, typer.Option("--dry", help="Print the changed plan and leave the file alone.")] = False,
) -> None:
    """Change, read the result, and only then write it."""
    from busim.cli.writing import write_whole
    from busim.foundation.errors import UserError
    from busim.foundation.yaml_source import load
    from busim.plan import read, read_text, rewrite

    read(plan)
    fields = {}
    for value in values:
        field, equals, text = value.partition("=")
        if not equals or not text.strip():
            raise UserError(
                "not a field and its value", found=repr(value[:60]), expected="FIELD=VALUE", mend="cameras[2].bus_id=5"
            )
        fields[field.strip()] = text.strip()
    changed, told = rewrite(load(plan), fields)
    read_text(changed, plan)
    if dry:
        print(changed, end="")
        return
    write_whole(plan, changed, "plan")
    print("\n".join(told))
