"""`busim plan set`: changes a value in a plan and keeps all else, comments included."""

from __future__ import annotations

import re
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from busim.cli import options

if TYPE_CHECKING:
    from busim.plan import Plan

NAME = "set"
HELP = "Change values in a plan and keep its comments."

_HURTS = re.compile(r"fuse|voltage|suppl|gauge|power|limit|feeds|place$|cable")


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

    before = read(plan)
    fields = {}
    for value in values:
        field, equals, text = value.partition("=")
        if not equals or not text.strip():
            raise UserError(
                "not a field and its value", found=repr(value[:60]), expected="FIELD=VALUE", mend="cameras[2].bus_id=5"
            )
        fields[field.strip()] = text.strip()
    changed, told = rewrite(load(plan), fields)
    after = read_text(changed, plan)
    _no_fuse_raised(before, after)
    touched = [field for field in fields if _HURTS.search(field)]
    if touched:
        print(_caution(touched), file=sys.stderr)
    if dry:
        print(changed, end="")
        return
    write_whole(plan, changed, "plan")
    print("\n".join(told))


def _caution(fields: list[str]) -> str:
    """What can hurt where such a value is changed on site."""
    return (
        f"Caution: {', '.join(fields)}: a plan changes no wire. Switch the supply off, lock it off and measure that it "
        "is dead before anybody changes it on site. Fuses, cable sizes, supplies and mains are decided by the local "
        "code and a licensed electrician, mounting above people by a competent rigger."
    )


def _no_fuse_raised(before: Plan, after: Plan) -> None:
    """Raises UserError where a fuse is raised and the plan does not say why."""
    from busim.foundation.errors import UserError
    from busim.plan import raised_fuses

    for fuse in raised_fuses(before, after):
        raise UserError(
            f"a larger fuse for {fuse.supply!r} needs a reason in the plan", field=f"supplies[{fuse.number}].fuse",
            found=fuse.text, expected="`fuse_reason`: why the cable bears it, and who answers for it",
            mend=f"have a licensed electrician decide it, then set supplies[{fuse.number}].fuse_reason as well",
        )  # fmt: skip
