"""Model files to models. Each mistake is a UserError with the place of what is wrong.

By hand and not by pydantic as plans are: most of what can be wrong hangs on the rest of the file (the end of a choice
on its choices, a lock on another parameter, a register on all others), and little would be left for a form.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

from busim.declared import Declared, join, nearest, parse, shown
from busim.declared import load as load_file
from busim.errors import UserError
from busim.models.model import Lock, Model, Parameter

_HERE = Path(__file__).parent
_HIGHEST = 65535
_TOP = ("busim-model", "name", "title", "parameters", "locks", "keys")
_OF_PARAMETER = ("meaning", "group", "kind", "low", "high", "default", "unit", "scale", "choices")
_OF_LOCK = ("when", "equals", "locks", "reason")
_KINDS = ("range", "choice", "switch", "reading")


@cache
def names() -> tuple[str, ...]:
    """The models that come with busim, in order of their names."""
    return tuple(sorted(path.stem for path in _HERE.glob("*.yaml")))


@cache
def load(name: str) -> Model:
    """A model by its name. Raises UserError where there is none of this name."""
    if name not in names():
        meant = nearest(name, names())
        raise UserError(
            "there is no camera model of this name",
            found=repr(name[:60]),
            expected=", ".join(names()),
            mend=f"did you mean `{meant}`?" if meant else "name one of these",
        )
    return _Reader(load_file(_HERE / f"{name}.yaml")).model()


def read_text(text: str, path: str = "") -> Model:
    """A model from its text; `path` only names it in messages. Raises UserError with the place of the mistake."""
    return _Reader(parse(text, path)).model()


class _Reader:
    """Takes a model out of a document; the first mistake ends it."""

    def __init__(self, document: Declared) -> None:
        self._document = document
        for problem in document.problems:
            raise problem

    def model(self) -> Model:
        top = self._document.value
        self._keys("", top, _TOP, needed=("busim-model", "name", "title", "parameters", "keys"))
        if top["busim-model"] != 1 or isinstance(top["busim-model"], bool):
            raise self._wrong("busim-model", "a form of model file that is not known", top["busim-model"], "1")
        parameters = tuple(
            self._parameter(join("parameters", name), name, entry)
            for name, entry in self._mapping("parameters", top["parameters"]).items()
        )
        known = {parameter.name: parameter for parameter in parameters}
        if not known:
            raise self._wrong("parameters", "a camera without parameters", top["parameters"], "at least one")
        locks = tuple(
            self._lock(join("locks", index), entry, known)
            for index, entry in enumerate(self._list("locks", top.get("locks", [])))
        )
        keys = {
            dialect: self._registers(join("keys", dialect), entry, known)
            for dialect, entry in self._mapping("keys", top["keys"]).items()
        }
        return Model(self._word("name", top["name"]), self._word("title", top["title"]), parameters, locks, keys)

    def _parameter(self, field: str, name: str, entry: Any) -> Parameter:
        values = self._mapping(field, entry)
        self._keys(field, values, _OF_PARAMETER, needed=("group", "kind"))
        kind = values["kind"]
        if kind not in _KINDS:
            raise self._wrong(
                f"{field}.kind", "not a kind of parameter", kind, ", ".join(_KINDS), nearest(str(kind), _KINDS)
            )
        choices = self._choices(field, kind, values)
        low = self._count(f"{field}.low", values.get("low", 0), 0, _HIGHEST)
        end = {"switch": 1, "choice": low + len(choices) - 1}.get(kind, _HIGHEST)
        high = self._count(f"{field}.high", values.get("high", end), low, end)
        if kind in ("switch", "choice") and high != end:
            raise self._wrong(f"{field}.high", "not the last state of this parameter", high, str(end))
        scale = values.get("scale", 1)
        if isinstance(scale, bool) or not isinstance(scale, (int, float)) or not 0 < scale <= 10**6:
            raise self._wrong(f"{field}.scale", "not a scale", scale, "a number more than 0: unit per count")
        return Parameter(
            name=name,
            meaning=self._word(f"{field}.meaning", values.get("meaning", name)),
            group=self._word(f"{field}.group", values["group"]),
            kind=kind,
            low=low,
            high=high,
            default=self._count(f"{field}.default", values.get("default", low), low, high),
            unit=self._word(f"{field}.unit", values["unit"]) if "unit" in values else "",
            scale=float(scale),
            writable=kind != "reading",
            choices=choices,
        )

    def _choices(self, field: str, kind: str, values: dict[str, Any]) -> tuple[str, ...]:
        if kind != "choice":
            if "choices" in values:
                raise self._wrong(f"{field}.choices", "only a choice has choices", values["choices"], "kind: choice")
            return ()
        entries = self._list(f"{field}.choices", values.get("choices"))
        choices = tuple(self._word(join(f"{field}.choices", index), entry) for index, entry in enumerate(entries))
        if len(set(choices)) != len(choices) or not 2 <= len(choices) <= 256:
            raise self._wrong(f"{field}.choices", "not a set of choices", entries, "2 to 256 different words")
        return choices

    def _lock(self, field: str, entry: Any, known: dict[str, Parameter]) -> Lock:
        values = self._mapping(field, entry)
        self._keys(field, values, _OF_LOCK, needed=_OF_LOCK)
        when = self._known(f"{field}.when", values["when"], known)
        locked = tuple(
            self._known(join(f"{field}.locks", index), name, known).name
            for index, name in enumerate(self._list(f"{field}.locks", values["locks"]))
        )
        if not locked or when.name in locked or len(set(locked)) != len(locked):
            raise self._wrong(
                f"{field}.locks",
                "not what a lock can lock",
                values["locks"],
                "other parameters, at least one, each once",
            )
        equals = self._count(f"{field}.equals", values["equals"], when.low, when.high)
        return Lock(when.name, equals, locked, self._word(f"{field}.reason", values["reason"]))

    def _registers(self, field: str, entry: Any, known: dict[str, Parameter]) -> dict[str, int]:
        registers: dict[str, int] = {}
        holder: dict[int, str] = {}
        for name, value in self._mapping(field, entry).items():
            place = join(field, name)
            self._known(place, name, known, at_key=True)
            register = self._count(place, value, 0, _HIGHEST)
            if register in holder:
                raise self._wrong(place, f"this register is {holder[register]}'s", value, "a register of its own")
            holder[register] = name
            registers[name] = register
        missing = [name for name in known if name not in registers]
        if missing:
            raise self._wrong(field, f"`{missing[0]}` has no register", entry, "a register for every parameter")
        return registers

    def _wrong(self, field: str, what: str, value: Any, expected: str, meant: str | None = None) -> UserError:
        mend = f"did you mean `{meant}`?" if meant else None
        return self._document.error(field, what, found=shown(value), expected=expected, mend=mend)

    def _keys(self, field: str, values: dict[str, Any], known: Iterable[str], *, needed: Iterable[str]) -> None:
        known = tuple(known)
        for key in values:
            if key not in known:
                meant = nearest(key, known)
                raise self._document.error(
                    join(field, key),
                    "unknown key",
                    at_key=True,
                    found=repr(key[:60]),
                    expected="one of " + ", ".join(known),
                    mend=f"did you mean `{meant}`?" if meant else "delete the key",
                )
        for key in needed:
            if key not in values:
                raise self._document.error(
                    field, f"`{key}` is missing", expected=f"the key `{key}`", mend=f"add `{key}:`"
                )

    def _mapping(self, field: str, value: Any) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise self._wrong(field, "not a mapping", value, "a mapping of keys and values")
        return value

    def _list(self, field: str, value: Any) -> list[Any]:
        if not isinstance(value, list):
            raise self._wrong(field, "not a list", value, "a list")
        return value

    def _word(self, field: str, value: Any) -> str:
        if not isinstance(value, str) or not value.strip() or len(value) > 200 or not value.isprintable():
            raise self._wrong(field, "not a text", value, "text of 1 to 200 printable characters")
        return value

    def _count(self, field: str, value: Any, low: int, high: int) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise self._wrong(field, "not a count that fits here", value, f"a whole number from {low} to {high}")
        return value

    def _known(self, field: str, name: Any, known: dict[str, Parameter], *, at_key: bool = False) -> Parameter:
        parameter = known.get(name) if isinstance(name, str) else None
        if parameter is None:
            meant = nearest(str(name), known)
            raise self._document.error(
                field,
                "there is no parameter of this name",
                at_key=at_key,
                found=shown(name),
                expected="a parameter of this model",
                mend=f"did you mean `{meant}`?" if meant else "declare it under `parameters`",
            )
        return parameter
