"""All the rules there are, and the page of each.

A rule is there because its module is: nothing lists them, so that two people who add rules do not meet in a list.
"""

from __future__ import annotations

from difflib import unified_diff
from functools import cache
from importlib import import_module
from pkgutil import iter_modules

from busim.analysis.check import rules as package
from busim.analysis.check.examples import SOUND, marked
from busim.analysis.check.rule import AREAS, Edits, Rule
from busim.foundation.errors import UserError

_SILENCE = (
    "To silence it where it is wrong about your site, with the reason, write into the plan:\n\n"
    "```yaml\nsilenced:\n  - rule: {}\n    at: NAME OF THE ENTRY\n    reason: WHY IT MAY STAY\n```\n"
)
_REFUSES = "Such a plan can be neither run nor computed: every command refuses it, and `silenced` does not help.\n"


@cache
def all_rules() -> dict[str, Rule]:
    """Every rule by its identifier, in the order of the areas and then of the alphabet."""
    names = sorted(module.name for module in iter_modules(package.__path__))
    found: list[Rule] = [import_module(f"{package.__name__}.{name}").RULE for name in names]
    places = {area: number for number, area in enumerate(AREAS)}
    return {rule.id: rule for rule in sorted(found, key=lambda rule: (places[rule.area], rule.id))}


def page(name: str) -> str:
    """The page of a rule as markdown. Raises UserError where there is none of this name."""
    rule = all_rules().get(name)
    if rule is None:
        raise UserError("there is no rule of this name", found=repr(name[:60]), mend="`busim check --rules` lists them")
    return (
        f"# {rule.title}\n\n"
        f"`{rule.id}`: {'an' if rule.severity == 'error' else 'a'} {rule.severity}, area {rule.area} "
        f"({AREAS[rule.area]}).\n\n"
        f"{rule.explanation}\n\n"
        f"**What to do.** {rule.advice}\n\n"
        f"**Source.** {rule.source}.\n\n"
        f"It speaks here:\n\n{_example(rule.bad)}\n\n"
        f"and is silent here:\n\n{_example(rule.good)}\n\n" + (_REFUSES if rule.refuses else _SILENCE.format(rule.id))
    )


def _example(edits: Edits) -> str:
    """What an example changes of the sound plan, with the lines around it; the changed lines alone have a `>`."""
    before, after = SOUND.splitlines(), marked(edits)[0].splitlines()
    lines: list[str] = []
    for line in unified_diff(before, after, n=2, lineterm=""):
        if line.startswith(("---", "+++")):
            continue
        if line.startswith("@@"):
            lines += ["..."] if lines else []
        elif not line.startswith("-"):
            lines.append((">" if line.startswith("+") else " ") + line[1:])
    return "```text\n" + "\n".join(lines or before) + "\n```"
