"""Failures that are known: a file names each with a reason, and a campaign that finds no other is done well.

busim-accepted: 1
accepted:
  - {judge: quiet-line, fault: late-reply, reason: mended in the next firmware}
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from busim.foundation.errors import UserError
from busim.foundation.yaml_source import load
from busim.testing.fuzzing.campaign import Failure

_KEYS = {"judge", "fault", "reason"}
_EXAMPLE = "write for example {judge: quiet-line, fault: late-reply, reason: mended in the next firmware}"


@dataclass(frozen=True, slots=True)
class Accepted:
    """Failures of this judge are accepted; if `fault` is not empty, only those in whose case it is the only fault."""

    judge: str
    fault: str
    reason: str

    def covers(self, failure: Failure) -> bool:
        kinds = {one.kind for one in failure.case.faults}
        return failure.judge == self.judge and (not self.fault or kinds == {self.fault})


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
        if not isinstance(one, dict) or not set(one) <= _KEYS or not one.get("judge") or not one.get("reason"):
            raise UserError(
                "an accepted failure needs a judge and a reason", file=str(path), field=f"accepted[{number}]",
                found=str(one)[:100], expected="judge, reason, and fault if it is for one fault alone", mend=_EXAMPLE,
            )  # fmt: skip
        found.append(Accepted(str(one["judge"]), str(one.get("fault", "")), str(one["reason"])))
    return tuple(found)
