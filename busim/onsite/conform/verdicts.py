"""What a check says of a device."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

# A check holds; fails (a rule that must hold); differs (from a recommendation, or from the model's times); is unclear
# (not to be told from here); or was left out, with the reason.
HOLDS, FAILS, DIFFERS, UNCLEAR, LEFT_OUT = "holds", "fails", "differs", "unclear", "left out"
SCHEMA = 1
_SHOWN = 5  # pieces of evidence kept


@dataclass(frozen=True, slots=True)
class Verdict:
    """One check: `what` must be so, by `source`; `tried`: number of trials; `said`: evidence or the reason."""

    what: str
    state: str
    tried: int = 0
    said: tuple[str, ...] = ()
    source: str = ""


@dataclass(frozen=True, slots=True)
class Conformance:
    """All checks of one device. `times`: ns from sending a read to the last byte of its reply, as measured."""

    model: str
    protocol: str
    bus_id: int
    verdicts: tuple[Verdict, ...]
    times: tuple[int, ...]
    echo: bool | None
    messages: int
    notes: tuple[str, ...] = ()

    @property
    def holds(self) -> bool:
        """Whether nothing failed."""
        return all(one.state != FAILS for one in self.verdicts)

    def as_json(self) -> dict[str, Any]:
        """JSON form; times in seconds, measured."""
        return {
            "schema": SCHEMA, "model": self.model, "protocol": self.protocol, "bus_id": self.bus_id,
            "holds": self.holds, "messages_sent": self.messages, "echo_heard": self.echo, "notes": list(self.notes),
            "reply_seconds_measured": [time / 1e9 for time in self.times],
            "checks": [
                {"what": one.what, "state": one.state, "tried": one.tried, "said": list(one.said), "source": one.source}
                for one in self.verdicts
            ],
        }  # fmt: skip


def judged(what: str, tried: int, wrong: list[str], source: str = "", *, state: str = FAILS) -> Verdict:
    """Holds if nothing is wrong, else `state` with the first pieces of evidence; left out if nothing was tried."""
    if not tried:
        return Verdict(what, LEFT_OUT, said=("no harmless message of this protocol tries it",), source=source)
    said = wrong if len(wrong) <= _SHOWN else [*wrong[:_SHOWN], f"and {len(wrong) - _SHOWN} more"]
    return Verdict(what, state if wrong else HOLDS, tried, tuple(said), source)
