"""`busim explain`: the handbook, a figure, a rule or a word, without the internet."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from difflib import get_close_matches
from functools import partial
from typing import Annotated, Optional

import typer

NAME = "explain"
HELP = "Explain a topic of the handbook, a figure, a rule of check, a fault, or a word; without one, list the topics."

_WORD = re.compile(r"^- \*\*(.+?)\*\*: .*(?:\n  .*)*", re.MULTILINE)


def command(
    topic: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Argument(help="A topic, the name of a figure, a rule or a fault, or a word."),
    ] = None,
) -> None:
    """Find the text and show it."""
    asked = " ".join(topic or ()).strip()
    _show(_about(asked) if asked else _contents())


def _contents() -> str:
    from busim.handbook import topics

    entries = "\n".join(f"- `{name}`: {summary}" for name, summary in topics().items())
    return (
        f"# The handbook\n\n`busim explain TOPIC` shows one of these:\n\n{entries}\n\n"
        "It also explains a figure by its name (`busim explain age_mean`), a rule (`busim explain same-id-on-line`) "
        "a fault (`busim explain late-reply`) and a word (`busim explain turnaround`).\n"
    )


def _about(asked: str) -> str:
    """The page, the section about a figure, the rule, or the word. Raises UserError where there is no such name."""
    from busim.cli.handbook_render import fill, filled
    from busim.foundation.errors import UserError
    from busim.handbook import topics

    name = asked.casefold()
    if name.replace(" ", "-") in topics():
        return filled(name.replace(" ", "-"))
    rules = _rules() | _faults()
    if name in rules:
        return rules[name]()
    sections = _figure_sections(name)
    if sections:
        return fill("\n".join(sections))
    words = _words()
    if name in words:
        pages = ", ".join(_speaking_of(name))
        return f"{words[name]}\n\nPages that speak of it: {pages}.\n"
    raise UserError(
        "the handbook has no topic, figure, rule, fault or word of this name",
        found=repr(asked[:60]),
        expected="one of " + ", ".join(topics()) + ", the name of a figure, a rule or a fault, or a word",
        mend=_suggestion(name, [*topics(), *_figure_names(), *rules, *words]),
    )


def _rules() -> dict[str, Callable[[], str]]:
    """The identifiers of the rules, each with what makes its page."""
    from busim.analysis.check import all_rules, page

    return {name: partial(page, name) for name in all_rules()}


def _faults() -> dict[str, Callable[[], str]]:
    """The names of the faults and presets, each with what makes its page."""
    from busim.simulator.faults import all_faults, all_presets

    pages: dict[str, Callable[[], str]] = {name: preset.page for name, preset in all_presets().items()}
    return pages | {name: fault.page for name, fault in all_faults().items()}


def _figure_names() -> list[str]:
    from busim.recording.figures import QUANTITIES

    return list(QUANTITIES)


def _figure_sections(asked: str) -> list[str]:
    """The sections of the page on figures in which a figure stands that has all the words of `asked` in its name."""
    from busim.cli.handbook_render import PLACEHOLDER
    from busim.handbook import page
    from busim.recording.figures import QUANTITIES

    wanted = _parts(asked)
    meant = {one.name for one in QUANTITIES.values() if wanted <= _parts(one.name) or wanted <= _parts(one.title)}
    sections = re.split(r"^(?=## )", page("figures"), flags=re.MULTILINE)[1:]
    return [
        section
        for section in sections
        if any(meant.intersection(found[2].split()) for found in PLACEHOLDER.finditer(section))
    ]


def _parts(name: str) -> set[str]:
    return set(re.findall(r"[a-z0-9]+", name.casefold()))


def _words() -> dict[str, str]:
    from busim.handbook import page

    return {found[1].casefold(): found[0] for found in _WORD.finditer(page("words"))}


def _suggestion(name: str, known: list[str]) -> str:
    """The nearest names, and the pages that speak of it."""
    near = get_close_matches(name[:60], known, n=3, cutoff=0.5)
    pages = _speaking_of(name) if len(name) > 2 else []
    said = []
    if near:
        said.append("did you mean " + " or ".join(f"`{one}`" for one in near) + "?")
    if pages:
        said.append("pages that speak of it: " + ", ".join(pages))
    return " ".join(said) or "`busim explain` lists the topics"


def _speaking_of(name: str) -> list[str]:
    """The topics whose pages have this word."""
    from busim.cli.handbook_render import filled
    from busim.handbook import topics

    word = re.compile(rf"\b{re.escape(name)}", re.IGNORECASE)
    return [topic for topic in topics() if word.search(filled(topic))]


def _show(text: str) -> None:
    """Markdown drawn on a terminal, and as it is elsewhere."""
    if not sys.stdout.isatty():
        sys.stdout.write(text.rstrip("\n") + "\n")
        return
    from rich.console import Console
    from rich.markdown import Markdown

    console = Console()
    console.print(Markdown(text), width=min(console.width, 100))
