"""Failures that are known: a file names each with a reason, and a campaign that finds no other is done well.

busim-accepted: 1
accepted:
  - {judge: quiet-line, fault: late-reply, reason: mended in the next firmware}
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from pathlib import Path

from busim.foundation.errors import UserError
from busim.foundation.yaml_source import load, suggestion
from busim.simulator.faults import all_faults
from busim.testing.fuzzing.campaign import Failure
from busim.testing.fuzzing.staying import STAYS_UP
from busim.testing.judge_catalogue import all_judges

_NEEDED = ("judge", "reason")
_KEYS = {*_NEEDED, "fault"}
_EXAMPLE = "write for example {judge: quiet-line, fault: late-reply, reason: mended in the next firmware}"


@dataclass(frozen=True, slots=True)
class Accepted:
    """Failures of this judge are accepted; if `fault` is not empty, only those in whose case it is the only fault."""

    judge: str
    fault: str
    reason: str

    def covers(self, failure: Failure) -> bool:
        return failure.judge == self.judge and self.fault in ("", failure.case.only_fault)


def read_accepted(path: Path) -> tuple[Accepted, ...]:
    """The entries of a file. Raises UserError if it cannot be read or has another form."""
    value = load(path).value
    entries = value.get("accepted") if isinstance(value, dict) and value.get("busim-accepted") == 1 else None
    if not isinstance(entries, list):
        raise UserError(
            "this is not a list of accepted failures", file=str(path), expected="`busim-accepted: 1` and `accepted:`",
            mend=_EXAMPLE,
        )  # fmt: skip
    found = []
    for number, one in enumerate(entries):
        if not isinstance(one, dict) or not set(one) <= _KEYS or not all(_said(one.get(key)) for key in _NEEDED):
            raise UserError(
                "an accepted failure needs a judge and a reason", file=str(path), field=f"accepted[{number}]",
                found=str(one)[:100], expected="judge, reason, and fault if it is for one fault alone", mend=_EXAMPLE,
            )  # fmt: skip
        _check_name(path, number, "judge", one["judge"], [*all_judges(), STAYS_UP])
        if "fault" in one:
            _check_name(path, number, "fault", one["fault"], all_faults())
        found.append(Accepted(one["judge"], one.get("fault", ""), str(one["reason"])))
    return tuple(found)


def known_faults(accepted: Iterable[Accepted]) -> dict[str, set[str]]:
    """The faults by which each judge may fail, where not all of its failures are accepted."""
    found: dict[str, set[str]] = {}
    for one in accepted:
        found.setdefault(one.judge, set()).add(one.fault)
    return {judge: faults for judge, faults in found.items() if "" not in faults}


def _said(value: object) -> bool:
    return isinstance(value, str | int) and bool(str(value).strip())


def _check_name(path: Path, number: int, key: str, name: object, known: Collection[str]) -> None:
    """A misspelt name would accept nothing, and nobody would notice why."""
    if str(name) not in known:
        raise UserError(
            f"busim has no such {key}", file=str(path), field=f"accepted[{number}].{key}", found=repr(name)[:60],
            expected=", ".join(known), mend=suggestion(str(name), known, "name one of these"),
        )  # fmt: skip
