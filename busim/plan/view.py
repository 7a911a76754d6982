"""The declared values of a plan, with the look-ups that its checks share.

Values have any type here, because a check runs beside the validation and not after it. The look-ups skip other types.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import islice
from typing import Any

from busim.foundation.diagnostics import Finding
from busim.foundation.schema import at, cleaned, is_word
from busim.foundation.yaml_source import Declared, nearest, suggestion

_MOST_LISTED = 12
_MOST_ASTRAY = 100
_STATIONS = ("camera", "converter", "master")
KINDS = {
    "lines": "line",
    "converters": "converter",
    "cameras": "camera",
    "masters": "master",
    "panels": "panel",
    "places": "place",
    "supplies": "supply",
    "spares": "spare",
}

Found = Iterator[Finding]


class View:
    """The declared values with the look-ups that several checks share."""

    def __init__(self, document: Declared) -> None:
        self.document = document
        self.names = {kind: [name for _, name, _ in self.named(kind)] for kind in KINDS}
        self.known = {kind: set(names) for kind, names in self.names.items()}
        # A name declared twice is one mistake: nothing else that follows from it is reported.
        self.doubled = {
            kind: {name for name, count in Counter(names).items() if count > 1} for kind, names in self.names.items()
        }
        # So is a name that cannot be one: `unfit` are those that are meant, `nameless` the kinds where none is known.
        fit = {kind: [cleaned(name) for name in names if not is_word(name)] for kind, names in self.names.items()}
        self.unfit = {kind: {name for name in names if is_word(name)} for kind, names in fit.items()}
        self.nameless = {
            kind for kind in KINDS if len(fit[kind]) > len(self.unfit[kind])
            or any(not isinstance(entry.get("name"), str) for _, entry in self.items(kind))
        }  # fmt: skip
        # (kind, name) -> the lines it stands on, with the field of each place
        self.stands: dict[tuple[str, str], list[tuple[str, str]]] = {}
        for line, field, kind, name in self.places():
            self.stands.setdefault((kind, name), []).append((line, field))
        self.meant = {kind: self._meant(kind) for kind in _STATIONS}

    def _meant(self, kind: str) -> set[str | None]:
        """The stations that misspelt names in an order mean: reported there, they get no second finding."""
        names = self.names[f"{kind}s"]
        astray = (name for stood, name in self.stands if stood == kind and name not in self.known[f"{kind}s"])
        return {nearest(name, names) for name in islice(astray, _MOST_ASTRAY)}

    def unsure(self, *kinds: str) -> bool:
        """Whether a name of these kinds is declared twice, or cannot be one, so that it may be a missing name."""
        return any(self.doubled[kind] or kind in self.nameless for kind in kinds)

    def twice(self, name: str) -> bool:
        """Whether this name is declared twice."""
        return any(name in names for names in self.doubled.values())

    def finding(self, field: str, code: str, what: str, *, found: str, expected: str, mend: str) -> Finding:
        return at(self.document, field, code, what, found=found, expected=expected, mend=mend)

    def items(self, kind: str) -> Iterator[tuple[str, dict[str, Any]]]:
        """Field path and mapping of each entry of `lines`, `cameras` and so on."""
        entries = self.document.value.get(kind)
        for index, entry in enumerate(entries if isinstance(entries, list) else ()):
            if isinstance(entry, dict):
                yield f"{kind}[{index}]", entry

    def named(self, kind: str) -> Iterator[tuple[str, str, dict[str, Any]]]:
        for field, entry in self.items(kind):
            name = entry.get("name")
            if isinstance(name, str):
                yield field, name, entry

    def places(self) -> Iterator[tuple[str, str, str, str]]:
        """Name of the line, field, kind and name of every named position."""
        for line_field, line in self.items("lines"):
            order = line.get("order")
            for index, stand in enumerate(order if isinstance(order, list) else ()):
                if isinstance(stand, dict):
                    for kind in _STATIONS:
                        if isinstance(stand.get(kind), str):
                            yield name_of(line), f"{line_field}.order[{index}].{kind}", kind, stand[kind]

    def lines_of(self, kind: str, name: str) -> set[str]:
        return {line for line, _ in self.stands.get((kind, name), ())}

    def words(self, field: str, entry: dict[str, Any], key: str) -> Iterator[tuple[str, str]]:
        """Field and text of each word in a list."""
        values = entry.get(key)
        for index, word in enumerate(values if isinstance(values, list) else ()):
            if isinstance(word, str):
                yield f"{field}.{key}[{index}]", word

    def exists(self, field: str, kind: str, name: str) -> Found:
        """A finding if no entry of this kind has this name."""
        if name not in self.known[kind] and name not in self.unfit[kind] and not self.unsure(kind):
            known = [name for name in self.names[kind] if is_word(name)]
            listed = ", ".join(f"`{entry[:60]}`" for entry in known[:_MOST_LISTED]) or "none is declared"
            more = f" and {len(known) - _MOST_LISTED} more" if len(known) > _MOST_LISTED else ""
            mend = suggestion(name, known, f"declare it under `{kind}`")
            yield self.finding(
                field,
                f"no-such-{KINDS[kind]}",
                f"there is no {KINDS[kind]} of this name",
                found=quoted(name),
                expected=listed + more,
                mend=mend,
            )

    def once(self, field: str, entry: dict[str, Any], key: str) -> Found:
        """A finding for each word that a list holds twice."""
        seen: set[str] = set()
        for place, word in self.words(field, entry, key):
            if word in seen and not self.twice(word):
                yield self.finding(
                    place,
                    "named-twice",
                    "named twice in one list",
                    found=quoted(word),
                    expected="each name once",
                    mend="delete one of the two",
                )
            seen.add(word)


def name_of(entry: dict[str, Any]) -> str:
    name = entry.get("name")
    return name if isinstance(name, str) else ""


def quoted(name: str) -> str:
    return repr(name[:60])
