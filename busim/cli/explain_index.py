"""The names that `busim explain` knows: pages, rules, faults, judges, figures, words, symptoms and more.

A name is found whole, then by all its words in any order. Unknown names get suggestions by spelling and by meaning.
Meaning is a list of words that people on site use for one thing, and the words of each summary.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import cache, partial
from typing import Any

_WORD = re.compile(r"^- \*\*(?P<name>.+?)\*\*(?: \((?P<also>[^)]*)\))?: (?P<text>.*(?:\n  .*)*)", re.MULTILINE)
# Words for one thing, as people on site say them: common practice, no source.
_ALIKE = (
    ("silent", "dead", "mute", "quiet", "offline", "gone", "answer", "respond", "reply", "unreachable", "time-out"),
    ("slow", "late", "lag", "delay", "latency", "sluggish", "speed", "fast", "quick", "age"),
    ("broken", "fails", "failed", "error", "wrong", "damaged", "garbage", "corrupt", "crc", "checksum"),
    ("double", "doubled", "duplicate", "same", "twice", "clash"),
    ("id", "bus_id", "address", "number", "addressing"),
    ("print", "paper", "pdf", "label", "sheet", "sticker"),
    ("power", "supply", "voltage", "volts", "watts", "psu", "fuse", "current"),
    ("wire", "wiring", "cable", "cabling", "pair", "termination", "terminator", "resistor"),
    ("box", "gateway", "converter", "server", "adapter", "bridge"),
    ("spare", "replacement", "replace", "swap", "swapped"),
    ("baud", "rate", "bitrate", "speed", "bps"),
    ("record", "recording", "log", "capture", "trace", "file"),
    ("find", "discover", "scan", "search", "detect", "locate"),
    ("capacity", "headroom", "room", "load", "utilisation", "utilization", "busy", "overload"),
    ("knob", "operator", "panel", "desk", "move", "control"),
    ("danger", "safety", "caution", "hurt", "injury", "risk"),
    ("test", "judge", "verdict", "assert", "expect", "ci"),
    ("python", "library", "api", "program", "script", "import"),
)
_SMALL = {
    "a", "an", "and", "at", "be", "by", "do", "for", "from", "how", "i", "in", "is", "it", "my", "no", "not", "of",
    "on", "or", "the", "to", "what", "when", "why", "with",
}  # fmt: skip
_ENOUGH = 0.72  # similarity of spelling from which a name is suggested


@dataclass(frozen=True)
class Entry:
    """One thing with a name. `kind`: its kind; `also`: other names; `text`: makes its explanation."""

    kind: str
    name: str
    summary: str
    text: Callable[[], str]
    also: tuple[str, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        return (self.name, *self.also)


@cache
def entries() -> tuple[Entry, ...]:
    """All entries, in the order in which equal names are shown."""
    return tuple(
        entry
        for make in (
            _topics,
            _rules,
            _faults,
            _judges,
            _symptoms,
            _words,
            _commands,
            _fields,
            _models,
            _protocols,
            _figures,
        )
        for entry in make()
    )


def found(asked: str) -> list[Entry]:
    """The entries of this name, else those with all these words in their names."""
    wanted = _plain(asked)
    whole = [entry for entry in entries() if wanted in map(_plain, entry.names)]
    if whole:
        return whole
    words = set(wanted.split())
    same = [entry for entry in entries() if any(words == set(_plain(name).split()) for name in entry.names)]
    if same or len(words) < 2:
        return same
    return [entry for entry in entries() if any(words <= set(_plain(name).split()) for name in entry.names)]


def suggested(asked: str, most: int = 6) -> list[Entry]:
    """Suggestions, the likeliest first: by spelling, by words in names, by words of similar meaning."""
    wanted = _plain(asked)
    words = set(wanted.split()) - _SMALL
    scored = [(_score(entry, wanted, words), number) for number, entry in enumerate(entries())]
    likely = sorted((score, -number) for score, number in scored if score > 0)[::-1]
    return [entries()[-number] for _, number in likely[:most]]


def _score(entry: Entry, wanted: str, words: set[str]) -> float:
    names = [_plain(name) for name in entry.names]
    likeness = max(SequenceMatcher(None, wanted, name).ratio() for name in names)
    score = 4 * likeness if likeness >= _ENOUGH else 0.0
    named = set(" ".join(names).split())
    summary = set(_plain(entry.summary).split())
    meant = words | {_plain(word) for group in _ALIKE if words & set(map(_plain, group)) for word in group}
    score += 2 * len(words & named) + len((meant - words) & named) / 2 + len(words & summary) / 2
    return score / (1 + len(named) / 20)


def _plain(text: str) -> str:
    """Lower case, separate words, no plural: `Time-outs` and `time_out` become equal."""
    words = re.findall(r"[a-z0-9]+", text.casefold())
    return " ".join(
        word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith("ss") else word for word in words
    )


# -- what there is -------------------------------------------------------------------------------------------------


def _topics() -> Iterator[Entry]:
    from busim.cli.handbook_render import filled
    from busim.handbook import topics

    for name, summary in topics().items():
        yield Entry("topic", name, summary, partial(filled, name))


def _rules() -> Iterator[Entry]:
    from busim.analysis.check import all_rules, page

    for name, rule in all_rules().items():
        yield Entry("rule of check", name, rule.title, partial(page, name))


def _faults() -> Iterator[Entry]:
    from busim.simulator.faults import all_faults, all_presets

    for name, preset in all_presets().items():
        yield Entry("fault", name, preset.title, preset.page)
    for name, fault in all_faults().items():
        yield Entry("fault", name, fault.title, fault.page)


def _judges() -> Iterator[Entry]:
    from busim.testing.judge_catalogue import OF_CAMPAIGNS, all_judges

    for about in (*(judge.about for judge in all_judges().values()), OF_CAMPAIGNS):
        yield Entry("judge", about.name, about.title, about.page)


def _of_page(topic: str, kind: str) -> Iterator[Entry]:
    """The entries of a page that is a list of terms."""
    from busim.handbook import page

    for one in _WORD.finditer(page(topic)):
        also = tuple(name.strip() for name in (one["also"] or "").split(",") if name)
        summary = " ".join(one["text"].split())
        yield Entry(kind, one["name"], summary, partial(str, one[0]), also)


def _symptoms() -> Iterator[Entry]:
    yield from _of_page("symptoms", "symptom")


def _words() -> Iterator[Entry]:
    yield from _of_page("words", "word")


def _commands() -> Iterator[Entry]:
    from busim.cli.commands import named

    for name, summary in named():
        text = f"`busim {name}`: {summary} `busim {name} --help` lists its options."
        yield Entry("command", f"busim {name}", summary, partial(str, text), (name,))


def _fields() -> Iterator[Entry]:
    from busim.plan import json_schema

    schema = json_schema()
    shapes: list[tuple[str, dict[str, Any]]] = [("plan", schema)]
    shapes += [(name.removesuffix("Shape").lower(), shape) for name, shape in schema["$defs"].items()]
    for shape, form in shapes:
        for part in (form, *form.get("anyOf", ())):
            for field, about in part.get("properties", {}).items():
                yield _field(shape, field, about)


def _field(shape: str, field: str, about: dict[str, Any]) -> Entry:
    summary = about.get("description", "")
    return Entry("plan field", f"{shape}.{field}", summary, partial(_said, shape, field, about), (field,))


def _said(shape: str, field: str, about: dict[str, Any]) -> str:
    from busim.cli.handbook_render import facts

    where = "at the top of the plan" if shape == "plan" else f"of a {shape}"
    return f"- plan field `{field}` {where}: {'. '.join(facts(about))}."


def _figures() -> Iterator[Entry]:
    from busim.recording.figures import QUANTITIES

    for name, quantity in QUANTITIES.items():
        text = f"- figure `{name}`: {quantity.title}, {quantity.definition}."
        yield Entry("figure", name, f"{quantity.title}, {quantity.definition}", partial(str, text), (quantity.title,))


def _model_page(name: str) -> str:
    from busim.cli.model_page import model_page
    from busim.plan.models import load

    return model_page(load(name))


def _models() -> Iterator[Entry]:
    from busim.plan.models import load, names

    for name in names():
        yield Entry("camera model", name, load(name).title, partial(_model_page, name))


def _protocols() -> Iterator[Entry]:
    from busim.protocols import names

    for name in names():
        text = f"- protocol `{name}`: comes with busim. `busim prove {name}` shows sample frames; see also "
        text += "`busim explain protocols`."
        yield Entry("protocol", name, "a protocol that comes with busim", partial(str, text))
