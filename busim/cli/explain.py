"""`busim explain`: the handbook, offline, found by any name or by subject."""

from __future__ import annotations

import re
import sys
from typing import TYPE_CHECKING, Annotated, Optional

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from busim.cli.explain_index import Entry

NAME = "explain"
HELP = "Explain anything by name: page, command, field, rule, symptom."

_PICTURE = re.compile(r"!\[([^\]]*)\]\([^)]*\)")
_PAGES = ("topic", "rule of check", "fault", "judge", "camera model")


def command(
    topic: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Argument(metavar="[NAME]...", help="Anything with a name, or a symptom such as: camera silent"),
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
        "It also explains a command (`busim explain run`), a plan field (`busim explain baud`), a camera model "
        "(`busim explain zoom-camera`, or the name of your model file), a rule (`busim explain same-id-on-line`), a "
        "fault (`busim explain late-reply`), a judge (`busim explain quiet-line`), a figure (`busim explain "
        "age_mean`), a word (`busim explain turnaround`) and a symptom (`busim explain camera silent`).\n"
    )


def _about(asked: str) -> str:
    """Everything of this name, whole pages first. Raises UserError for an unknown name."""
    from busim.cli.explain_index import found, suggested
    from busim.cli.handbook_render import fill
    from busim.foundation.errors import UserError

    if asked.endswith((".yaml", ".yml")):
        return _of_file(asked)
    entries = found(asked)
    pages = [entry for entry in entries if entry.kind in _PAGES]
    sections = [] if pages else _figure_sections(asked)
    if not entries and not sections:
        near = suggested(asked)
        raise UserError(
            "nothing in the handbook has this name",
            found=repr(asked[:60]),
            expected="a topic, command, field, camera model, protocol, rule, fault, judge, figure, word or symptom",
            mend=_suggestion(near, asked),
        )
    if pages:
        rest = [entry for entry in entries if entry is not pages[0]]
        return pages[0].text() + (f"\nAlso of this name: {_named(rest)}.\n" if rest else "")
    texts = [entry.text() for entry in entries if not (sections and entry.kind == "figure")]
    if sections:
        return fill("\n".join(sections)) + ("\n" + "\n".join(texts) + "\n" if texts else "")
    speaking = [topic for topic in _speaking_of(asked) if topic not in ("words", "symptoms")]
    return "\n".join(texts) + "\n" + (f"\nPages that speak of it: {', '.join(speaking)}.\n" if speaking else "")


def _of_file(path: str) -> str:
    """The page of a camera model of the user. Raises UserError where the file is none."""
    from busim.cli.model_page import model_page
    from busim.plan.models import read

    return model_page(read(path))


def _named(entries: Sequence[Entry]) -> str:
    """`word turnaround, plan field camera.turnaround`, each once."""
    return ", ".join(dict.fromkeys(f"{entry.kind} `{entry.name}`" for entry in entries))


def _suggestion(near: Sequence[Entry], asked: str) -> str:
    """Suggestions by name and by meaning, and the pages with the word."""
    said = [
        f"`{entry.name.removeprefix('busim ')}` ({entry.kind}): {entry.summary.partition('. ')[0]}" for entry in near
    ]
    pages = _speaking_of(asked) if len(asked) > 2 else []
    lines = []
    if said:
        lines.append("did you mean one of these?\n  " + "\n  ".join(said))
    if pages:
        lines.append("pages that speak of it: " + ", ".join(pages))
    return "\n".join(lines) or "nothing is like it; `busim explain` lists the topics"


def _figure_sections(asked: str) -> list[str]:
    """The sections of the page on figures with a figure whose name has all words of `asked`."""
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


def _speaking_of(name: str) -> list[str]:
    """The topics whose pages contain this word."""
    from busim.cli.handbook_render import filled
    from busim.handbook import topics

    word = re.compile(rf"\b{re.escape(name)}", re.IGNORECASE)
    return [topic for topic in topics() if word.search(filled(topic))]


def _show(text: str) -> None:
    """Markdown drawn on a terminal; elsewhere plain, with paragraphs and lists wrapped at the width."""
    from busim.cli.screen import reflowed, width

    columns = min(width(sys.stdout), 100)
    text = _PICTURE.sub(r"(In the sources a picture stands here: \1.)", text)
    if not sys.stdout.isatty():
        sys.stdout.write(reflowed(text.rstrip("\n"), columns) + "\n")
        return
    from rich.console import Console
    from rich.markdown import Markdown

    Console().print(Markdown(text), width=columns)
