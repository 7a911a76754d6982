"""From a plan's `expect` to bounds of figures, each in the figure's own unit; or all mistakes in it.

A plan knows no figures, so only this layer can check figure names, lines, cameras and units.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from busim.foundation.diagnostics import Finding, Findings
from busim.foundation.errors import UserError
from busim.foundation.units import parse_rate, parse_time
from busim.foundation.yaml_source import suggestion
from busim.plan import ExpectPlan, Plan, locate
from busim.recording.figures import QUANTITIES, Fold, Quantity

LINE, CAMERA = "line", "camera"
_EVERY = {"every line": LINE, "every camera": CAMERA}
_NUMBER = re.compile(r"[0-9]+(?:\.[0-9]+)?")


@dataclass(frozen=True, slots=True)
class Expectation:
    """A bound on one figure of one line or camera (`kind`); None for an open end.

    `at_least` and `at_most` are in the unit of the quantity, `written` is the plan's text; `line` and `column` are its
    place there.
    """

    quantity: Quantity
    kind: str
    name: str
    at_least: float | None
    at_most: float | None
    written: str
    line: int
    column: int


def expectations(plan: Plan) -> tuple[Expectation, ...]:
    """All expectations of a plan in its order, with `every` written out. Raises Findings with all mistakes."""
    reading = _Reading(plan)
    found = list(reading.read())
    if reading.findings:
        raise Findings(reading.findings)
    return tuple(found)


def wrong(plan: Plan) -> tuple[Finding, ...]:
    """All mistakes in the expectations of a plan."""
    reading = _Reading(plan)
    for _ in reading.read():
        pass
    return tuple(reading.findings)


class _Reading:
    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._names = {
            LINE: [line.name for line in plan.lines],
            CAMERA: [place.name for line in plan.lines for place in line.order if place.kind == CAMERA],
        }
        fold = Fold()
        self._having = {LINE: set(fold.line(0, 0)), CAMERA: set(fold.camera(0, 0, 0))}
        self.findings: list[Finding] = []

    def read(self) -> Iterator[Expectation]:
        for number, entry in enumerate(self._plan.expect):
            field = f"expect[{number}]"
            quantity = self._quantity(field, entry)
            if quantity is None:
                self._scopes(field, entry, None)
                continue
            low = self._bound(f"{field}.at_least", quantity, entry.at_least)
            high = self._bound(f"{field}.at_most", quantity, entry.at_most)
            if low is not None and high is not None and low > high:
                self._add(f"{field}.at_least", "bad-bound", UserError(
                    "no value is at least this and at most that", found=f"{entry.at_least} to {entry.at_most}",
                    expected="a lower bound not above the upper one", mend="swap the two",
                ))  # fmt: skip
            written = " and ".join(
                f"{how} {bound}" for how, bound in (("at least", entry.at_least), ("at most", entry.at_most)) if bound
            )
            line, column = locate(self._plan, field)
            for kind, name in self._scopes(field, entry, quantity):
                yield Expectation(quantity, kind, name, low, high, written, line, column)

    def _add(self, field: str, code: str, error: UserError) -> None:
        line, column = locate(self._plan, field)
        finding = Finding.of(error, code)
        self.findings.append(replace(finding, file=self._plan.path or None, line=line, column=column, field=field))

    def _quantity(self, field: str, entry: ExpectPlan) -> Quantity | None:
        quantity = QUANTITIES.get(entry.figure.replace(" ", "_"))
        if quantity is None:
            mend = suggestion(entry.figure, QUANTITIES, "`busim explain figures` says what each is")
            self._add(f"{field}.figure", "no-such-figure", UserError(
                "there is no figure of this name", found=repr(entry.figure[:60]),
                expected="one of " + ", ".join(QUANTITIES), mend=mend,
            ))  # fmt: skip
        return quantity

    # -- of what ---------------------------------------------------------------------------------------------

    def _scopes(self, field: str, entry: ExpectPlan, quantity: Quantity | None) -> list[tuple[str, str]]:
        """Kind and name of each line and camera in `of`; without a quantity only the names are looked up."""
        if f"{field}.of" not in self._plan.positions:
            kind = CAMERA if quantity is not None and quantity.name not in self._having[LINE] else LINE
            return [(kind, name) for name in self._names[kind]]
        scopes = []
        for number, name in enumerate(entry.of):
            place = f"{field}.of[{number}]"
            kinds = [_EVERY[name]] if name in _EVERY else [kind for kind in self._names if name in self._names[kind]]
            if not kinds:
                self._unknown(place, name)
            elif quantity is not None and (having := self._having_it(place, name, kinds, quantity)) is not None:
                scopes += [(having, one) for one in (self._names[having] if name in _EVERY else [name])]
        return scopes

    def _unknown(self, field: str, name: str) -> None:
        known = [*self._names[LINE], *self._names[CAMERA]]
        self._add(field, "no-such-scope", UserError(
            "there is no line and no camera of this name", found=repr(name[:60]),
            expected=", ".join(f"`{one[:60]}`" for one in known[:12]) + (" and more" if len(known) > 12 else ""),
            mend=suggestion(name, (*known, *_EVERY), "name one of the plan's, or `every line`, `every camera`"),
        ))  # fmt: skip

    def _having_it(self, field: str, name: str, kinds: list[str], quantity: Quantity) -> str | None:
        having = [kind for kind in kinds if quantity.name in self._having[kind]]
        if len(having) == 1:
            return having[0]
        if having:
            self._add(field, "ambiguous", UserError(
                "a line and a camera have this name, and both have this figure", found=repr(name[:60]),
                expected="a name of one of them", mend="rename one of the two",
            ))  # fmt: skip
            return None
        other = next(kind for kind in self._having if quantity.name in self._having[kind])
        self._add(field, "not-its-figure", UserError(
            f"a {kinds[0]} has no {quantity.title}", found=repr(name[:60]), expected=f"a {other}",
            mend=f"name a {other}, or write `of: every {other}`",
        ))  # fmt: skip
        return None

    # -- how much --------------------------------------------------------------------------------------------

    def _bound(self, field: str, quantity: Quantity, text: str | None) -> float | None:
        if text is None:
            return None
        try:
            return _PARSERS[quantity.unit](text)
        except UserError as error:
            self._add(field, "bad-bound", UserError(
                f"{quantity.title} is not measured in this", found=repr(text), expected=error.expected,
                mend=f"write for example {_EXAMPLES[quantity.unit]}",
            ))  # fmt: skip
            return None


def _number(text: str) -> float:
    if not _NUMBER.fullmatch(text.strip()):
        raise UserError("not a number", expected="a number, 0 or more, without a unit")
    return float(text)


def _share(text: str) -> float:
    number = text.strip().removesuffix("%").strip()
    value = _number(number) / (100 if text.strip().endswith("%") else 1) if _NUMBER.fullmatch(number) else -1.0
    if not 0 <= value <= 1:
        raise UserError("no share", expected="0 to 1, or 0 % to 100 %")
    return value


_PARSERS: dict[str, Callable[[str], float]] = {
    "": _number, "1": _share, "/s": parse_rate, "s": lambda text: parse_time(text) / 1e9,
}  # fmt: skip
_EXAMPLES = {"": "0", "1": "80 %", "/s": "5 Hz", "s": "300 ms"}
