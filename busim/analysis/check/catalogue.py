"""All rules, and the page of each.

Rules are found by their modules. No list of them exists, so two people who add rules have no conflict.
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
    "If the rule is wrong about your site, silence it in the plan and write the reason:\n\n"
    "```yaml\nsilenced:\n  - rule: {}\n    at: NAME OF THE ENTRY\n    reason: WHY IT MAY STAY\n```\n"
)
_REFUSES = "Such a plan cannot be run or computed. Every command refuses it, and `silenced` has no effect.\n"


@cache
def all_rules() -> dict[str, Rule]:
    """Every rule by its identifier, in the order of the areas and then of the alphabet."""
    names = sorted(module.name for module in iter_modules(package.__path__))
    found: list[Rule] = [import_module(f"{package.__name__}.{name}").RULE for name in names]
    places = {area: number for number, area in enumerate(AREAS)}
    return {rule.id: rule for rule in sorted(found, key=lambda rule: (places[rule.area], rule.id))}


def page(name: str) -> str:
    """The page of a rule as markdown. Raises UserError for an unknown name."""
    rule = all_rules().get(name)
    if rule is None:
        raise UserError("there is no rule of this name", found=repr(name[:60]), mend="`busim check --rules` lists them")
    return (
        f"# {rule.title}\n\n"
        f"`{rule.id}`: {'an' if rule.severity == 'error' else 'a'} {rule.severity}, area {rule.area} "
        f"({AREAS[rule.area]}).\n\n"
        f"{rule.explanation}\n\n"
        f"**What to do.** {rule.remedy()}\n\n"
        f"**Source.** {rule.source}.\n\n"
        f"A finding here:\n\n{_example(rule.bad)}\n\n"
        f"No finding here:\n\n{_example(rule.good)}\n\n" + (_REFUSES if rule.refuses else _SILENCE.format(rule.id))
    )


def _example(edits: Edits) -> str:
    """The changes of an example, with the lines around them; changed lines have a `>`."""
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
